"""Work in the background: what goes on, what can be asked for, what ran last, what was learned."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.pipeline.learning import LEARN, new_label_count
from inbox.pipeline.long_work import HELD
from inbox.pipeline.works import READ_AGAIN, REGROUP
from inbox.records.tables_out import Learning, LongWork
from inbox.web.page import Page
from inbox.web.pages.bringing import WorkLine, work_line

LEARNINGS_SHOWN: Final = 12
WORKS_SHOWN: Final = 12


@dataclass(frozen=True)
class Asked:
    """A kind of work that can be asked for: its name, what the button says, what it does."""

    name: str
    button: str
    about: str


ASKED_HERE: Final = {
    READ_AGAIN: Asked(
        "Reading everything again",
        "Read everything again",
        "Reads every message that another model has read, as after an upgrade, and reckons all that follows. "
        "What was said by hand stays.",
    ),
    REGROUP: Asked(
        "Grouping the requests again",
        "Group the requests again",
        "Looks again at requests without a theme and at those whose place was doubtful. Themes keep their "
        "numbers, and what you decided comes first.",
    ),
    LEARN: Asked(
        "Learning from what you put right",
        "Learn from what I put right",
        "Learns from every message whose kind was put right by hand. The new model is used only if it is at "
        "least as right as the one in use; then everything is read again.",
    ),
}


@dataclass(frozen=True)
class AskLine:
    """One kind of work that can be asked for, and how it went the last time."""

    what: str
    asked: Asked
    goes_on: bool
    last_at: datetime | None
    last_words: str


@dataclass(frozen=True)
class LearningLine:
    """One try at learning."""

    when: datetime
    label_count: int
    before: float
    after: float
    taken: bool
    in_use: bool


@dataclass(frozen=True)
class WorksPage(Page):
    """The page for work in the background."""

    template: ClassVar[str] = "owner/work.html"
    going: list[WorkLine]
    ways: list[AskLine]
    done: list[tuple[WorkLine, datetime]]
    learnings: list[LearningLine]
    new_labels: int
    learn_after: int


def load_works(session: Session, learn_after: int) -> WorksPage:
    """The page, with the newest work first."""
    kept = LongWork.what != HELD
    going = session.scalars(
        select(LongWork).where(kept, LongWork.finished_at.is_(None)).order_by(LongWork.id)
    ).all()
    done = session.scalars(
        select(LongWork)
        .where(kept, LongWork.finished_at.is_not(None))
        .order_by(LongWork.finished_at.desc())
        .limit(WORKS_SHOWN)
    ).all()
    going_on = {work.what for work in going}
    return WorksPage(
        going=[work_line(work) for work in going],
        ways=[_way(session, what, what in going_on) for what in ASKED_HERE],
        done=[(work_line(work), work.finished_at) for work in done if work.finished_at],
        learnings=_learnings(session),
        new_labels=new_label_count(session),
        learn_after=learn_after,
    )


def _way(session: Session, what: str, goes_on: bool) -> AskLine:
    last = session.scalar(
        select(LongWork)
        .where(LongWork.what == what, LongWork.finished_at.is_not(None))
        .order_by(LongWork.finished_at.desc())
        .limit(1)
    )
    return AskLine(
        what,
        ASKED_HERE[what],
        goes_on,
        last.finished_at if last else None,
        (last.trouble or last.result or "") if last else "",
    )


def _learnings(session: Session) -> list[LearningLine]:
    rows = session.scalars(select(Learning).order_by(Learning.id.desc()).limit(LEARNINGS_SHOWN)).all()
    in_use = next((row.id for row in rows if row.taken), 0)
    return [
        LearningLine(
            row.tried_at, row.label_count, row.right_before, row.right_after, row.taken, row.id == in_use
        )
        for row in rows
    ]
