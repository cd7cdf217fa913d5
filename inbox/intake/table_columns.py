"""Which column of a table holds what, by its head, in plain English.

Pure. `recognise_columns` for the whole table; `FIELDS` are what a column can be.
"""

import re
from collections.abc import Mapping, Sequence
from typing import Final

from inbox.errors import InputError

FIELDS: Final[Mapping[str, str]] = {
    "text": "What the reader wrote",
    "subject": "Subject or title",
    "name": "Reader's name",
    "email": "Reader's e-mail address",
    "handle": "Reader's handle",
    "received_at": "When it was written",
    "time": "Time of day, where it has a column of its own",
    "recipe": "Recipe: its title or short name",
    "page_url": "Address of the page",
    "stars": "Stars",
    "thumbs_up_count": "How many others agreed",
    "id": "Number of the message",
    "in_reply_to": "Number of the message it answers",
    "reply_wanted": "An answer is wanted",
    "may_quote": "May be quoted",
    "tell_me": "Wants to be told",
}

_HEADS: Final[Mapping[str, str]] = {
    "text": "comment|comments|message|messages|your message|review|reviews|review text|review body|text|body|content"
    "|comment content|comment text|comment body|feedback|your feedback|your comment|your comments|response"
    "|question|your question|request|your request|note|notes|what the reader wrote|remarks|remark|suggestion|details"
    "|description|what would you like to say|anything else|reader comment|words|submission|entry",
    "subject": "subject|title|headline|review title|topic|comment title",
    "name": "name|your name|full name|first name|author|author name|comment author|reader|reviewer|from|from name|by"
    "|user name|display name|customer name|nickname|sender|sender name|who|posted by|written by",
    "email": "email|e mail|email address|e mail address|your email|your e mail|author email|comment author email"
    "|reader email|from email|sender email|mail|contact email|reply to|reviewer email",
    "handle": "handle|username|user|account|screen name|user id|login",
    "received_at": "date|received at|received|created at|created|created on|submitted at|submitted|submission date"
    "|submitted on|timestamp|time stamp|date time|datetime|posted at|posted|posted on|date posted|published|published at"
    "|comment date gmt|comment date|date gmt|date created|sent|sent at|when|written on|written at|date submitted"
    "|completed at|completion time|start time|review date|entry date|day",
    "time": "time|time of day|hour",
    "recipe": "recipe|recipe title|recipe name|recipe slug|slug|page title|post title|post|article|which recipe|dish"
    "|product|in response to|recipe made|page|page slug",
    "page_url": "url|link|page url|post url|permalink|recipe url|page address|source url|page link|comment link|address"
    "|source page|referrer|landing page",
    "stars": "stars|star|rating|score|star rating|stars given|review rating|rate|your rating|grade|how many stars",
    "thumbs_up_count": "thumbs up|likes|like count|helpful|helpful count|votes|agreed|thumbs up count|hearts",
    "id": "id|comment id|message id|number|no|nr|entry id|submission id|response id|review id|ref|reference|uuid|key",
    "in_reply_to": "in reply to|reply to id|parent|parent id|comment parent|answers|reply of",
    "reply_wanted": "reply wanted|wants reply|answer wanted|please reply|would you like an answer|would you like a reply"
    "|reply requested|contact me",
    "may_quote": "may quote|may we quote you|can we quote you|quote|quote ok|permission to quote|may be quoted",
    "tell_me": "tell me|notify me|tell me when it is published|let me know",
}
_KNOWN = {head: field for field, heads in _HEADS.items() for head in heads.split("|")}
_LOOSE: Final = (
    ("email", r"\be ?mail\b"),
    ("reply_wanted", r"\b(?:reply|answer) (?:wanted|requested)\b"),
    ("may_quote", r"\bquote\b"),
    ("stars", r"\b(?:stars|rating)\b"),
    ("page_url", r"\b(?:url|permalink)\b"),
    ("received_at", r"\b(?:date|timestamp|created|submitted)\b"),
    (
        "text",
        r"\b(?:what happened|tell (?:us|me)|what (?:did you think|went wrong|would you like)|thoughts)\b",
    ),
    ("recipe", r"\brecipe\b"),
    ("text", r"\b(?:comments?|message|feedback|review|what happened|tell us|thoughts)\b"),
    ("name", r"\bname\b"),
)
"""Words that tell a head where no head is known whole."""
_SYSTEM = re.compile(r"\b(?:ip|status|approved|karma|type|count|phone|tel|gmt offset|modified|updated)\b")


def plain_head(head: str) -> str:
    """A head as lower-case words: `Comment_Author-Email` becomes "comment author email"."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", head)
    return " ".join(re.findall(r"[^\W_]+", spaced.casefold()))


def recognise_columns(heads: Sequence[str]) -> dict[str, str]:
    """Field to head, for the heads that are understood; each head and each field once."""
    found: dict[str, str] = {}
    plain = {head: plain_head(head) for head in heads}
    for field, words in _HEADS.items():
        # The first name in the list that the table has wins, not the first column.
        for word in words.split("|"):
            head = next((head for head in heads if plain[head] == word and head not in found.values()), None)
            if head is not None and field not in found:
                found[field] = head
    for field, pattern in _LOOSE:
        if field in found:
            continue
        for head in heads:
            if head in found.values() or _SYSTEM.search(plain[head]):
                continue
            if re.search(pattern, plain[head]):
                found[field] = head
                break
    return found


def choose_columns(heads: Sequence[str], given: Mapping[str, str] | None) -> dict[str, str]:
    """Field to head: as given, and the rest as recognised.

    A field that is given an empty head is left out.

    Raises
    ------
    InputError
        If a field or head that was given does not exist, or no column holds the text; it lists the heads.
    """
    chosen = recognise_columns(heads)
    for field, head in (given or {}).items():
        if field not in FIELDS:
            raise InputError(f"There is no field {field!r} for a column; the fields are {', '.join(FIELDS)}.")
        if not head:
            chosen.pop(field, None)
            continue
        match = next((one for one in heads if one == head or plain_head(one) == plain_head(head)), None)
        if match is None:
            raise InputError(f"The table has no column {head!r}; it has {_listed(heads)}.")
        chosen = {other: taken for other, taken in chosen.items() if taken != match}
        chosen[field] = match
    if "text" not in chosen and "stars" not in chosen:
        raise InputError(
            f"No column is known to hold what readers wrote; the table has {_listed(heads)}. "
            "Say which one it is: --column text=HEAD, or on the page after uploading."
        )
    return chosen


def _listed(heads: Sequence[str]) -> str:
    shown = [repr(head[:40]) for head in heads[:20]]
    return ", ".join(shown) + (f" and {len(heads) - 20} more" if len(heads) > 20 else "")
