"""Whether two items are the same message: exact ids first, then same person, near-same text, near time.

Pure: takes and gives plain values. `judge` is the rule; a doubtful pair is shown to the owner, not merged.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from inbox.intake.incoming import plain_words, short_hash

LONG_ENOUGH = 40
"""Characters of plain words from which the same text is more than a coincidence; chosen: "love it, will make
again" is written by many, forty characters word for word by one."""
NEAR_TIME = timedelta(hours=48)
"""Chosen: covers exports in local time without a zone, and a notice that waited a day in a mailbox."""
FAR_TIME = timedelta(days=30)
NEAR_SAME = 0.9
PERHAPS_SAME = 0.75
_NOTICE_WORDS = frozenset(
    "a address at by comment contact date e email for form from has have here http https ip mail message "
    "name new of on page phone post rating received recipe reply sent site stars subject submission "
    "submitted the time title to url via was website www you your".split()
)
"""Words that a form's notice by mail puts around what the reader wrote."""

Person = Literal["same", "by_name", "unknown", "other"]
Verdict = Literal["same", "doubtful", "other"]


@dataclass(frozen=True, slots=True)
class Sighting:
    """What the comparison needs to know of an item, stored or just arrived."""

    door: str
    has_own_id: bool
    email: str | None
    handle: str | None
    name: str | None
    received_at: datetime
    time_known: bool
    page_id: int | None
    words: str


def fingerprint(words: str, person: str, key: str) -> str:
    """Hash by which the same words are found again: of long words alone, of short ones with the person."""
    if len(words) >= LONG_ENOUGH:
        return short_hash("text", words)
    return short_hash("person", person, words) if person and words else short_hash("alone", key)


def same_person(first: Sighting, second: Sighting) -> Person:
    """Whether both were written by one person, as far as address, handle and name tell."""
    if first.email and second.email:
        return "same" if first.email == second.email else "other"
    if first.handle and second.handle:
        return "same" if first.handle == second.handle else "other"
    if first.name and second.name:
        return "by_name" if first.name.casefold() == second.name.casefold() else "other"
    return "unknown"


def likeness(first: Sighting, second: Sighting) -> float:
    """Share of words that two items have in common, from 0 to 1; a notice around the words does not count."""
    if first.words == second.words:
        return 1.0
    left, right = first.words.split(), second.words.split()
    short, long = (first, second) if len(left) <= len(right) else (second, first)
    if len(short.words) >= LONG_ENOUGH and f" {short.words} " in f" {long.words} ":
        rest = f" {long.words} ".replace(f" {short.words} ", " ", 1).split()
        if not set(rest) - _NOTICE_WORDS - _words_of_person(short) - _words_of_person(long):
            return 1.0
    counts: dict[str, int] = {}
    for word in left:
        counts[word] = counts.get(word, 0) + 1
    common = 0
    for word in right:
        if counts.get(word, 0) > 0:
            counts[word] -= 1
            common += 1
    return 2 * common / (len(left) + len(right)) if left or right else 0.0


def _words_of_person(item: Sighting) -> set[str]:
    return set(plain_words(f"{item.name or ''} {item.email or ''} {item.handle or ''}").split())


def judge(new: Sighting, old: Sighting) -> Verdict:
    """Whether `new` is the message `old`, which has another key."""
    person = same_person(new, old)
    if person == "other" or (new.page_id and old.page_id and new.page_id != old.page_id):
        return "other"
    apart = abs(new.received_at - old.received_at)
    near = apart <= NEAR_TIME and new.time_known and old.time_known
    share = likeness(new, old)
    long_enough = min(len(new.words), len(old.words)) >= LONG_ENOUGH
    # Two items that one source itself tells apart are two, unless they say the same at length.
    told_apart = family(new.door) == family(old.door) and new.has_own_id and old.has_own_id
    if told_apart:
        return "doubtful" if person == "same" and share == 1.0 and long_enough and near else "other"
    if share >= NEAR_SAME:
        if near and (person == "same" or (person == "by_name" and long_enough)):
            return "same"
        if long_enough and (near or (person == "same" and apart <= FAR_TIME) or not new.time_known):
            return "doubtful"
    elif share >= PERHAPS_SAME and person == "same" and near and long_enough:
        return "doubtful"
    return "other"


def same_under_key(new: Sighting, old: Sighting) -> bool:
    """Whether `new` is the message `old` of the same key, rather than another one that was given its number.

    An old message without words is one whose reader was forgotten, or that never had any.
    """
    return not old.words or new.received_at == old.received_at or likeness(new, old) >= PERHAPS_SAME


def family(door: str) -> str:
    """Door by whose numbers a message is known: a mail is the same in a file and in a mailbox."""
    return "mail" if door == "mailbox" else door
