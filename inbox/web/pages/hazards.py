"""Hazards: the list, and one with its caution, whom to ask, and what to look at."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from inbox.errors import NotFoundError
from inbox.reading.cautions import Caution, caution_for
from inbox.records.hazards import waiting
from inbox.records.tables import Labels, Message
from inbox.records.tables_out import Alert, Reply
from inbox.web.page import Page
from inbox.web.pages.entries import Entry, as_entry
from inbox.words import HAZARDS

SHOWN = 60


@dataclass(frozen=True)
class HazardsPage(Page):
    """Those that wait first, then the earlier ones."""

    template: ClassVar[str] = "hazards/list.html"
    waiting_count: int
    waiting: list[Entry]
    earlier: list[Entry]


def load_hazards(session: Session, *, now: datetime) -> HazardsPage:
    """All messages with a hazard, newest first."""
    ids = set(session.scalars(waiting(now)))
    rows = session.scalars(
        select(Message)
        .join(Labels, Labels.message_id == Message.id)
        .where(Labels.hazard.in_(HAZARDS))
        .order_by(Labels.received_at.desc(), Message.id.desc())
        .limit(SHOWN)
        .options(
            joinedload(Message.reader),
            joinedload(Message.labels).joinedload(Labels.recipe),
            joinedload(Message.labels).selectinload(Labels.faults),
        )
    ).all()
    return HazardsPage(
        waiting_count=len(ids),
        waiting=[as_entry(row) for row in rows if row.id in ids],
        earlier=[as_entry(row) for row in rows if row.id not in ids],
    )


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
    return HazardPage(
        entry=as_entry(message),
        text=message.text,
        because=message.reading.hazard_words if message.reading else [],
        caution=caution_for(labels.hazard or "", country),
        country=country,
        recipe=(labels.recipe.slug, labels.recipe.title) if labels.recipe else None,
        others=_others(session, message),
        is_dealt_with=alert is not None,
        is_answered=answered is not None,
    )


def _others(session: Session, message: Message) -> list[Entry]:
    """Further hazards told of about the same recipe."""
    if message.labels is None or message.labels.recipe_id is None:
        return []
    rows = session.scalars(
        select(Message)
        .join(Labels, Labels.message_id == Message.id)
        .where(
            Labels.recipe_id == message.labels.recipe_id,
            Labels.hazard.in_(HAZARDS),
            Message.id != message.id,
        )
        .order_by(Labels.received_at.desc())
        .limit(10)
        .options(joinedload(Message.reader))
    )
    return [as_entry(row) for row in rows]
