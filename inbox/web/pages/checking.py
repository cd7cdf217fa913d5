"""A few to check: the week's random sample, the least sure, and how right the reading is."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.calendar import last_full_week
from inbox.digest.charts import reliability
from inbox.digest.drawing import Drawing
from inbox.pipeline.checking import KindMeasured, least_sure, measured, reliability_bins, week_sample
from inbox.records.tables import HandLabel, Labels, Message
from inbox.settings import Settings
from inbox.web.page import Page
from inbox.web.pages.entries import Entry, load_entries
from inbox.web.phrasing import said
from inbox.words import KINDS


@dataclass(frozen=True)
class ToCheck:
    """One message with what it was read as, to confirm or put right."""

    entry: Entry
    text: str
    kinds: list[tuple[str, str, bool]]
    is_checked: bool


@dataclass(frozen=True)
class CheckPage(Page):
    """The few of this week, and what they say about the reading."""

    template: ClassVar[str] = "checking/page.html"
    week: str
    sample: list[ToCheck]
    unsure: list[ToCheck]
    kinds: list[KindMeasured]
    sample_count: int
    chart: Drawing | None


def load_check(session: Session, settings: Settings, *, now: datetime) -> CheckPage:
    """The page for the last full week."""
    week = last_full_week(now, settings.zone)
    sample = week_sample(session, week, settings)
    bins = reliability_bins(session)
    kinds = measured(session, settings, now=now)
    return CheckPage(
        week=str(week),
        sample=_to_check(session, sample),
        unsure=_to_check(session, least_sure(session, leave_out=sample)),
        kinds=[kind for kind in kinds if kind.meant_count or kind.read_count],
        sample_count=sum(row.count for row in bins) // len(KINDS) if bins else 0,
        chart=reliability("How right the reading is", bins) if bins else None,
    )


def _to_check(session: Session, ids: list[int]) -> list[ToCheck]:
    entries = load_entries(session, ids)
    checked = set(
        session.scalars(
            select(HandLabel.message_id).where(HandLabel.message_id.in_(ids), HandLabel.field == "kinds")
        )
    )
    found = []
    kinds = [getattr(Labels, f"is_{kind}") for kind in KINDS]
    rows = session.execute(
        select(Message.id, Message.text, *kinds).outerjoin(Message.labels).where(Message.id.in_(ids))
    )
    for number, text, *holds in sorted(rows, key=lambda row: ids.index(row.id)):
        found.append(
            ToCheck(
                entry=entries[number],
                text=text,
                kinds=[(kind, said(kind), bool(held)) for kind, held in zip(KINDS, holds, strict=True)],
                is_checked=number in checked,
            )
        )
    return sorted(found, key=lambda one: one.is_checked)
