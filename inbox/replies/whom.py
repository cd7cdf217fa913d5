"""Whom the owner owes an answer, and in which order.

Several messages of one reader about one thing are one entry. Start with `owed`.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import Any, Final

from sqlalchemy import (
    ColumnElement,
    Integer,
    Row,
    Select,
    SQLColumnExpression,
    and_,
    bindparam,
    exists,
    false,
    func,
    or_,
    select,
    true,
    update,
)
from sqlalchemy.orm import Session, aliased

from inbox.errors import NotFoundError
from inbox.records.tables import Labels, Message, Reader, Recipe
from inbox.records.tables_out import Reply, ThemeMember
from inbox.replies.stuck import words_of_haste

GROUPS: Final = ("hazard", "stuck", "problem", "question", "first_made_it", "rest")
"""In the order in which they are answered."""

_COUNTED: Final = ("hazard", "problem", "question", "first_made_it")
"""Groups whose waiting messages are counted, each in the first group that it belongs to."""

SINCE_DAYS: Final = 60
"""Older messages are no longer offered. Chosen: an answer after two months rarely helps a cook."""

HASTE_HOURS: Final = 6
"""How long somebody counts as being in the middle of cooking. Chosen: the length of a slow dish."""

COUNTED_AT_MOST: Final = 1_000
"""Where the counting of those who wait stops."""

ANSWERED: Final = ("waiting", "sending", "sent", "came_back", "by_hand")
"""States of a reply in which the message is no longer owed one."""

_HAZARD_WORDS: Final = {
    "allergen": "an allergen may be unlabelled or have caused a reaction",
    "illness": "somebody felt ill after eating",
    "injury": "somebody was hurt",
    "undercooked_risk": "something may be eaten undercooked",
    "preserving_risk": "something may be preserved in an unsafe way",
    "foreign_object": "something got into the food",
    "pet": "an animal ate it, or is to",
}


@dataclass(frozen=True, slots=True)
class Owed:
    """One reader who waits for an answer about one thing.

    Attributes
    ----------
    message_ids : tuple of int
        Newest first; the answer goes to the first.
    group : str
        One of `GROUPS`.
    reason : str
        One line of why, for the page.
    way : str
        "mail" where the answer goes by mail, "place" where it is copied to the place that the
        message was written at, "none" where the reader left no way to be answered.
    """

    message_ids: tuple[int, ...]
    group: str
    reason: str
    way: str
    reader_id: int | None
    reader_name: str | None
    recipe_id: int | None
    recipe_title: str | None
    received_at: datetime
    hazard: str | None
    words: str
    draft_id: int | None = None


def owed(session: Session, *, now: datetime, limit: int = 50, since_days: int = SINCE_DAYS) -> list[Owed]:
    """Those who wait for an answer, first things first.

    Within a group those who asked for an answer come first, then the newest; hazards are
    listed even where the reader left no way to be answered.
    """
    found: dict[object, list[Any]] = {}
    group_of: dict[object, str] = {}
    together = _answered_together(session, since=now - timedelta(days=since_days))
    for group in GROUPS:
        for row in _newest_waiting(session, group, now=now, since_days=since_days, limit=limit * 3):
            if row.id in together or (group == "stuck" and not words_of_haste(_all_words(row))):
                continue
            key = _thing(row)
            group_of.setdefault(key, group)
            found.setdefault(key, [])
            if row.id not in {other.id for other in found[key]}:
                found[key].append(row)
        if len(found) >= limit and group != "rest":
            break
    return _entries(session, list(found.items())[:limit], group_of)


def _newest_waiting(
    session: Session, group: str, *, now: datetime, since_days: int, limit: int
) -> Iterator[Row[*tuple[Any, ...]]]:
    """Those of a group who asked for an answer, then the others, the newest first.

    Asked for in two steps, so that each walks an index of moments and stops early.
    """
    since = now - (timedelta(hours=HASTE_HOURS) if group == "stuck" else timedelta(days=since_days))
    for wanted in (True, False):
        found = session.execute(
            _newest_of(group, wanted), {"since": since, "until": now, "at_most": limit}
        ).all()
        yield from found
        limit -= len(found)
        if limit <= 0:
            return


@cache
def _newest_of(group: str, wanted: bool) -> Select[*tuple[Any, ...]]:
    """Statement of `_newest_waiting`; made once, as making it costs more than most answers."""
    moment, number = _order_of(group)
    rows = _columns().where(_waiting(group), Message.reply_wanted == (true() if wanted else false()))
    return rows.order_by(moment.desc(), number.desc()).limit(bindparam("at_most", type_=Integer))


@dataclass(frozen=True, slots=True)
class OwedCount:
    """How many messages of a group wait: so many were counted, and whether those are all."""

    count: int
    is_all: bool

    def __str__(self) -> str:
        return f"{self.count:,}" + ("" if self.is_all else " or more")


def owed_count(
    session: Session,
    *,
    now: datetime,
    since_days: int = SINCE_DAYS,
    at_most: int = COUNTED_AT_MOST,
    reports_at_most: int | None = None,
) -> dict[str, OwedCount]:
    """How many messages of each group wait for an answer; one message counts in its first group only.

    Counted up to `at_most` each: whoever owes hundreds of answers needs no exact figure, and it
    would cost a walk over months of messages. The group "stuck" is counted among problems and
    questions, as it passes with the hour.

    Parameters
    ----------
    reports_at_most : int, optional
        First reports are looked for among so many unanswered ones; among all by default.
    """
    given = {"since": now - timedelta(days=since_days), "until": now}
    counts = {}
    for group in _COUNTED:
        limit = reports_at_most if group == "first_made_it" else at_most
        look_at = None if limit is None else limit + 1
        seen, count = session.execute(_counted(group, look_at), given).one()
        is_all = count <= at_most and (look_at is None or seen < look_at)
        counts[group] = OwedCount(min(count, at_most), is_all)
    return counts


@cache
def _counted(group: str, look_at: int | None) -> Select[int, int]:
    """How many were looked at, and how many of them count."""
    is_report = group == "first_made_it"
    earlier = _COUNTED[: _COUNTED.index(group)]
    rows = (
        _joined(select(Message.id, Message.reader_id, Message.received_at))
        .where(_waiting("made_it" if is_report else group), *(_is_not_of(one) for one in earlier))
        .limit(look_at)
        .subquery()
    )
    counts = _is_first_report(rows.c.reader_id, rows.c.received_at) if is_report else true()
    return select(func.count(), func.count().filter(counts)).select_from(rows)


def count_words(count: int) -> str:
    """Count as it stands in a digest: with "or more" where counting stopped."""
    return f"{count:,} or more" if count >= COUNTED_AT_MOST else f"{count:,}"


def no_reply_needed(session: Session, message_ids: Iterable[int], now: datetime) -> None:
    """Take these messages off the list; nothing is written to anybody. `records.undo` takes it back."""
    ids = sorted(set(message_ids))
    known = set(session.scalars(select(Message.id).where(Message.id.in_(ids))))
    missing = [one for one in ids if one not in known]
    if missing:
        raise NotFoundError(f"There is no message {missing[0]}.")
    session.execute(update(Message).where(Message.id.in_(ids)).values(no_reply_needed_at=now))
    session.expire_all()


def same_thing(session: Session, message_id: int, *, now: datetime) -> list[int]:
    """Give this message and the unanswered ones of its reader about the same thing, newest first."""
    base = session.execute(_columns().where(Message.id == message_id)).one_or_none()
    if base is None:
        raise NotFoundError(f"There is no message {message_id}.")
    if base.reader_id is None:
        return [message_id]
    since = base.received_at - timedelta(days=SINCE_DAYS)
    rows = session.execute(
        _columns()
        .where(Message.reader_id == base.reader_id, Message.received_at >= since, _unanswered())
        .order_by(Message.received_at.desc(), Message.id.desc())
    ).all()
    together = _answered_together(session, since=since)
    ids = [row.id for row in rows if _thing(row) == _thing(base) and row.id not in together]
    return [message_id, *(one for one in ids if one != message_id)]


def _columns() -> Select[*tuple[Any, ...]]:
    theme = (
        select(ThemeMember.theme_id)
        .where(ThemeMember.message_id == Message.id)
        .correlate(Message)
        .scalar_subquery()
    )
    return _joined(
        select(
            Message.id,
            Message.reader_id,
            Message.received_at,
            Message.subject,
            Message.text,
            Message.channel,
            Message.page_url,
            Message.reply_wanted,
            Labels.hazard,
            Labels.recipe_id,
            Labels.is_problem,
            Labels.is_question,
            Labels.outcome,
            Reader.email,
            Reader.name,
            Reader.bounced_at,
            Reader.forgotten_at,
            Recipe.title,
            theme.label("theme_id"),
        )
    ).outerjoin(Recipe, Recipe.id == Labels.recipe_id)


def _joined(columns: Select[*tuple[Any, ...]]) -> Select[*tuple[Any, ...]]:
    return (
        columns.select_from(Message)
        .outerjoin(Labels, Labels.message_id == Message.id)
        .outerjoin(Reader, Reader.id == Message.reader_id)
    )


def _unanswered() -> ColumnElement[bool]:
    answered = exists().where(Reply.message_id == Message.id, Reply.state.in_(ANSWERED))
    return and_(
        Message.kept_apart.is_(None),
        Message.no_reply_needed_at.is_(None),
        ~answered,
        func.coalesce(Labels.is_junk, false()) == false(),
    )


def _condition(group: str) -> ColumnElement[bool]:
    if group == "hazard":
        return Labels.hazard.is_not(None)
    if group == "stuck":
        return or_(Labels.is_problem == true(), Labels.is_question == true())
    if group == "problem":
        return Labels.is_problem == true()
    if group == "question":
        return Labels.is_question == true()
    if group == "made_it":
        return and_(Labels.is_made_it == true(), Message.reader_id.is_not(None))
    if group == "first_made_it":
        return and_(_condition("made_it"), _is_first_report(Message.reader_id, Message.received_at))
    return true()


def _is_first_report(
    reader_id: SQLColumnExpression[int | None], received_at: SQLColumnExpression[datetime]
) -> ColumnElement[bool]:
    before, before_labels = aliased(Message), aliased(Labels)
    return ~exists().where(
        before.reader_id == reader_id,
        before.received_at < received_at,
        before_labels.message_id == before.id,
        before_labels.is_made_it == true(),
    )


def _is_not_of(group: str) -> ColumnElement[bool]:
    if group == "hazard":
        # Plain IS NULL leads SQLite to walk all that have no hazard, not the few of the group asked for.
        return func.coalesce(Labels.hazard, "") == ""
    return ~_condition(group)


def _reachable() -> ColumnElement[bool]:
    by_mail = and_(Reader.email.is_not(None), Reader.bounced_at.is_(None), Reader.forgotten_at.is_(None))
    return or_(by_mail, Message.channel.in_(("comment", "social")))


def _waiting(group: str) -> ColumnElement[bool]:
    """Messages of a group that wait for an answer, between the moments `since` and `until`."""
    moment, _ = _order_of(group)
    between = [
        moment >= bindparam("since", type_=Message.received_at.type),
        moment <= bindparam("until", type_=Message.received_at.type),
    ]
    reachable = [] if group == "hazard" else [_reachable()]
    return and_(_unanswered(), _condition(group), *between, *reachable)


def _order_of(group: str) -> tuple[ColumnElement[Any], ColumnElement[Any]]:
    """Columns of moment and number; copied into `labels`, where one index has them with the kind."""
    if group == "rest":
        return Message.received_at, Message.id  # type: ignore[return-value]
    return Labels.received_at, Labels.message_id  # type: ignore[return-value]


def _answered_together(session: Session, *, since: datetime) -> set[int]:
    """Messages that were answered with another one of the same reader."""
    rows = session.scalars(
        select(Reply.also_answers).where(Reply.state.in_(ANSWERED), Reply.changed_at >= since)
    )
    return {number for numbers in rows for number in numbers}


def _thing(row: Any) -> object:
    """What makes two messages one entry: the reader, with the recipe or else the theme."""
    if row.reader_id is None:
        return row.id
    if row.recipe_id is not None:
        return (row.reader_id, "recipe", row.recipe_id)
    if row.theme_id is not None:
        return (row.reader_id, "theme", row.theme_id)
    return row.id


def _all_words(row: Any) -> str:
    return f"{row.subject or ''}\n{row.text}"


def _entries(
    session: Session, found: Sequence[tuple[object, list[Any]]], group_of: dict[object, str]
) -> list[Owed]:
    ids = [row.id for _, rows in found for row in rows]
    drafts = dict(
        session.execute(
            select(Reply.message_id, Reply.id).where(Reply.message_id.in_(ids), Reply.state == "draft")
        ).all()
    )
    entries = []
    for key, rows in found:
        rows = sorted(rows, key=lambda row: (row.received_at, row.id), reverse=True)
        first = rows[0]
        hazard = next((row.hazard for row in rows if row.hazard), None)
        draft = next((drafts[row.id] for row in rows if row.id in drafts), None)
        entries.append(
            Owed(
                message_ids=tuple(row.id for row in rows),
                group=group_of[key],
                reason=_reason(group_of[key], rows, hazard),
                way=_way(first),
                reader_id=first.reader_id,
                reader_name=first.name,
                recipe_id=first.recipe_id,
                recipe_title=first.title,
                received_at=first.received_at,
                hazard=hazard,
                words=first.text,
                draft_id=draft,
            )
        )
    order = {group: place for place, group in enumerate(GROUPS)}
    return sorted(entries, key=lambda entry: order[entry.group])


def _way(row: Any) -> str:
    if row.channel in ("comment", "social"):
        return "place"
    return "mail" if row.email and not row.bounced_at and not row.forgotten_at else "none"


def _reason(group: str, rows: Sequence[Any], hazard: str | None) -> str:
    about = f" about {rows[0].title}" if rows[0].title else ""
    times = f", {len(rows)} messages" if len(rows) > 1 else ""
    asked = "; asked for an answer" if any(row.reply_wanted for row in rows) else ""
    if group == "hazard":
        line = f"Hazard{about}: {_HAZARD_WORDS[hazard or 'injury']}"
    elif group == "stuck":
        haste = next((found for row in rows if (found := words_of_haste(_all_words(row)))), "")
        line = f"In the middle of cooking{about.removeprefix(' about')} (“{haste}”)"
    elif group == "problem":
        line = f"Something went wrong{about.replace(' about', ' with', 1)}"
    elif group == "question":
        line = f"Has a question{about}"
    elif group == "first_made_it":
        line = f"Their first report{about}"
    else:
        line = f"Wrote{about}"
    return line + times + asked + "."
