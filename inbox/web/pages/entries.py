"""How one message is written in a list: who, when, the beginning of the words, what it was read as."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple, Protocol

from sqlalchemy import Row
from sqlalchemy.orm import Session

from inbox.records.lines import COLUMNS, faults_in, lines_of
from inbox.records.search import MARK_END, MARK_START
from inbox.web.phrasing import said
from inbox.words import KINDS, LANGUAGE_READ

EXCERPT_LENGTH = 260


class Entry(NamedTuple):
    """One message in a list."""

    id: int
    who: str
    when: datetime
    subject: str
    excerpt: str
    read_as: str
    hazard: str
    by_hand: bool


def load_entries(session: Session, ids: Sequence[int]) -> dict[int, Entry]:
    """Entries of these messages by number, in the order given; numbers that are not there are left out."""
    return {entry.id: entry for entry in entries_of(lines_of(session, ids))}


def entries_of(
    lines: Iterable[Row[*tuple[Any, ...]]], marked: Mapping[int, tuple[str, str]] | None = None
) -> list[Entry]:
    """Entries of lines as `records.lines` gives them.

    Parameters
    ----------
    marked : mapping of int to (str, str), optional
        Subject and text with marks around found words, to be shown instead of the plain ones.
    """
    shown = marked or {}
    return [_entry(line, shown.get(line.id)) for line in lines]


def _entry(row: Row[*tuple[Any, ...]], marked: tuple[str, str] | None) -> Entry:
    # Unpacked at once: looking values up by name, row by row, costs as much as all the rest.
    (
        outcome, hazard, language, by_hand, number, when, subject, text, apart,
        name, handle, email, is_forgotten, title, faults,
    ) = row[len(KINDS) : len(COLUMNS)]  # fmt: skip
    if apart:
        read_as = f"kept apart: {said(apart)}"
    elif language is None:
        read_as = "not read yet"
    else:
        read_as = _described(row[: len(KINDS)], outcome, faults_in(faults), title, language)
    subject, words = marked or (subject or "", text)
    return Entry(
        number,
        _called(name, handle, email, is_forgotten),
        when,
        subject,
        excerpt(words),
        read_as,
        said(hazard),
        bool(by_hand),
    )


def _described(
    kinds: tuple[bool, ...], outcome: str | None, faults: Sequence[str], title: str | None, language: str
) -> str:
    """What counts for a message, such as "made it – failed: sank, dense · Lemon tart"."""
    words = _kind_words(kinds)
    if outcome:
        words += f" – {said(outcome)}"
    if faults:
        words += ": " + ", ".join(map(said, faults))
    if title:
        words += f" · {title}"
    if language != LANGUAGE_READ:
        words += f" · in another language ({language})"
    return words.removeprefix(" · ")


@cache
def _kind_words(holds: tuple[bool, ...]) -> str:
    return ", ".join(said(kind) for kind, one in zip(KINDS, holds, strict=True) if one)


class Person(Protocol):
    """What is known of who wrote a message; all of it empty where nobody is known."""

    name: Any
    handle: Any
    email: Any

    @property
    def is_forgotten(self) -> Any:
        """Whether they asked to be forgotten."""


def name_of(person: Person | None) -> str:
    """How a message's reader is called on pages."""
    if person is None:
        return "A reader"
    return _called(person.name, person.handle, person.email, person.is_forgotten)


def _called(name: str | None, handle: str | None, email: str | None, is_forgotten: bool | None) -> str:
    if is_forgotten:
        return "A reader who asked to be forgotten"
    return name or handle or email or "A reader"


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
