"""The table of contents: every page, with what waits on it."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.intake.second_look import count_doubtful
from inbox.pipeline.long_work import HELD
from inbox.records.hazards import count_waiting
from inbox.records.tables import Message, Recipe, SetAside
from inbox.records.tables_out import DigestRow, LongWork, Reply, Theme
from inbox.web.page import Page


@dataclass(frozen=True)
class ContentsPage(Page):
    """Counts that stand where a book has page numbers."""

    template: ClassVar[str] = "entry/contents.html"
    digest_count: int
    theme_count: int
    recipe_count: int
    message_count: int
    draft_count: int
    waiting_count: int
    hazard_count: int
    set_aside_count: int
    doubtful_count: int
    going_count: int


def load_contents(session: Session, *, now: datetime) -> ContentsPage:
    """Count what waits; the archive is counted by its highest number, which costs nothing."""

    def count(*where: object) -> int:
        return session.scalar(select(func.count()).where(*where)) or 0  # type: ignore[arg-type]

    return ContentsPage(
        digest_count=count(DigestRow.id.is_not(None)),
        theme_count=count(Theme.merged_into_id.is_(None), Theme.shelf == "open"),
        recipe_count=count(Recipe.id.is_not(None)),
        message_count=session.scalar(select(func.max(Message.id))) or 0,
        draft_count=count(Reply.state == "draft"),
        waiting_count=count(Reply.state == "waiting"),
        hazard_count=count_waiting(session, now=now),
        set_aside_count=count(SetAside.left_out_at.is_(None), SetAside.taken_in_at.is_(None)),
        doubtful_count=count_doubtful(session),
        going_count=count(LongWork.what != HELD, LongWork.finished_at.is_(None)),
    )
