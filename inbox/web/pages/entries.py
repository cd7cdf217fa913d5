"""How one message is written in a list: who, when, the beginning of the words, what it was read as."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from inbox.records.search import MARK_END, MARK_START
from inbox.records.tables import Labels, Message, MessageFault, Reader, Recipe
from inbox.web.phrasing import said
from inbox.words import KINDS

EXCERPT_LENGTH = 260


# Plain rows, and statements that are made once: lists of messages are most of what the pages show.
_LINES = (
    select(
        *(getattr(Labels, f"is_{kind}") for kind in KINDS),
        Labels.outcome,
        Labels.hazard,
        Labels.language,
        Labels.by_hand,
        Message.id,
        Message.received_at,
        Message.subject,
        Message.text,
        Message.kept_apart,
        Reader.name,
        Reader.handle,
        Reader.email,
        Reader.forgotten_at,
        Recipe.title,
    )
    .select_from(Message)
    .outerjoin(Message.reader)
    .outerjoin(Message.labels)
    .outerjoin(Labels.recipe)
    .where(Message.id.in_(bindparam("ids", expanding=True)))
)
_FAULTS = (
    select(MessageFault.message_id, MessageFault.fault)
    .where(MessageFault.message_id.in_(bindparam("ids", expanding=True)))
    .order_by(MessageFault.probability.desc())
)


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


def load_entries(
    session: Session, ids: Sequence[int], marked: Mapping[int, tuple[str, str]] | None = None
) -> dict[int, Entry]:
    """Entries of these messages by number, in the order given; numbers that are not there are left out.

    Parameters
    ----------
    marked : mapping of int to (str, str), optional
        Subject and text with marks around found words, to be shown instead of the plain ones.
    """
    if not ids:
        return {}
    rows_of = session.connection().execute  # past the ORM, which has nothing to add to plain columns
    faults: dict[int, list[str]] = {}
    for number, fault in rows_of(_FAULTS, {"ids": ids}):
        faults.setdefault(number, []).append(said(fault))
    rows = {row.id: row for row in rows_of(_LINES, {"ids": ids})}
    shown = marked or {}
    return {
        number: _entry(rows[number], faults.get(number, ()), shown.get(number))
        for number in ids
        if number in rows
    }


def _entry(row: Any, faults: Sequence[str], marked: tuple[str, str] | None) -> Entry:
    subject, words = marked or (row.subject or "", row.text)
    return Entry(
        id=row.id,
        who=name_of(row),
        when=row.received_at,
        subject=subject,
        excerpt=excerpt(words),
        read_as=_describe(row, faults),
        hazard=said(row.hazard),
        by_hand=bool(row.by_hand),
    )


class Person(Protocol):
    """What is known of who wrote a message; all of it empty where nobody is known."""

    name: Any
    handle: Any
    email: Any
    forgotten_at: Any


def name_of(person: Person | None) -> str:
    """How a message's reader is called on pages."""
    if person is None:
        return "A reader"
    if person.forgotten_at is not None:
        return "A reader who asked to be forgotten"
    return person.name or person.handle or person.email or "A reader"


def _describe(row: Any, faults: Sequence[str]) -> str:
    """What counts for a message, such as "made it – failed: sank, dense · Lemon tart"."""
    if row.kept_apart:
        return f"kept apart: {said(row.kept_apart)}"
    if row.language is None:
        return "not read yet"
    words = ", ".join(said(kind) for kind, holds in zip(KINDS, row, strict=False) if holds)
    if row.outcome:
        words += f" – {said(row.outcome)}"
    if faults:
        words += ": " + ", ".join(faults)
    if row.title:
        words += f" · {row.title}"
    if row.language != "en":
        words += f" · in another language ({row.language})"
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
