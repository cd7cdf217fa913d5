"""Readers: the list, and all that is held about one."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from sqlalchemy.orm import Session

from inbox.records.people import find_readers, get_reader, message_counts
from inbox.records.search import Search, find
from inbox.records.tables import Reader
from inbox.web.page import Page
from inbox.web.pages.entries import Entry, entries_of

SHOWN = 50


@dataclass(frozen=True)
class ReaderLine:
    """One reader in a list."""

    id: int
    name: str
    by: str
    message_count: int


@dataclass(frozen=True)
class ReadersPage(Page):
    """One stretch of the readers."""

    template: ClassVar[str] = "readers/list.html"
    words: str
    readers: list[ReaderLine]
    further_after: int | None


def load_readers(session: Session, words: str, after_id: int) -> ReadersPage:
    """Readers whose name, address or handle holds `words`."""
    rows = find_readers(session, words, after_id=after_id, limit=SHOWN + 1)
    shown = rows[:SHOWN]
    counts = message_counts(session, [row.id for row in shown])
    return ReadersPage(
        words=words,
        readers=[ReaderLine(row.id, called(row), known_by(row), counts.get(row.id, 0)) for row in shown],
        further_after=shown[-1].id if len(rows) > SHOWN else None,
    )


def called(reader: Reader) -> str:
    """What a reader is called."""
    if reader.forgotten_at:
        return "A reader who asked to be forgotten"
    return reader.name or reader.handle or reader.email or f"Reader {reader.id}"


def known_by(reader: Reader) -> str:
    """By what a reader is told from others."""
    if reader.email:
        return reader.email
    return f"{reader.handle} ({reader.channel})" if reader.handle else "not known again"


@dataclass(frozen=True)
class ReaderPage(Page):
    """One reader and all that is held."""

    template: ClassVar[str] = "readers/one.html"
    id: int
    name: str
    by: str
    first_seen_at: datetime
    bounced_at: datetime | None
    unsubscribed_at: datetime | None
    forgotten_at: datetime | None
    messages: list[Entry]
    message_count: int
    has_older: bool
    trouble: str = ""


def load_reader(session: Session, reader_id: int) -> ReaderPage:
    """The page of one reader; raises NotFoundError."""
    reader = get_reader(session, reader_id)
    found = find(session, Search(reader_id=reader_id), limit=20)
    return ReaderPage(
        id=reader.id,
        name=called(reader),
        by=known_by(reader),
        first_seen_at=reader.first_seen_at,
        bounced_at=reader.bounced_at,
        unsubscribed_at=reader.unsubscribed_at,
        forgotten_at=reader.forgotten_at,
        messages=entries_of(found.lines),
        message_count=message_counts(session, [reader_id]).get(reader_id, 0),
        has_older=found.has_older,
    )
