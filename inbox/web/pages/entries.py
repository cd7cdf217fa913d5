"""How one message is written in a list: who, when, the beginning of the words, what it was read as."""

from dataclasses import dataclass
from datetime import datetime

from inbox.records.search import MARK_END, MARK_START
from inbox.records.tables import Labels, Message
from inbox.web.phrasing import said

EXCERPT_LENGTH = 260


@dataclass(frozen=True)
class Entry:
    """One message in a list."""

    id: int
    who: str
    when: datetime
    subject: str
    excerpt: str
    read_as: str
    hazard: str
    by_hand: bool


def as_entry(message: Message, marked: tuple[str, str] | None = None) -> Entry:
    """Entry for a message whose reader, labels, faults and recipe are loaded."""
    subject, words = marked or (message.subject or "", message.text)
    return Entry(
        id=message.id,
        who=name_of(message),
        when=message.received_at,
        subject=subject,
        excerpt=excerpt(words),
        read_as=describe(message.labels) if message.labels else "not read yet",
        hazard=said(message.labels.hazard) if message.labels and message.labels.hazard else "",
        by_hand=bool(message.labels and message.labels.by_hand),
    )


def name_of(message: Message) -> str:
    """How a message's reader is called on pages."""
    reader = message.reader
    if reader is None:
        return "A reader"
    if reader.forgotten_at is not None:
        return "A reader who asked to be forgotten"
    return reader.name or reader.handle or reader.email or "A reader"


def describe(labels: Labels) -> str:
    """What counts for a message, such as "made it, failed: sank, dense – Lemon tart"."""
    words = ", ".join(said(kind) for kind in labels.kinds)
    if labels.outcome:
        words += f" – {said(labels.outcome)}"
    faults = [said(row.fault) for row in sorted(labels.faults, key=lambda row: -row.probability)]
    if faults:
        words += ": " + ", ".join(faults)
    if labels.recipe:
        words += f" · {labels.recipe.title}"
    if labels.language != "en":
        words += f" · in another language ({labels.language})"
    return words


def excerpt(text: str, length: int = EXCERPT_LENGTH) -> str:
    """Beginning of `text`, or the stretch around its first mark; marks are not cut in two."""
    flat = " ".join(text.split())
    if len(flat) <= length:
        return flat
    at = flat.find(MARK_START)
    start = max(0, at - length // 3) if at > length // 2 else 0
    if start:
        start = flat.find(" ", start) + 1
    end = flat.rfind(" ", start, start + length)
    piece = flat[start : end if end > start else start + length]
    if piece.count(MARK_START) > piece.count(MARK_END):
        piece += MARK_END
    return ("… " if start else "") + piece + " …"
