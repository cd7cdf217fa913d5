"""What came of the published themes: who asked, who cooked it, who was told, read from the ledger.

Pages and the digest show the same; a few queries serve any number of themes.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.digest.document import Figure, Line
from inbox.digest.numbers import figure
from inbox.ranking.paid import Made, Paid, did_it_pay, published_since
from inbox.records.tables import Labels, Message, Reader, Recipe
from inbox.records.tables_out import Reply, Telling, Theme, ThemeMember


@dataclass(frozen=True, slots=True)
class PaidTheme:
    """Whether one published theme paid.

    Attributes
    ----------
    since : datetime
        From when on reports count.
    wished_to_hear, told : Figure
        Readers who asked to be told, and those of them who were.
    """

    theme_id: int
    name: str
    recipe_slug: str
    recipe_title: str
    since: datetime
    paid: Paid
    wished_to_hear: Figure
    told: Figure


def load_paid(session: Session, zone: ZoneInfo, *, only: int | None = None) -> list[PaidTheme]:
    """All published themes with a recipe, the newest on the shelf first; or `only` the one of that number."""
    query = (
        select(Theme, Recipe)
        .join(Recipe, Recipe.id == Theme.recipe_id)
        .where(Theme.shelf == "published", Theme.merged_into_id.is_(None))
        .order_by(Theme.shelf_at.desc(), Theme.id)
    )
    themes = session.execute(query if only is None else query.where(Theme.id == only)).all()
    if not themes:
        return []
    asked = _asked(session, [theme.id for theme, _ in themes])
    made = _made(session, {recipe.id for _, recipe in themes})
    told = _told(session, [theme.id for theme, _ in themes])
    return [
        _one(theme, recipe, asked[theme.id], made[recipe.id], told[theme.id], zone)
        for theme, recipe in themes
    ]


@dataclass(frozen=True, slots=True)
class _Asked:
    """One request of a theme."""

    message_id: int
    reader_id: int | None
    has_address: bool
    received_at: datetime
    tell_me: bool


def _asked(session: Session, theme_ids: Sequence[int]) -> dict[int, list[_Asked]]:
    rows = session.execute(
        select(
            ThemeMember.theme_id,
            Message.id,
            Message.reader_id,
            Reader.email.is_not(None),
            Message.received_at,
            Message.tell_me,
        )
        .join(Message, Message.id == ThemeMember.message_id)
        .outerjoin(Reader, Reader.id == Message.reader_id)
        .where(ThemeMember.theme_id.in_(theme_ids))
        .order_by(Message.received_at)
    )
    found: dict[int, list[_Asked]] = defaultdict(list)
    for theme_id, message_id, reader_id, has_address, received_at, tell_me in rows:
        found[theme_id].append(_Asked(message_id, reader_id, bool(has_address), received_at, tell_me))
    return found


def _made(session: Session, recipe_ids: set[int]) -> dict[int, list[Made]]:
    rows = session.execute(
        select(Labels.recipe_id, Message.id, Message.reader_id, Message.received_at, Labels.outcome)
        .join(Message, Message.id == Labels.message_id)
        .where(Labels.recipe_id.in_(recipe_ids), Labels.is_made_it)
    )
    found: dict[int, list[Made]] = defaultdict(list)
    for recipe_id, message_id, reader_id, received_at, outcome in rows:
        found[recipe_id or 0].append(Made(message_id, reader_id, received_at, outcome))
    return found


def _told(session: Session, theme_ids: Sequence[int]) -> dict[int, list[tuple[int, int]]]:
    """Reader and request of each who was told."""
    rows = session.execute(
        select(Telling.theme_id, Reply.reader_id, Reply.message_id)
        .join(Reply, Reply.telling_id == Telling.id)
        .where(Telling.theme_id.in_(theme_ids), Reply.state == "sent")
    )
    found: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for theme_id, reader_id, message_id in rows:
        found[theme_id].append((reader_id or 0, message_id or 0))
    return found


def _one(
    theme: Theme,
    recipe: Recipe,
    asked: Sequence[_Asked],
    made: Sequence[Made],
    told: Sequence[tuple[int, int]],
    zone: ZoneInfo,
) -> PaidTheme:
    published_at = datetime.combine(recipe.published_on, time(), zone) if recipe.published_on else None
    first_at = asked[0].received_at if asked else None
    since = published_since(theme.shelf_at or theme.created_at, published_at, first_at)
    readers = {one.reader_id for one in asked if one.reader_id}
    handles = {one.reader_id for one in asked if one.reader_id and not one.has_address}
    unknown = sum(one.reader_id is None for one in asked)
    wished = [one for one in asked if one.tell_me]
    return PaidTheme(
        theme.id,
        theme.name,
        recipe.slug,
        recipe.title,
        since,
        did_it_pay(readers, handles, unknown, [one for one in made if one.received_at >= since]),
        _people([(one.reader_id or -one.message_id, one.message_id) for one in wished], theme.id),
        _people(told, theme.id),
    )


def _people(pairs: Sequence[tuple[int, int]], theme_id: int) -> Figure:
    """Distinct readers, from pairs of reader and message, as a count that opens to the messages."""
    opened = figure(sorted({message for _, message in pairs if message}), theme=theme_id)
    return Figure(len({reader for reader, _ in pairs}), opened.address, opened.message_ids)


def paid_lines(session: Session, zone: ZoneInfo, since: datetime, until: datetime) -> list[Line]:
    """A line for each published theme of which somebody who asked told of making it in this span."""
    themes = load_paid(session, zone)
    every = {number for one in themes for number in one.paid.askers.every_id}
    if not every:
        return []
    came = (Message.received_at > since, Message.received_at <= until)
    new = set(session.scalars(select(Message.id).where(Message.id.in_(every), *came)))
    return [
        Line(
            f"“{one.name}”, published as {one.recipe_title}: {one.paid.in_words}",
            figure(one.paid.askers.every_id, kind="made_it", recipe=one.recipe_slug),
        )
        for one in themes
        if new.intersection(one.paid.askers.every_id)
    ]
