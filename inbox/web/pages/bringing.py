"""Bringing things in: what was brought in, what goes on, what could not be taken."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.intake.mention import refused_mentions
from inbox.intake.second_look import count_doubtful
from inbox.intake.set_aside import count_set_aside, get_set_aside, list_set_aside
from inbox.intake.table import TablePreview
from inbox.intake.table_columns import FIELDS
from inbox.intake.table_rows import ENCODINGS
from inbox.pipeline.long_work import HELD
from inbox.pipeline.works import IMPORT, RECIPES
from inbox.records.tables import IntakeRun, Recipe, SetAside
from inbox.records.tables_out import LongWork
from inbox.web.page import Page
from inbox.words import DOOR_WORDS

RUNS_SHOWN = 40
RAW_SHOWN_BYTES = 20_000


@dataclass(frozen=True)
class WorkLine:
    """One piece of long work."""

    id: int
    name: str
    state: str
    done: int
    of: int | None
    words: str
    is_going: bool
    is_held: bool


@dataclass(frozen=True)
class RunLine:
    """One import with its three numbers."""

    id: int
    source: str
    door: str
    when: datetime
    held: int
    stored: int
    already_here: int
    set_aside: int
    kept_apart: int
    is_over: bool
    taken_back_at: datetime | None
    can_take_back: bool


@dataclass(frozen=True)
class BringInPage(Page):
    """Where files are handed in, with what was."""

    template: ClassVar[str] = "bringing/list.html"
    going: list[WorkLine]
    done: list[WorkLine]
    runs: list[RunLine]
    set_aside_count: int
    doubtful_count: int
    recipe_count: int
    limit_words: str
    trouble: str = ""
    trouble_field: str = ""


def load_bring_in(session: Session, limit_bytes: int) -> BringInPage:
    """The page for handing files in."""
    works = session.scalars(
        select(LongWork)
        .where(LongWork.what.in_((HELD, IMPORT, RECIPES)))
        .order_by(LongWork.id.desc())
        .limit(12)
    ).all()
    lines = [work_line(work) for work in works]
    runs = session.scalars(select(IntakeRun).order_by(IntakeRun.id.desc()).limit(RUNS_SHOWN)).all()
    return BringInPage(
        going=[line for line in lines if line.is_going or line.is_held],
        done=[line for line in lines if not line.is_going and not line.is_held][:4],
        runs=[_run_line(run) for run in runs],
        set_aside_count=count_set_aside(session),
        doubtful_count=count_doubtful(session),
        recipe_count=session.scalar(select(func.count()).select_from(Recipe)) or 0,
        limit_words=f"{limit_bytes / 1e9:.3g} GB" if limit_bytes >= 1e9 else f"{limit_bytes / 1e6:.3g} MB",
    )


def work_line(work: LongWork) -> WorkLine:
    """How a piece of long work stands, in words."""
    is_held = work.what == HELD
    if is_held:
        state = "waits for you to look at its columns"
    elif work.trouble:
        state = "could not be done"
    elif work.finished_at:
        state = "done"
    elif work.stop_asked_at:
        state = "stopping"
    else:
        state = "going on" if work.started_at else "waiting to begin"
    return WorkLine(
        id=work.id,
        name=str(work.arguments.get("name") or work.what),
        state=state,
        done=work.done_count,
        of=work.of_count,
        words=work.trouble or work.result or "",
        is_going=work.finished_at is None and not is_held,
        is_held=is_held,
    )


def _run_line(run: IntakeRun) -> RunLine:
    return RunLine(
        id=run.id,
        source=run.source,
        door=DOOR_WORDS.get(run.door, run.door),
        when=run.started_at,
        held=run.stored_count + run.already_here_count + run.set_aside_count,
        stored=run.stored_count,
        already_here=run.already_here_count,
        set_aside=run.set_aside_count,
        kept_apart=run.kept_apart_count,
        is_over=run.finished_at is not None,
        taken_back_at=run.taken_back_at,
        can_take_back=run.taken_back_at is None and run.door != "recipes",
    )


@dataclass(frozen=True)
class WorkPage(Page):
    """One piece of long work while it goes on."""

    template: ClassVar[str] = "bringing/work.html"
    work: WorkLine


def load_work(session: Session, work_id: int) -> WorkPage:
    """Progress of one piece of work."""
    work = session.get(LongWork, work_id)
    if work is None:
        raise NotFoundError("There is no such work. It may have been swept away after it was done.")
    return WorkPage(work_line(work))


@dataclass(frozen=True)
class TablePage(Page):
    """What the columns of a table are: guessed, to be corrected, remembered."""

    template: ClassVar[str] = "bringing/table.html"
    work_id: int
    name: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    chosen: Mapping[str, str]
    fields: list[tuple[str, str]]
    date_order: str
    dates: str
    row_count: int
    remembered: bool
    source: str
    encoding: str
    """How the file is written; empty where it shows that itself."""
    encodings: list[tuple[str, str]]
    odd_cells: tuple[str, ...]
    trouble: str = ""


def as_table_page(work_id: int, name: str, found: TablePreview) -> TablePage:
    """The mapping page for a table that was looked through."""
    known = found.day_first
    dates = "" if known is None else "day-first" if known else "month-first"
    return TablePage(
        work_id=work_id,
        name=name,
        heads=found.heads,
        rows=found.rows,
        chosen={head: field for field, head in found.columns.items()},
        fields=[("", "leave out"), *FIELDS.items()],
        date_order=found.date_order,
        dates=dates,
        row_count=found.row_count,
        remembered=found.remembered,
        source=found.source,
        encoding=found.encoding or "",
        encodings=list(ENCODINGS.items()),
        odd_cells=found.odd_cells,
    )


@dataclass(frozen=True)
class AsideLine:
    """One item that was set aside."""

    id: int
    place: str
    door: str
    reason: str
    when: datetime


@dataclass(frozen=True)
class MentionLine:
    """One mention that was refused."""

    id: int
    source: str
    target: str
    reason: str
    when: datetime


@dataclass(frozen=True)
class SetAsidePage(Page):
    """Items that could not be taken in."""

    template: ClassVar[str] = "bringing/set_aside.html"
    count: int
    items: list[AsideLine]
    further: str
    mentions: list[MentionLine]


def load_set_aside(session: Session, after_id: int) -> SetAsidePage:
    """One stretch of the items that wait for a decision."""
    rows = list_set_aside(session, limit=51, after_id=after_id)
    shown = rows[:50]
    return SetAsidePage(
        count=count_set_aside(session),
        items=[_aside_line(row) for row in shown],
        further=f"/set-aside?after={shown[-1].id}" if len(rows) > 50 else "",
        mentions=[
            MentionLine(row.id, row.source, row.target, row.reason or "", row.received_at)
            for row in refused_mentions(session)
        ],
    )


def _aside_line(row: SetAside) -> AsideLine:
    return AsideLine(row.id, row.place, DOOR_WORDS.get(row.door, row.door), row.reason, row.set_aside_at)


@dataclass(frozen=True)
class AsidePage(Page):
    """One item that was set aside, with its bytes."""

    template: ClassVar[str] = "bringing/aside.html"
    item: AsideLine
    raw: str
    size_bytes: int
    is_cut: bool
    decided: str


def load_aside(session: Session, set_aside_id: int) -> AsidePage:
    """One item; bytes that are no text are shown as what can be made of them."""
    row = get_set_aside(session, set_aside_id)
    decided = "taken in" if row.taken_in_at else "left out" if row.left_out_at else ""
    return AsidePage(
        item=_aside_line(row),
        raw=row.raw[:RAW_SHOWN_BYTES].decode("utf-8", "replace"),
        size_bytes=len(row.raw),
        is_cut=len(row.raw) > RAW_SHOWN_BYTES,
        decided=decided,
    )
