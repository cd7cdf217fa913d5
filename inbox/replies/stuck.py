"""Signs that a reader writes from the middle of cooking, and needs an answer now.

Pure words: no message is more urgent for being loud, only for being under way.
Common practice, no source; the phrases were chosen on the training messages.
"""

import re

_NOW = re.compile(
    r"\b(?:right now|as we speak|as i (?:type|write)|this very minute|at th(?:is|e) moment|just now|currently"
    r"|half ?way through|mid-?way through|in the middle of|mid-?(?:bake|prove|proof|cook|recipe)"
    r"|(?:it|they|mine|that|dough|batter|loaf)(?:['’]s| is| are|['’]re) (?:now |already )?"
    r"(?:sitting |resting )?(?:in|on|under) (?:the|my|its|their) (?:oven|bowl|pan|pot|tin|fridge|freezer"
    r"|mixer|steamer|hob|stove|counter|slow cooker|water bath|proving basket)"
    r"|still (?:liquid|runny|raw|foam\w*|soup\w*|wet) (?:after|and|at))\b",
    re.IGNORECASE,
)
_WHAT_NEXT = re.compile(
    r"\b(?:(?:shall|should|do|can|could|may|must) (?:i|we) (?:just |still |now )?"
    r"(?:carry on|keep (?:going|on)|go on|start (?:again|over)"
    r"|bin|chuck|throw|ditch|save|rescue|fix|wait|leave|add|turn|give|stop|pull|take)"
    r"|too late to"
    r"|(?:is|are) (?:it|this|they|these) (?:salvageable|ruined|past saving|meant to|supposed to|normal)"
    r"|(?:can|could) (?:it|this|they) (?:still )?be (?:saved|rescued|fixed)"
    r"|what (?:do|should|can) i do|how (?:do|can) i (?:save|fix|rescue))\b",
    re.IGNORECASE,
)
_HELP = re.compile(
    r"\bhelp\b\s*(?:please|me|needed)?\s*[!,.:]|\bguests? (?:arrive|come|due|are coming)\b", re.IGNORECASE
)


def words_of_haste(text: str) -> str | None:
    """The words by which the writer seems to be cooking at this moment and asks what to do, or None.

    Two signs of three are needed: that it is going on now, that the next step is asked for,
    that help is called for; a sign of "now" with a question mark counts as two.
    """
    now, following, calling = _NOW.search(text), _WHAT_NEXT.search(text), _HELP.search(text)
    signs = [found for found in (now, following, calling) if found]
    if len(signs) >= 2 or (now and "?" in text):
        return " ".join(signs[0].group().split())
    return None
