"""The week in numbers beside the weeks before, and what was done since the last digest."""

from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise
from typing import Any, Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, and_, func, select, true
from sqlalchemy.orm import Session

from inbox.calendar import Week
from inbox.digest.document import DoorCount, Figure, Line, OutcomeCount, WeekNumbers
from inbox.ranking.stats import wilson
from inbox.records.tables import HandLabel, Labels, Message, MessageReading, Recipe
from inbox.records.tables_out import Mended, Reply, Theme
from inbox.words import OUTCOMES

COUNTED: Final = ("messages", "made_it", "worked", "mixed", "failed", "problem", "request", "question")

WEEKS_SHOWN: Final = 8
"""This week and the seven before it: what fits beside each other on a phone."""

KEPT_IDS: Final = 200
"""Up to so many messages a figure keeps the numbers of; above, only the address of the list."""

_SHELF_WORDS: Final = {
    "open": "put back to the open wishes",
    "on_the_bench": "taken to the bench",
    "published": "published",
    "passed_over": "passed over",
}


def address(**fields: object) -> str:
    """Address of the list of messages with these fields."""
    kept = {name: str(value) for name, value in fields.items() if value not in (None, "")}
    return "/messages" + ("?" + urlencode(kept, safe=",") if kept else "")


def figure(ids: Sequence[int], **fields: object) -> Figure:
    """Figure for these messages: they themselves where they are few, else the list with `fields`."""
    if len(ids) <= KEPT_IDS:
        return Figure(
            len(ids), address(only=",".join(map(str, sorted(ids)))) if ids else "", tuple(sorted(ids))
        )
    return Figure(len(ids), address(**fields))


def week_numbers(
    session: Session, week: Week, zone: ZoneInfo, *, weeks: int = WEEKS_SHOWN
) -> tuple[WeekNumbers, ...]:
    """Numbers of `week` and of those before it, oldest first."""
    shown = [week]
    while len(shown) < weeks:
        shown.insert(0, shown[0].previous())
    counts = {name: _by_week(session, name, shown, zone) for name in COUNTED}
    return tuple(
        WeekNumbers(
            str(one),
            {name: Figure(counts[name][place], _week_address(name, one)) for name in COUNTED},
        )
        for place, one in enumerate(shown)
    )


def arrivals(
    session: Session, week: Week, zone: ZoneInfo, *, weeks: int = WEEKS_SHOWN
) -> tuple[DoorCount, ...]:
    """What came by each door in `week`, and on average in the weeks before it; the most first."""
    first = week
    for _ in range(weeks - 1):
        first = first.previous()
    start, end = week.start_at(zone), week.end_at(zone)
    now, before = (
        func.count().filter(at) for at in (Message.received_at >= start, Message.received_at < start)
    )
    rows = session.execute(
        select(Message.door, now, before)
        .where(
            Message.kept_apart.is_(None),
            Message.received_at >= first.start_at(zone),
            Message.received_at < end,
        )
        .group_by(Message.door)
    )
    found = [
        DoorCount(
            door,
            Figure(count, address(door=door, since=week.monday, until=week.sunday) if count else ""),
            earlier / (weeks - 1),
        )
        for door, count, earlier in rows
    ]
    return tuple(sorted(found, key=lambda one: (-one.messages.count, -one.usual, one.door)))


def _week_address(name: str, week: Week) -> str:
    outcome = name if name in OUTCOMES else None
    kind = None if name == "messages" else "made_it" if outcome else name
    return address(kind=kind, outcome=outcome, since=week.monday, until=week.sunday)


def _counted(name: str) -> ColumnElement[bool]:
    if name in OUTCOMES:
        return and_(Labels.is_made_it == true(), Labels.outcome == name)
    holds: ColumnElement[bool] = getattr(Labels, f"is_{name}") == true()
    return holds


def _by_week(session: Session, name: str, shown: Sequence[Week], zone: ZoneInfo) -> list[int]:
    """One walk over one index for all weeks."""
    at = Message.received_at if name == "messages" else Labels.received_at
    condition = Message.kept_apart.is_(None) if name == "messages" else _counted(name)
    edges = [week.start_at(zone) for week in shown] + [shown[-1].end_at(zone)]
    columns = [func.count().filter(at >= start, at < end) for start, end in pairwise(edges)]
    row = session.execute(select(*columns).where(condition, at >= edges[0], at < edges[-1])).one()
    return list(row)


def outcome_weeks(
    session: Session, recipe_id: int, week: Week, zone: ZoneInfo, *, weeks: int = 16
) -> tuple[OutcomeCount, ...]:
    """Made-it reports of one recipe by week and outcome, oldest first, from its first report on."""
    shown = [week]
    while len(shown) < weeks:
        shown.insert(0, shown[0].previous())
    rows = session.execute(
        select(Labels.received_at, Labels.outcome).where(
            Labels.recipe_id == recipe_id,
            Labels.is_made_it == true(),
            Labels.outcome.is_not(None),
            Labels.received_at >= shown[0].start_at(zone),
            Labels.received_at < week.end_at(zone),
        )
    )
    counts: dict[str, dict[str, int]] = {str(one): dict.fromkeys(OUTCOMES, 0) for one in shown}
    for received_at, outcome in rows:
        counts[str(Week.of(received_at, zone))][str(outcome)] += 1
    while len(shown) > 4 and not any(counts[str(shown[0])].values()):
        shown.pop(0)
    return tuple(OutcomeCount(str(one), **counts[str(one)]) for one in shown)


def done_since(session: Session, since: datetime, until: datetime) -> tuple[Line, ...]:
    """Say what was done: replies, themes moved, faults mended, labels, how right the reading was."""
    lines = [
        *_replies_sent(session, since, until),
        *_themes_moved(session, since, until),
        *_mended(session, since, until),
        *_corrected(session, since, until),
        *_how_right(session, until),
    ]
    return tuple(lines)


def _replies_sent(session: Session, since: datetime, until: datetime) -> list[Line]:
    rows = session.execute(
        select(Reply.message_id, Reply.telling_id).where(
            Reply.state.in_(("sent", "by_hand", "came_back")), Reply.sent_at > since, Reply.sent_at <= until
        )
    ).all()
    answered = [row.message_id for row in rows if row.telling_id is None and row.message_id]
    told = [row.message_id for row in rows if row.telling_id is not None and row.message_id]
    lines = []
    if answered:
        words = f"{_many(len(answered), 'reply', 'replies')} sent."
        lines.append(Line(words, figure(answered)))
    if told:
        words = f"{_many(len(told), 'reader', 'readers')} told that what they asked for is there."
        lines.append(Line(words, figure(told)))
    return lines


def _themes_moved(session: Session, since: datetime, until: datetime) -> list[Line]:
    rows = session.scalars(
        select(Theme).where(Theme.shelf_at > since, Theme.shelf_at <= until).order_by(Theme.shelf_at)
    )
    return [
        Line(f"“{theme.name}” was {_SHELF_WORDS[theme.shelf]}.", Figure(1, f"/requests/{theme.id}"))
        for theme in rows
    ]


def _mended(session: Session, since: datetime, until: datetime) -> list[Line]:
    rows = session.execute(
        select(Mended, Recipe)
        .join(Recipe, Recipe.id == Mended.recipe_id)
        .where(Mended.mended_at > since, Mended.mended_at <= until)
        .order_by(Mended.mended_at)
    )
    lines = []
    for mended, recipe in rows:
        what, _, question = mended.what.partition(":")
        words = (
            f"A question is answered on the page of {recipe.title}: {question}."
            if what == "question"
            else f"Mended on {recipe.title}: {what.replace('_', ' ')}."
        )
        lines.append(Line(words, Figure(1, f"/recipes/{recipe.slug}")))
    return lines


def _corrected(session: Session, since: datetime, until: datetime) -> list[Line]:
    ids = session.scalars(
        select(HandLabel.message_id)
        .where(HandLabel.labelled_at > since, HandLabel.labelled_at <= until)
        .distinct()
    ).all()
    if not ids:
        return []
    return [Line(f"{_many(len(ids), 'message', 'messages')} labelled by hand.", figure(ids))]


def _how_right(session: Session, until: datetime) -> list[Line]:
    """Agreement of the reading with the hand labels of the random samples, kinds all right or not."""
    rows = session.execute(
        select(HandLabel.message_id, HandLabel.value, MessageReading.kinds)
        .join(MessageReading, MessageReading.message_id == HandLabel.message_id)
        .where(HandLabel.field == "kinds", HandLabel.from_random_sample, HandLabel.labelled_at <= until)
    ).all()
    if not rows:
        words = "How right the reading is cannot be said yet: label the week's random sample."
        return [Line(words)]
    right = sum(set(value["is"]) == set(kinds) for _, value, kinds in rows)
    low, high = (float(bound) for bound in wilson(right, len(rows)))
    words = (
        f"How right the reading was: {right:,} of {len(rows):,} messages of the random samples "
        f"had every kind right, "
        f"{_per_cent(right / len(rows))} (between {_per_cent(low)} and {_per_cent(high)})."
    )
    return [Line(words, figure([row[0] for row in rows]))]


def _per_cent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _many(count: int, one: str, more: str) -> str:
    return f"{count:,} {one if count == 1 else more}"


def corrected_since(session: Session, ids: Sequence[int], since: datetime) -> dict[int, tuple[str, ...]]:
    """Fields of these messages that a person labelled after `since`, in words."""
    found: dict[int, tuple[str, ...]] = {}
    for start in range(0, len(ids), 500):
        rows: Any = session.execute(
            select(HandLabel.message_id, HandLabel.field)
            .where(HandLabel.message_id.in_(ids[start : start + 500]), HandLabel.labelled_at > since)
            .order_by(HandLabel.message_id, HandLabel.field)
        )
        for message_id, field in rows:
            found[message_id] = (*found.get(message_id, ()), field)
    return found
