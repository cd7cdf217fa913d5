"""Finding messages: by words, by what counts for them, by time; and going on from where one was.

A `Search` is what stands in a page's address. Results come newest first, and the next
ones are found by position (moment and number), so that page 1,000 costs what page 1 does.
Start with `find`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Integer,
    Row,
    Select,
    asc,
    bindparam,
    desc,
    exists,
    func,
    select,
    text,
    tuple_,
)
from sqlalchemy.orm import Session, joinedload, selectinload

from inbox.records import lines
from inbox.records.engine import is_postgresql
from inbox.records.tables import Labels, Message, MessageFault
from inbox.records.tables_out import ThemeMember
from inbox.words import KINDS, LANGUAGE_READ

FEW_MATCHES = 2_000
"""Up to so many, messages that hold the words are fetched and sorted. With more, those nearest in time are
walked first: a common word is soon found among them, however large the archive."""

NEAR_COUNT = 4_000
"""So many: a word that stands in every hundredth message fills a stretch from them. Where they do not fill
it, all messages that hold the words are listed, and looked for on the way from the newest to the oldest.

Both chosen at 1,000,000 messages (tests/bench/pages.py)."""

MARK_START, MARK_END = "\x02", "\x03"
"""Stand around found words; control signs, so that they are told from anything that is typed."""

Asked = frozenset[str]
"""Names of the fields that a search asks for."""

STATEMENTS_KEPT = 256
"""Making a statement costs several times what a short answer does."""

_SERVED_BY_LABELS = frozenset({*(f"is_{kind}" for kind in KINDS), "hazard", "any_hazard", "recipe_id"})
_OF_MESSAGES = frozenset({"reader_id", "run_id", "door", "quotable", "apart"})
_PIECE = re.compile(r'(-?)"([^"]*)"?|(-?)(\S+)')

_AMONG_FEW = "{number} IN (SELECT rowid FROM message_words WHERE message_words MATCH :match)"
_AMONG_ALL = f"+{_AMONG_FEW}"
"""The sign keeps SQLite from starting at the matches."""
_AMONG_NEAR = (
    "+{number} IN (SELECT rowid FROM message_words WHERE message_words MATCH :match "
    "AND rowid BETWEEN :low AND :high)"
)
_IN_MESSAGE = (
    "to_tsvector('english', coalesce(messages.subject, '') || ' ' || messages.text) "
    "@@ websearch_to_tsquery('english', :match)"
)


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
        Codes of the closed lists; hazard may be "any", language "other".
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
    lines : sequence of rows
        Of `lines.COLUMNS`.
    marked : mapping of message id to (subject, text)
        With marks around found words; only where words were looked for.
    count : int or None
        How many the search describes in all, as far as was asked; None where words are too common to count.
    """

    lines: Sequence[Row[*tuple[Any, ...]]]
    marked: dict[int, tuple[str, str]]
    has_newer: bool
    has_older: bool
    count: int | None = 0

    @property
    def places(self) -> list[Position]:
        """Where the messages stand."""
        return [Position(line.received_at, line.id) for line in self.lines]

    @property
    def ids(self) -> list[int]:
        """Numbers of the messages."""
        return [line.id for line in self.lines]


def find(
    session: Session,
    search: Search,
    *,
    older_than: Position | None = None,
    newer_than: Position | None = None,
    limit: int = 30,
    count_at_most: int = 0,
    few_matches: int = FEW_MATCHES,
    near_count: int = NEAR_COUNT,
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
    how = _how_to_match(session, match, few_matches)
    can_count = how != _AMONG_ALL
    asked = _asked_of(search)
    start, backwards = newer_than or older_than, newer_than is not None
    given = _given(search, match) | {"limit": limit + 1, "count_at_most": count_at_most if can_count else 0}
    if start is not None:
        given |= {"from_at": start.received_at, "from_id": start.message_id}
    rows_of = session.connection().execute  # past the ORM, which has nothing to add to plain columns
    rows: Sequence[Any] = []
    if how == _AMONG_ALL:
        near = rows_of(_near(asked, near_count, start is not None, backwards), given).one()
        if near.edge is not None:
            rows = rows_of(
                _stretch(asked, _AMONG_NEAR, start is not None, backwards), {**given, **near._asdict()}
            ).all()
    if len(rows) <= limit:
        rows = rows_of(_stretch(asked, how, start is not None, backwards), given).all()
    count = rows[0].in_all if rows else rows_of(_counted(asked, how), given).scalar_one()
    shown = rows[limit - 1 :: -1] if backwards else rows[:limit]
    more = len(rows) > limit
    return Found(
        lines=shown,
        marked=_marked(session, match, [line.id for line in shown]) if match else {},
        has_newer=more if backwards else start is not None,
        has_older=True if backwards else more,
        count=count if can_count else None,
    )


@lru_cache(STATEMENTS_KEPT)
def _stretch(asked: Asked, how: str, from_there: bool, backwards: bool) -> Select[*tuple[Any, ...]]:
    """Lines of one stretch, each with the count of all; made once for all searches that ask alike.

    The stretch is found first and then looked up, so that nothing else is carried through a sort.
    """
    turned = asc if backwards else desc
    query = _in_order(asked, how, from_there, backwards)
    if how == _AMONG_NEAR:
        edge = bindparam("edge", type_=Message.received_at.type)
        moment, _ = _order_of(asked)  # at the edge itself, some of one moment may have been left out
        query = query.where(moment < edge if backwards else moment > edge)
    stretch = query.limit(bindparam("limit", type_=Integer)).subquery()
    moment, number = stretch.c
    counted = _counted(asked, how).scalar_subquery().label("in_all")
    listed = select(*lines.COLUMNS, counted).select_from(stretch).join(Message, Message.id == number)
    return lines.joined(listed).order_by(turned(moment), turned(number))


@lru_cache(STATEMENTS_KEPT)
def _near(asked: Asked, count: int, from_there: bool, backwards: bool) -> Select[int, int, datetime | None]:
    """What the messages nearest in time span that a search describes, whatever their words.

    The edge is the last one's moment; none where there are not so many.
    """
    in_order = _in_order(asked, "", from_there, backwards)
    _, number = (near := in_order.limit(count).subquery()).c
    edge = select(in_order.offset(count - 1).limit(1).subquery().c[0]).scalar_subquery()
    return select(
        func.min(number).label("low"), func.max(number).label("high"), edge.label("edge")
    ).select_from(near)


def _in_order(asked: Asked, how: str, from_there: bool, backwards: bool) -> Select[datetime, int]:
    """Moments and numbers of the messages that a search describes, from one place on."""
    columns = _order_of(asked)
    query = _conditions(asked, how)
    if from_there:
        here, there = _positions(columns)
        query = query.where(here > there if backwards else here < there)
    turned = asc if backwards else desc
    order = [turned(column) for column in columns]
    return query.order_by(*order)


@lru_cache(STATEMENTS_KEPT)
def _counted(asked: Asked, how: str) -> Select[int]:
    found = _conditions(asked, how).limit(bindparam("count_at_most", type_=Integer))
    return select(func.count()).select_from(found.subquery())


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
    asked = _asked_of(search)
    moment, number = _order_of(asked)
    found = _conditions(asked, _how_to_match(session, match, FEW_MATCHES)).with_only_columns(number)
    return session.scalars(found.order_by(moment, number), _given(search, match)).all()


def _asked_of(search: Search) -> Asked:
    """Which fields a search asks for; of closed lists that are columns of their own, the word too."""
    asked = {item.name for item in fields(search) if getattr(search, item.name) and item.name != "words"}
    if search.kind:
        asked = asked - {"kind"} | ({f"is_{search.kind}"} if search.kind in KINDS else set())
    if search.hazard == "any":
        asked = asked - {"hazard"} | {"any_hazard"}
    if search.language == "other":
        asked = asked - {"language"} | {"other_language"}
    return frozenset(asked)


def _given(search: Search, match: str) -> dict[str, Any]:
    """Values for the names that stand in the statements."""
    return {item.name: getattr(search, item.name) for item in fields(search)} | {"match": match}


def _order_of(asked: Asked) -> tuple[ColumnElement[datetime], ColumnElement[int]]:
    """Columns of moment and number: the copied ones where one index of `labels` then serves the search."""
    if asked & _SERVED_BY_LABELS:
        return Labels.received_at, Labels.message_id  # type: ignore[return-value]
    return Message.received_at, Message.id  # type: ignore[return-value]


def _conditions(asked: Asked, how: str) -> Select[datetime, int]:
    """Moments and numbers of the messages that a search describes."""
    moment, number = _order_of(asked)
    if asked & _SERVED_BY_LABELS and not asked & _OF_MESSAGES and how != _IN_MESSAGE:
        query = select(moment, number)  # what is kept apart has no labels (`settle`)
    else:
        apart = Message.kept_apart.is_not(None) if "apart" in asked else Message.kept_apart.is_(None)
        query = select(moment, number).select_from(Message).outerjoin(Message.labels).where(apart)
    conditions = {
        "outcome": Labels.outcome == bindparam("outcome"),
        "language": Labels.language == bindparam("language"),
        "other_language": Labels.language != LANGUAGE_READ,
        "recipe_id": Labels.recipe_id == bindparam("recipe_id"),
        "reader_id": Message.reader_id == bindparam("reader_id"),
        "run_id": Message.run_id == bindparam("run_id"),
        "door": Message.door == bindparam("door"),
        "hazard": Labels.hazard == bindparam("hazard"),
        "any_hazard": Labels.hazard.is_not(None),
        "fault": exists().where(MessageFault.message_id == number, MessageFault.fault == bindparam("fault")),
        "theme_id": exists().where(
            ThemeMember.message_id == number, ThemeMember.theme_id == bindparam("theme_id")
        ),
        "only": number.in_(bindparam("only", expanding=True)),
        "quotable": Message.may_quote,
        "since": moment >= bindparam("since"),
        "until": moment < bindparam("until"),
        **{f"is_{kind}": getattr(Labels, f"is_{kind}") for kind in KINDS},
    }
    query = query.where(*(condition for name, condition in conditions.items() if name in asked))
    name = "labels.message_id" if asked & _SERVED_BY_LABELS else "messages.id"
    return query.where(text(how.format(number=name))) if how else query


def _how_to_match(session: Session, match: str, few_matches: int) -> str:
    """Condition that a message holds the words; empty without words.

    Only SQLite has to be told how to go about it, by how many messages hold them.
    """
    if not match:
        return ""
    if is_postgresql(session):
        return _IN_MESSAGE
    probe = text(
        "SELECT count(*) FROM (SELECT 1 FROM message_words WHERE message_words MATCH :match LIMIT :cap)"
    )
    matches = session.scalar(probe, {"match": match, "cap": few_matches + 1}) or 0
    return _AMONG_FEW if matches <= few_matches else _AMONG_ALL


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
            "FROM message_words WHERE message_words MATCH :match "
            # One way through the span of the numbers; looked up one by one the match begins anew each time.
            "AND rowid BETWEEN :low AND :high AND +rowid IN :ids"
        ).bindparams(bindparam("ids", expanding=True))
        given = {"match": match, "ids": ids, "low": min(ids), "high": max(ids)}
        rows = session.execute(query, {**given, "start": MARK_START, "end": MARK_END})
    return {number: (subject or "", body or "") for number, subject, body in rows}


def beside(session: Session, message: Message) -> tuple[int | None, int | None]:
    """Numbers of the messages that came just before and just after this one, from readers."""
    given = {"from_at": message.received_at, "from_id": message.id}
    return session.scalar(_OLDER, given), session.scalar(_NEWER, given)


def _positions(
    order: tuple[ColumnElement[datetime], ColumnElement[int]],
) -> tuple[ColumnElement[Any], ColumnElement[Any]]:
    """Each message's place in the order of time, and the one that is compared with."""
    return tuple_(*order), tuple_(
        bindparam("from_at", type_=Message.received_at.type), bindparam("from_id", type_=Message.id.type)
    )


_BESIDE = select(Message.id).where(Message.kept_apart.is_(None)).limit(1)
_HERE, _THERE = _positions(_order_of(frozenset()))
_OLDER = _BESIDE.where(_HERE < _THERE).order_by(Message.received_at.desc(), Message.id.desc())
_NEWER = _BESIDE.where(_HERE > _THERE).order_by(Message.received_at, Message.id)
