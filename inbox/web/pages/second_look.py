"""Messages that may be one with another: each pair side by side, for the owner to say."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from sqlalchemy.orm import Session

from inbox.intake.second_look import count_doubtful, doubtful_pairs
from inbox.records.tables import Message, Reader
from inbox.web.page import Page
from inbox.web.pages.entries import Entry, load_entries
from inbox.words import DOOR_WORDS

SHOWN = 20


@dataclass(frozen=True)
class Half:
    """One of the two messages of a pair, by whom it is known and by which door it came."""

    entry: Entry
    by: str
    door: str


@dataclass(frozen=True)
class Pair:
    """A message and the earlier one that it may be."""

    later: Half
    earlier: Half
    keep_reader_id: int | None
    """Reader that stays if the owner says that both were written by one person; None if they are one already,
    are not known, or cannot be one."""
    other_reader_id: int | None


@dataclass(frozen=True)
class SecondLookPage(Page):
    """Pairs that wait for the owner's word."""

    template: ClassVar[str] = "bringing/second_look.html"
    count: int
    pairs: list[Pair]
    further: str


def load_second_look(session: Session, before_id: int | None) -> SecondLookPage:
    """One stretch of the doubtful pairs, newest first."""
    rows = doubtful_pairs(session, limit=SHOWN + 1, before_id=before_id)
    shown = rows[:SHOWN]
    return SecondLookPage(
        count=count_doubtful(session),
        pairs=_pairs(session, shown),
        further=f"/second-look?before={shown[-1].id}" if len(rows) > SHOWN else "",
    )


def _pairs(session: Session, rows: Sequence[Message]) -> list[Pair]:
    entries = load_entries(
        session, [number for row in rows for number in (row.id, row.doubtful_twin_id or 0)]
    )
    pairs = []
    for row in rows:
        twin = session.get_one(Message, row.doubtful_twin_id)
        keep, other = _one_person(twin.reader, row.reader)
        pairs.append(Pair(_half(row, entries[row.id]), _half(twin, entries[twin.id]), keep, other))
    return pairs


def _half(message: Message, entry: Entry) -> Half:
    reader = message.reader
    known = (reader.email or reader.handle or "") if reader else ""
    return Half(entry, known, DOOR_WORDS.get(message.door, message.door))


def _one_person(first: Reader | None, second: Reader | None) -> tuple[int | None, int | None]:
    """The reader known by address and the one known by a handle alone, where the two are that."""
    for keep, other in ((first, second), (second, first)):
        if keep and other and keep.email and not keep.handle and other.handle and not other.email:
            return keep.id, other.id
    return None, None
