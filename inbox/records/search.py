"""Finding messages: by words, by what counts for them, by time; and going on from where one was.

A `Search` is what stands in a page's address. Results come newest first, and the next
ones are found by position (moment and number), so that page 1,000 costs what page 1 does.
Start with `find`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, bindparam, func, select, text, tuple_
from sqlalchemy.orm import Session, joinedload, selectinload

from inbox.records.engine import is_postgresql
from inbox.records.tables import Labels, Message, MessageFault
from inbox.records.tables_out import ThemeMember
from inbox.words import KINDS

FEW_MATCHES, MANY_MATCHES = 2_000, 50_000
"""Up to few, matches are fetched and sorted. With more, messages are walked newest first; up to many,
each is looked for in a list of all matches made beforehand, beyond that in the index of words.

Measured at 1,000,000 messages (tests/bench/pages.py): each way alone is too slow at its worse end.
"""

MARK_START, MARK_END = "\x02", "\x03"
"""Stand around found words; control signs, so that they are told from anything that is typed."""

_PIECE = re.compile(r'(-?)"([^"]*)"?|(-?)(\S+)')
_WORDS_OF_MESSAGE = "to_tsvector('english', coalesce(messages.subject, '') || ' ' || messages.text)"


@dataclass(frozen=True, slots=True)
class Position:
    """Where a message stands in the order of time; its number settles ties."""

    received_at: datetime
    message_id: int


@dataclass(frozen=True, slots=True)
class Search:
    """What is looked for; everything given must hold.

    Attributes
    ----------
    words : str
        Every word, by its stem; "words in quotation marks" as they stand; -word to leave out.
    kind, outcome, fault, hazard, language, door : str
        Codes of the closed lists; hazard may be "any".
    recipe_id, reader_id, run_id, theme_id : int or None
    since, until : datetime or None
        `until` itself is not included.
    """

    words: str = ""
    kind: str = ""
    outcome: str = ""
    fault: str = ""
    hazard: str = ""
    language: str = ""
    door: str = ""
    recipe_id: int | None = None
    reader_id: int | None = None
    run_id: int | None = None
    theme_id: int | None = None
    since: datetime | None = None
    until: datetime | None = None
    quotable: bool = False
    only: tuple[int, ...] = ()
    """Just these messages, for a figure that leads to what it counts."""
    apart: bool = False
    """Only what was not written by a reader, which is otherwise left out."""


@dataclass(frozen=True, slots=True)
class Found:
    """One stretch of results, newest first.

    Attributes
    ----------
    marked : mapping of message id to (subject, text)
        With marks around found words; only where words were looked for.
    count : int or None
        How many the search describes in all, as far as was asked; None where words are too common to count.
    """

    places: list[Position]
    marked: dict[int, tuple[str, str]]
    has_newer: bool
    has_older: bool
    count: int | None = 0

    @property
    def ids(self) -> list[int]:
        """Numbers of the messages."""
        return [place.message_id for place in self.places]


def find(
    session: Session,
    search: Search,
    *,
    older_than: Position | None = None,
    newer_than: Position | None = None,
    limit: int = 30,
    count_at_most: int = 0,
    few_matches: int = FEW_MATCHES,
    many_matches: int = MANY_MATCHES,
) -> Found:
    """One stretch of the messages that `search` describes.

    Parameters
    ----------
    older_than, newer_than : Position, optional
        The stretch that follows, or comes before, a message; without either the newest.
    count_at_most : int, default=0
        Where counting of all that the search describes stops; 0 counts nothing.
    """
    match = as_match(search.words, for_postgresql=is_postgresql(session))
    if search.words.strip() and not match:
        return Found([], {}, False, False)
    matches = _match_count(session, match, many_matches + 1)
    every = _conditions(session, search, match, matches, few_matches, many_matches)
    columns = _order_of(search)
    backwards = newer_than is not None
    start = newer_than or older_than
    query = every
    if start is not None:
        here, there = _positions(start, columns)
        query = every.where(here > there if backwards else here < there)
    order = [column.asc() if backwards else column.desc() for column in columns]
    rows = session.execute(query.with_only_columns(*columns).order_by(*order).limit(limit + 1)).all()
    places = [Position(moment, number) for moment, number in rows[:limit]]
    if backwards:
        places.reverse()
    more = len(rows) > limit
    return Found(
        places=places,
        marked=_marked(session, match, [place.message_id for place in places]) if match else {},
        has_newer=more if backwards else start is not None,
        has_older=True if backwards else more,
        count=None if matches > few_matches else _count(session, every, count_at_most),
    )


def _count(session: Session, query: Select[Message], at_most: int) -> int:
    if not at_most:
        return 0
    found = query.with_only_columns(Message.id).limit(at_most).subquery()
    return session.scalar(select(func.count()).select_from(found)) or 0


def messages_of(session: Session, ids: Sequence[int]) -> list[Message]:
    """These messages in this order, with their reader, labels, faults and recipes loaded."""
    rows = session.scalars(
        select(Message)
        .where(Message.id.in_(ids))
        .options(
            joinedload(Message.reader),
            joinedload(Message.labels).joinedload(Labels.recipe),
            joinedload(Message.labels).selectinload(Labels.faults),
            selectinload(Message.page_recipe),
        )
    )
    by_id = {row.id: row for row in rows}
    return [by_id[number] for number in ids if number in by_id]


def every_id(session: Session, search: Search) -> Sequence[int]:
    """Numbers of all messages that `search` describes, oldest first."""
    match = as_match(search.words, for_postgresql=is_postgresql(session))
    if search.words.strip() and not match:
        return []
    matches = _match_count(session, match, MANY_MATCHES + 1)
    found = _conditions(session, search, match, matches).with_only_columns(Message.id)
    return session.scalars(found.order_by(Message.received_at, Message.id)).all()


def _order_of(search: Search) -> tuple[ColumnElement[datetime], ColumnElement[int]]:
    """Columns of moment and number: the copied ones where one index of `labels` then serves the search."""
    if search.kind or search.hazard or search.recipe_id:
        return Labels.received_at, Labels.message_id  # type: ignore[return-value]
    return Message.received_at, Message.id  # type: ignore[return-value]


def _conditions(
    session: Session,
    search: Search,
    match: str,
    matches: int,
    few_matches: int = FEW_MATCHES,
    many_matches: int = MANY_MATCHES,
) -> Select[Message]:
    query = select(Message).outerjoin(Message.labels)
    query = query.where(Message.kept_apart.is_not(None) if search.apart else Message.kept_apart.is_(None))
    equal = (
        (Labels.outcome, search.outcome),
        (Labels.language, search.language),
        (Labels.recipe_id, search.recipe_id),
        (Message.reader_id, search.reader_id),
        (Message.run_id, search.run_id),
        (Message.door, search.door),
    )
    query = query.where(*(column == value for column, value in equal if value))
    moment, _ = _order_of(search)
    if search.kind in KINDS:
        query = query.where(getattr(Labels, f"is_{search.kind}"))
    if search.hazard:
        query = query.where(
            Labels.hazard.is_not(None) if search.hazard == "any" else Labels.hazard == search.hazard
        )
    if search.fault:
        query = query.where(
            select(MessageFault.message_id)
            .where(MessageFault.message_id == Message.id, MessageFault.fault == search.fault)
            .exists()
        )
    if search.theme_id:
        query = query.where(
            select(ThemeMember.message_id)
            .where(ThemeMember.message_id == Message.id, ThemeMember.theme_id == search.theme_id)
            .exists()
        )
    if search.only:
        query = query.where(Message.id.in_(search.only))
    if search.quotable:
        query = query.where(Message.may_quote)
    if search.since:
        query = query.where(moment >= search.since)
    if search.until:
        query = query.where(moment < search.until)
    if not match:
        return query
    return query.where(_word_condition(session, match, matches, few_matches, many_matches))


def _word_condition(
    session: Session, match: str, matches: int, few_matches: int, many_matches: int
) -> ColumnElement[bool]:
    if is_postgresql(session):
        return text(f"{_WORDS_OF_MESSAGE} @@ websearch_to_tsquery('english', :match)").bindparams(  # type: ignore[return-value]
            match=match
        )
    if matches <= many_matches:
        # The sign before the column keeps SQLite from starting at the matches; see `FEW_MATCHES`.
        sign = "" if matches <= few_matches else "+"
        matching = "messages.id IN (SELECT rowid FROM message_words WHERE message_words MATCH :match)"
        return text(sign + matching).bindparams(match=match)  # type: ignore[return-value]
    return text(  # type: ignore[return-value]
        "EXISTS (SELECT 1 FROM message_words WHERE message_words MATCH :match AND rowid = messages.id)"
    ).bindparams(match=match)


def _match_count(session: Session, match: str, at_most: int) -> int:
    """How many messages hold these words, up to `at_most`; only SQLite has to be told how to go about it."""
    if not match or is_postgresql(session):
        return 0
    probe = text(
        "SELECT count(*) FROM (SELECT 1 FROM message_words WHERE message_words MATCH :match LIMIT :cap)"
    )
    return session.scalar(probe, {"match": match, "cap": at_most}) or 0


def as_match(words: str, *, for_postgresql: bool = False) -> str:
    """What a person typed, as the database's own search language; empty where no word is in it."""
    if for_postgresql:
        return words if re.search(r"\w", words) else ""
    wanted: list[str] = []
    unwanted: list[str] = []
    for no_phrase, phrase, no_word, word in _PIECE.findall(words):
        piece = phrase or word
        if re.search(r"\w", piece):
            quoted = '"' + piece.replace('"', " ").replace("\x00", " ") + '"'
            (unwanted if no_phrase or no_word else wanted).append(quoted)
    if not wanted:
        return ""
    return " ".join(wanted) + "".join(f" NOT {piece}" for piece in unwanted)


def _marked(session: Session, match: str, ids: list[int]) -> dict[int, tuple[str, str]]:
    """Subject and text of these messages with marks around the found words."""
    if not ids:
        return {}
    if is_postgresql(session):
        options = f"StartSel={MARK_START}, StopSel={MARK_END}, HighlightAll=true"
        query = text(
            "SELECT id, ts_headline('english', coalesce(subject, ''), query, :how), "
            "ts_headline('english', text, query, :how) "
            "FROM messages, websearch_to_tsquery('english', :match) AS query WHERE id IN :ids"
        ).bindparams(bindparam("ids", expanding=True))
        rows = session.execute(query, {"match": match, "how": options, "ids": ids})
    else:
        query = text(
            "SELECT rowid, highlight(message_words, 0, :start, :end), "
            "highlight(message_words, 1, :start, :end) "
            "FROM message_words WHERE message_words MATCH :match AND rowid IN :ids"
        ).bindparams(bindparam("ids", expanding=True))
        rows = session.execute(query, {"match": match, "ids": ids, "start": MARK_START, "end": MARK_END})
    return {number: (subject or "", body or "") for number, subject, body in rows}


def beside(session: Session, message: Message) -> tuple[int | None, int | None]:
    """Numbers of the messages that came just before and just after this one, from readers."""
    readers = select(Message.id).where(Message.kept_apart.is_(None)).limit(1)
    here, there = _positions(Position(message.received_at, message.id), _order_of(Search()))
    older = readers.where(here < there).order_by(Message.received_at.desc(), Message.id.desc())
    newer = readers.where(here > there).order_by(Message.received_at, Message.id)
    return session.scalar(older), session.scalar(newer)


def _positions(
    start: Position, order: tuple[ColumnElement[datetime], ColumnElement[int]]
) -> tuple[ColumnElement[Any], ColumnElement[Any]]:
    """Each message's place in the order of time, and the one that is compared with."""
    return tuple_(*order), tuple_(
        bindparam("from_at", start.received_at, Message.received_at.type),
        bindparam("from_id", start.message_id),
    )
