# ruff: noqa: E501
"""Where a message says what it asks for: the sentence, and the words in it.

The wish form ("any chance of", "please do"), the politeness and the story
around it are taken off; what stays is what a person would write on a list.
Start with `sentences`, then `strip_wish`.
"""

import re
from typing import Final

_SENTENCE: Final = re.compile(r"(?<=[.!?…])[\"'”’)]*\s+|\n+|\s+[-–—]{1,2}\s+|;\s+")

_WISH_FORMS: Final = (
    # the stronger form first: each pattern's rank is its strength
    (
        3.0,
        r"(?:any|is there an?y?|is there any|what(?:'s| is) the) (?:chance|hope|possibility|prospect|likelihood|way) "
        r"(?:of|for|that|you(?:'d| could| would| can| might)?|we(?:'d| could)?|to)(?: (?:get(?:ting)?|see(?:ing)?|do(?:ing)?|post(?:ing)?|"
        r"hav(?:e|ing)|shar(?:e|ing)|creat(?:e|ing)|mak(?:e|ing)|writ(?:e|ing)|add(?:ing)?|develop(?:ing)?|com(?:e|ing) up with))?",
    ),
    (
        3.0,
        r"(?:please,? |pls |plz |could you |can you |would you |will you |might you |pretty please |can we |could we |may we |"
        r"would you please |would you consider |will you be |are you going to |do you plan to |are you planning to |"
        r"have you (?:ever )?(?:thought (?:about|of)|considered|tried) )+(?:ever |maybe |perhaps |possibly |please |kindly |also |next |just |consider |think about )*"
        r"(?:do(?:ing)?|mak(?:e|ing)|post(?:ing)?|shar(?:e|ing)|writ(?:e|ing)|creat(?:e|ing)|develop(?:ing)?|give(?: us| me)?|publish(?:ing)?|add(?:ing)?|"
        r"com(?:e|ing) up with|work(?:ing)? (?:on|out)|try(?:ing)?|tackl(?:e|ing)|cover(?:ing)?|put(?:ting)?(?: up| together)?|get|have|see|includ(?:e|ing)|bring(?: back)?|feature|show us|adapt|turn|test|attempt|figure out|invent|an?y?)\b",
    ),
    (
        3.0,
        r"(?:i|we|i'd|we'd|my \w+|they|she|he)?(?: ?'?d| would)? ?(?:really |so |absolutely |dearly |truly |just |also |seriously )*"
        r"(?:love|like|appreciate|adore|be grateful for|be thrilled with|be over the moon|welcome|kill for|pay for|give anything for)"
        r"(?: it| to)?(?: if you)?(?: could| would)?(?: (?:see|have|get|find|do|did|make|made|post|posted|share|shared|try|add|added|know how to make|create|created|come up with))?\b",
    ),
    (2.5, r"(?:do|have|would) you (?:happen to )?(?:have|got|know of|know) (?:a|an|any|some)?\b"),
    (2.5, r"(?:i'm |i am |we're |we are |been |still )?(?:looking|searching|hunting|hoping|longing|desperate|dying|begging|crying out|waiting|on the lookout|after|praying|wishing|pining) (?:for|to find|to see)\b"),
    (2.5, r"(?:i |we )?(?:wish|hope)(?: that)? (?:you(?:'d| would|'ll| will| had| could)?|there (?:was|were)|someone would|i (?:had|could))(?: (?:do|make|post|share|have|write|create|find))?\b"),
    (2.5, r"(?:my |an?other |one )?(?:request|suggestion|wish|wishlist|wish list|plea|idea|vote)(?: is| would be| for|:)+(?: for)?\b"),
    (2.0, r"(?:i|we)?(?: really| do| still| also| just| badly| desperately)* ?(?:need|want|crave|miss|could do with|could use|lack)s?\b"),
    (2.0, r"(?:how|what) about (?:doing |making |posting |trying )?\b"),
    (2.0, r"(?:more|next|another) (?:recipes? (?:for|like|with|using)|please)\b"),
    (2.0, r"(?:a |the )?recipes? for\b"),
    (1.5, r"\b(?:version|variation|variant|alternative|take on|equivalent|edition|adaptation|spin on)\b"),
    (1.5, r"\b(?:bring back|crying out|gap in|missing from|nothing for|not a single|no recipes? for)\b"),
    (1.0, r"\b(?:please|pls|plz|pretty please|recipe\?)"),
    (1.0, r"\?$"),
)  # fmt: skip
_FORMS: Final = tuple((strength, re.compile(form, re.IGNORECASE)) for strength, form in _WISH_FORMS)
_STRIPPED: Final = tuple(form for strength, form in _FORMS if strength >= 2.0)

_TAIL: Final = re.compile(
    r"\s*(?:,? ?(?:please|pls|plz|thanks?(?: you)?|ta|cheers|xx*|if (?:you|possible|that)\b.*|some ?day|one day|sometime|soon|at some point|"
    r"in (?:the )?future|next(?: time)?|for (?:us|me)|on (?:the|your) (?:site|blog|page)|would be (?:great|lovely|amazing|brilliant|wonderful|ace|perfect|nice|fab|so).*|"
    r"because\b.*|since\b.*|so (?:that|i|we)\b.*|as (?:my|i|we|our)\b.*|but\b.*|that (?:doesn'?t|isn'?t|won'?t|actually|i|we|my)\b.*))+[\s.!?,:)]*$",
    re.IGNORECASE,
)
_HEAD: Final = re.compile(
    r"^[\s,.:;!-]*(?:(?:a|an|the|some|any|your|you|to|for|of|us|me|recipes?|good|decent|proper|reliable|really|nice|up|with|how|make|do|making|one|"
    r"version|please|see|have|maybe|perhaps|also|on|that|it|ever|and|post|posting|doing)\b[\s,:]*)+",
    re.IGNORECASE,
)


def sentences(text: str) -> list[str]:
    """Sentences of `text` in order, white space trimmed, none empty."""
    return [part.strip() for part in _SENTENCE.split(text) if part and re.search(r"\w", part)]


def wish_strength(sentence: str) -> float:
    """How strongly a sentence is put as a wish: 0 for none."""
    return max((strength for strength, form in _FORMS if form.search(sentence)), default=0.0)


def strip_wish(sentence: str) -> str:
    """Give the thing wished for, without wish form, politeness and reasons.

    >>> strip_wish("Any chance of a dairy-free lasagne, please?")
    'dairy-free lasagne'
    """
    rest = sentence
    for form in _STRIPPED:
        match = form.search(rest)
        if match and re.search(r"\w{3}", rest[match.end() :]):
            rest = rest[match.end() :]
            break
    rest = _TAIL.sub("", rest)
    rest = _HEAD.sub("", rest)
    return rest.strip(" \t.,:;!?()\"'") or sentence.strip()
