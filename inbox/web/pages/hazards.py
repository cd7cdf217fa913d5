"""Hazards: the list, and one with its caution, whom to ask, and what to look at."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.reading.cautions import Caution, caution_for
from inbox.records.hazards import count_waiting, of_those_waiting, ticks_of
from inbox.records.tables import Labels, Message
from inbox.records.tables_out import Account, Alert, Reply
from inbox.web.page import Page
from inbox.web.pages.entries import Entry, load_entries

SHOWN = 60


@dataclass(frozen=True)
class HazardLine:
    """One hazard in the list, with how much of its check list was looked at."""

    entry: Entry
    looked_at_count: int
    point_count: int

    @property
    def open_count(self) -> int:
        """Points not looked at yet."""
        return self.point_count - self.looked_at_count


@dataclass(frozen=True)
class Point:
    """One point of a hazard's check list; `who` and `when` where it was ticked."""

    words: str
    who: str = ""
    when: datetime | None = None


@dataclass(frozen=True)
class HazardsPage(Page):
    """Those that wait first, then the earlier ones."""

    template: ClassVar[str] = "hazards/list.html"
    waiting_count: int
    waiting: list[HazardLine]
    """Those with open points first."""
    earlier: list[HazardLine]


def load_hazards(session: Session, *, now: datetime) -> HazardsPage:
    """All messages with a hazard, newest first."""
    rows = session.execute(
        select(Labels.message_id, Labels.hazard)
        .where(Labels.hazard.is_not(None))
        .order_by(Labels.received_at.desc(), Labels.message_id.desc())
        .limit(SHOWN)
    ).all()
    shown = [row.message_id for row in rows]
    ticked: dict[int, set[str]] = defaultdict(set)
    for one in ticks_of(session, shown):
        ticked[one.message_id].add(one.point)
    waiting = of_those_waiting(session, shown, now=now)
    entries = load_entries(session, shown)
    lines = [(number in waiting, _line(entries[number], code or "", ticked[number])) for number, code in rows]
    return HazardsPage(
        waiting_count=count_waiting(session, now=now),
        waiting=sorted((line for waits, line in lines if waits), key=lambda line: line.open_count == 0),
        earlier=[line for waits, line in lines if not waits],
    )


def _line(entry: Entry, code: str, ticked: set[str]) -> HazardLine:
    points = caution_for(code).owner_checks
    return HazardLine(entry, len(ticked.intersection(points)), len(points))


@dataclass(frozen=True)
class HazardPage(Page):
    """One hazard: the reader's words, the usual caution with its source, whom to ask, what to look at."""

    template: ClassVar[str] = "hazards/one.html"
    entry: Entry
    text: str
    because: list[str]
    caution: Caution
    country: str
    recipe: tuple[str, str] | None
    others: list[Entry]
    points: list[Point]
    made_count: int
    """Readers' reports of making the recipe, for the notice to them."""
    is_dealt_with: bool
    is_answered: bool


def load_hazard(session: Session, message_id: int, country: str) -> HazardPage:
    """The page of one hazard; raises NotFoundError."""
    message = session.get(Message, message_id)
    if message is None or message.labels is None or message.labels.hazard is None:
        raise NotFoundError(f"Message {message_id} tells of no hazard.")
    labels = message.labels
    alert = session.scalar(
        select(Alert.id).where(Alert.message_id == message_id, Alert.dealt_with_at.is_not(None)).limit(1)
    )
    answered = session.scalar(
        select(Reply.id).where(Reply.message_id == message_id, Reply.state != "draft").limit(1)
    )
    caution = caution_for(labels.hazard or "", country)
    return HazardPage(
        entry=load_entries(session, [message_id])[message_id],
        text=message.text,
        because=message.reading.hazard_words if message.reading else [],
        caution=caution,
        country=country,
        recipe=(labels.recipe.slug, labels.recipe.title) if labels.recipe else None,
        others=_others(session, message),
        points=_points(session, message_id, caution.owner_checks),
        made_count=_made_count(session, labels.recipe_id),
        is_dealt_with=alert is not None,
        is_answered=answered is not None,
    )


def _points(session: Session, message_id: int, checks: Sequence[str]) -> list[Point]:
    ticks = {row.point: row for row in ticks_of(session, [message_id])}
    names = dict(session.execute(select(Account.id, Account.name)).all()) if ticks else {}
    return [
        Point(words, names.get(ticks[words].account_id or 0, ""), ticks[words].ticked_at)
        if words in ticks
        else Point(words)
        for words in checks
    ]


def _made_count(session: Session, recipe_id: int | None) -> int:
    if recipe_id is None:
        return 0
    query = select(func.count()).where(Labels.recipe_id == recipe_id, Labels.is_made_it)
    return session.scalar(query) or 0


def _others(session: Session, message: Message) -> list[Entry]:
    """Further hazards told of about the same recipe."""
    if message.labels is None or message.labels.recipe_id is None:
        return []
    rows = session.scalars(
        select(Labels.message_id)
        .where(
            Labels.recipe_id == message.labels.recipe_id,
            Labels.hazard.is_not(None),
            Labels.message_id != message.id,
        )
        .order_by(Labels.received_at.desc())
        .limit(10)
    ).all()
    return list(load_entries(session, rows).values())
