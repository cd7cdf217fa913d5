"""Where a message says what it asks for: the sentence, and the words in it.

The wish form ("any chance of", "please do"), the politeness and the story
around it are taken off; what stays is what a person would write on a list.
Start with `sentences`, then `wish_strength` and `strip_wish`.
"""

import re
from functools import partial
from typing import Final

from inbox.reading.text import shorten_blanks

_SENTENCE: Final = re.compile(r"(?<=[.!?…])[\"'”’)]*\s+|\n+|\s+[-–—]{1,2}\s+|;\s+")


def _any(words: str) -> str:
    """Turn words parted by bars and line breaks into one group that matches any of them."""
    return "(?:" + "|".join(word.strip() for word in words.split("|")) + ")"


_MAKE: Final = _any(
    r"do(?:ing)? | mak(?:e|ing) | post(?:ing)? | shar(?:e|ing) | writ(?:e|ing)(?: up)? |"
    r"creat(?:e|ing) | develop(?:ing)? | giv(?:e|ing)(?: (?:us|me))? | publish(?:ing)? | add(?:ing)? |"
    r"com(?:e|ing) up with | work(?:ing)? (?:on|out) | try(?:ing)? | tackl(?:e|ing) | cover(?:ing)? |"
    r"put(?:ting)?(?: (?:up|together))? | get(?:ting)? | hav(?:e|ing) |"
    r"see(?:ing)? | includ(?:e|ing) | bring(?:ing)?(?: back)? |"
    r"show(?: (?:us|me))? | adapt(?:ing)? | test(?:ing)? | attempt(?:ing)? |"
    r"figur(?:e|ing) out | invent(?:ing)? | find(?:ing)? |"
    r"did | made | posted | shared | added | created | tried"
)
_ASK: Final = _any(
    r"please,? | pls | plz | pretty please | could you | can you | would you | will you | might you |"
    r"may we | "
    r"can we | could we | do you plan to | are you (?:going|planning) to | would you (?:ever )?consider |"
    r"have you (?:ever )?(?:thought (?:about|of)|considered)"
)
_SOFTLY: Final = (
    r"(?: (?:ever|maybe|perhaps|possibly|please|kindly|also|next|just|consider|really|so|dearly|still))*"
)

_FORMS: Final = tuple(
    (strength, re.compile(form, re.IGNORECASE))
    for strength, form in (
        (3.0, rf"\b(?:any|is there (?:any|a)) {_any('chance|hope|possibility|prospect')}"
              rf" (?:of|for|that|to|you(?:'d| could| would| can)?|we(?:'d| could)?)(?: {_MAKE}\b)?"),
        # Never going back into it (++): "please" is in both groups, and thirty of them would take for ever.
        (3.0, rf"\b(?:{_ASK}{_SOFTLY} )++{_MAKE}\b"),
        (3.0, rf"\b(?:i|we|i'd|we'd|they|she|he)?(?:'d| would){_SOFTLY}"
              rf" {_any('love|like|appreciate|adore|welcome|kill for|pay for|give anything for')}"
              rf"(?: it| to)?(?: if you)?(?: could| would)?(?: {_MAKE}\b)?"),
        (2.5, r"\b(?:do|would) you (?:happen to )?(?:have|know(?: of)?)\b"),
        (2.5, rf"\b{_any('looking|searching|hunting|hoping|longing|desperate|dying|begging|crying out')}"
              r" (?:for|to find|to see)\b"),
        (2.5, r"\b(?:i |we )?(?:wish|hope)(?: that)? "
              rf"(?:you(?:'d| would|'ll| will| had| could)?|there (?:was|were))(?: {_MAKE})?\b"),
        (2.5, r"\b(?:my |another |one )?(?:request|suggestion|wish ?list|plea|vote)"
              r"(?: is| would be| for|:)+(?: for)?"),
        (2.0, rf"\b(?:i|we){_SOFTLY} (?:need|want|crave|miss|could (?:do with|use)|lack)\b"),
        (2.0, rf"\b(?:how|what) about(?: {_MAKE})?\b"),
        (2.0, r"\b(?:a |the )?recipes? for\b"),
        (2.0, r"^(?:more|next|another|now do|do)\b"),
        (1.5, rf"\b{_any('version|variation|variant|alternative|take on|equivalent|edition|adaptation')}\b"),
        (1.0, r"\b(?:please|pls|plz|recipe)\b"),
        (1.0, r"\?\W{0,40}$"),
    )
)  # fmt: skip
_STRIPPED: Final = tuple(form for strength, form in _FORMS if strength >= 2.0)

_REASON: Final = re.compile(
    r"\b(?:if (?:you|possible|that)|"
    r"would be (?:great|lovely|amazing|brilliant|wonderful|perfect|nice|fab|so|such)|"
    r"because|since|so (?:that|i|we)|as (?:my|i|we|our)|but|"
    r"that (?:doesn'?t|isn'?t|won'?t|actually|i|we|my))\b",
    re.IGNORECASE,
)
"""Where the reasons begin; what follows is taken off with it."""
_COURTESY: Final = re.compile(
    r"\b(?:please|pls|plz|thanks?(?: you)?|ta|cheers|x{1,10}|some ?day|one day|sometime|soon|at some point|"
    r"in (?:the )?future|next(?: time)?|for (?:us|me)|on (?:the|your) (?:site|blog|page))$",
    re.IGNORECASE,
)
_COURTESY_LENGTH: Final = 20
"""Characters of the longest courtesy."""
_AFTER_COURTESY: Final = " \t\r\f\v.!?,:)"
_HEAD: Final = re.compile(
    r"^[\s,.:;!-]*(?:(?:a|an|the|some|any|your|you|to|for|of|us|me|good|decent|proper|nice)\b[\s,]*)+",
    re.IGNORECASE,
)


def sentences(text: str) -> list[str]:
    """Sentences of `text` in order, white space trimmed, none empty."""
    return [part.strip() for part in _SENTENCE.split(shorten_blanks(text)) if part and re.search(r"\w", part)]


def wish_strength(sentence: str) -> float:
    """Tell how strongly a sentence is put as a wish: 0 for not at all."""
    return max((strength for strength, form in _FORMS if form.search(sentence)), default=0.0)


def strip_wish(sentence: str) -> str:
    """Give the thing wished for, without wish form, politeness and reasons.

    >>> strip_wish("Any chance of a dairy-free lasagne, please?")
    'dairy-free lasagne'
    >>> strip_wish("I would love to see some gluten-free hot cross buns because my son is coeliac")
    'gluten-free hot cross buns'
    """
    rest = sentence
    for form in _STRIPPED:
        match = form.search(rest)
        if match and re.search(r"\w{3}", rest[match.end() :]):
            rest = rest[match.end() :]
            break
    for cut_edge in (_without_tail, partial(_HEAD.sub, "")):
        cut = cut_edge(rest)
        rest = cut if re.search(r"\w{3}", cut) else rest
    return rest.strip(" \t.,:;!?()\"'") or sentence.strip()


def _without_tail(wish: str) -> str:
    """Take the reasons and courtesies off the end of a wish."""
    reason = _REASON.search(wish)
    cut = (wish[: reason.start()] if reason else wish).rstrip(_AFTER_COURTESY)
    while courtesy := _COURTESY.search(cut, max(len(cut) - _COURTESY_LENGTH, 0)):
        cut = cut[: courtesy.start()].rstrip(_AFTER_COURTESY)
    return cut
