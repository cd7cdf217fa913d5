"""Questions asked about a recipe again and again: the open ones, and whether an answered one stopped."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.calendar import local_date
from inbox.ranking.questions import Asked, has_stopped, known_again
from inbox.records.tables import Labels, Message
from inbox.records.tables_out import Mended


@dataclass(frozen=True)
class Repeated:
    """An open question of several readers."""

    in_words: str
    words: str
    message_ids: str
    """With commas between, as they stand in an address."""


@dataclass(frozen=True)
class Answered:
    """A question that the owner answered on the page, and how often it came before and since."""

    id: int
    question: str
    note: str
    on: date
    in_words: str
    message_ids: str


def load_questions(
    session: Session, recipe_id: int, found: Sequence[Mapping[str, Any]], zone: ZoneInfo, *, now: datetime
) -> tuple[list[Repeated], list[Answered]]:
    """The open questions of a recipe, and the answered ones, the newest answer first.

    Parameters
    ----------
    found : sequence of mapping
        Repeated questions as kept with the recipe's standing.
    """
    rows = session.scalars(
        select(Mended)
        .where(Mended.recipe_id == recipe_id, Mended.what.startswith("question:"))
        .order_by(Mended.mended_at.desc(), Mended.id.desc())
    ).all()
    groups = [one["message_ids"] for one in found]
    again = [known_again(row.message_ids or (), groups) for row in rows]
    ids = [
        sorted({*(row.message_ids or ()), *(groups[at] if at is not None else ())})
        for row, at in zip(rows, again, strict=True)
    ]
    asked = _asked(session, {number for some in ids for number in some}, zone)
    since = _first_day(session, recipe_id, zone) if rows else None
    answered = [
        _answered(row, [asked[number] for number in some if number in asked], since, zone, now)
        for row, some in zip(rows, ids, strict=True)
    ]
    still_open = [
        Repeated(one["in_words"], one["words"], _joined(one["message_ids"]))
        for at, one in enumerate(found)
        if at not in again
    ]
    return still_open, answered


def _asked(session: Session, ids: set[int], zone: ZoneInfo) -> dict[int, Asked]:
    if not ids:
        return {}
    rows = session.execute(
        select(Message.id, Message.reader_id, Message.received_at).where(Message.id.in_(ids))
    )
    return {
        number: Asked(number, str(reader or -number), local_date(at, zone)) for number, reader, at in rows
    }


def _first_day(session: Session, recipe_id: int, zone: ZoneInfo) -> date | None:
    """First day on which anybody wrote about the recipe."""
    first = session.scalar(select(func.min(Labels.received_at)).where(Labels.recipe_id == recipe_id))
    return local_date(first, zone) if first else None


def _answered(
    row: Mended, asked: Sequence[Asked], since: date | None, zone: ZoneInfo, now: datetime
) -> Answered:
    on = local_date(row.mended_at, zone)
    by_then = set(row.message_ids or ())
    # Who asked on the day of the note and was known when it was written down, asked before it.
    placed = [
        Asked(one.message_id, one.reader, on - timedelta(days=1))
        if one.message_id in by_then and one.received_on == on
        else one
        for one in asked
    ]
    today = local_date(now, zone)
    stopped = has_stopped(placed, noted_on=on, asked_since=min(since or on, on), on=today)
    return Answered(
        id=row.id,
        question=row.what.removeprefix("question:"),
        note=row.note or "",
        on=on,
        in_words=stopped.in_words,
        message_ids=_joined([one.message_id for one in asked]),
    )


def _joined(ids: Sequence[int]) -> str:
    return ",".join(str(number) for number in ids)
