"""When things are done: once a week, at the owner's hour, whatever clocks and processes do.

Every process asks each minute what is due; a row in `job_runs`, unique by job and
period, decides who does it. Nothing is planned ahead, so that a gap in the clock, a
restart or a machine that slept cannot make it be missed: at the next look it is
still due. Start with `due_weeks` and `once`.
"""

import logging
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.schedulers.base import BaseScheduler
from apscheduler.schedulers.blocking import BlockingScheduler
from sqlalchemy import select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, sessionmaker

from inbox.calendar import Week, last_full_week
from inbox.errors import InboxError, kind_and_place
from inbox.records.tables_out import DigestRow, JobRun

STALE_HOURS: Final = 2.0
"""A job without an end after so long was cut, and may be claimed again. Chosen: far above its length."""

RETRY_MINUTES: Final = 30.0
"""A job that ended in trouble may be tried again after so long. Chosen."""

MOST_WEEKS: Final = 8
"""Weeks that are made up for, after a machine stood still. Chosen: what a person would still read."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Job:
    """Work that is done again and again: its name, the seconds between, and what to do at a moment."""

    name: str
    every_seconds: int
    run: Callable[[datetime], None]


def due_at(week: Week, *, zone: ZoneInfo, weekday: int, hour: int) -> datetime:
    """Moment at which the digest of `week` is due, as UTC: the owner's hour after the week's end.

    An hour that the clocks leap over is taken as it would have been before the change, an
    hour that comes twice as the first one (PEP 495, fold 0).
    """
    day = week.sunday + timedelta(days=1)
    day += timedelta(days=(weekday - day.weekday()) % 7)
    return datetime.combine(day, time(hour), tzinfo=zone).astimezone(UTC)


def due_weeks(
    now: datetime,
    *,
    zone: ZoneInfo,
    weekday: int,
    hour: int,
    made: Collection[str] = (),
    most: int = MOST_WEEKS,
) -> list[Week]:
    """Weeks whose digest is due and not made, oldest first.

    Parameters
    ----------
    made : collection of str
        Weeks that have one, such as "2026-W47". Without any, only the newest is due: the
        weeks before the program was set up are not made up for.
    """
    week = last_full_week(now, zone)
    if due_at(week, zone=zone, weekday=weekday, hour=hour) > now:
        week = week.previous()
    known = set(made)
    oldest = Week.parse(min(known)) if known else week  # four figures and two: in order as texts
    due = []
    for _ in range(most):
        if week < oldest:
            break
        if str(week) not in known:
            due.append(week)
        week = week.previous()
    return due[::-1]


def made_weeks(session: Session) -> set[str]:
    """Weeks that have a digest."""
    return set(session.scalars(select(DigestRow.week)))


def claim(
    session: Session, job: str, period: str, *, by: str, now: datetime, stale_hours: float = STALE_HOURS
) -> bool:
    """Take `job` for `period` on behalf of process `by`; False where another one has it or it is done.

    The claim holds for others once the caller commits. A claim that was cut is taken over
    after `stale_hours`, one that ended in trouble after `RETRY_MINUTES`.
    """
    try:
        with session.begin_nested():
            session.add(JobRun(job=job, period=period, claimed_by=by, started_at=now))
            session.flush()
        return True
    except IntegrityError:
        pass
    held = session.scalar(
        select(JobRun)
        .where(JobRun.job == job, JobRun.period == period)
        .execution_options(populate_existing=True)
    )
    if held is None or not _may_be_taken_over(held, now, stale_hours):
        return False
    taken = session.execute(
        update(JobRun)
        .where(
            JobRun.id == held.id, JobRun.started_at == held.started_at, JobRun.claimed_by == held.claimed_by
        )
        .values(claimed_by=by, started_at=now, finished_at=None, trouble=None)
        .execution_options(synchronize_session=False)
    )
    session.expire(held)
    return bool(taken.rowcount)  # type: ignore[attr-defined]


def _may_be_taken_over(held: JobRun, now: datetime, stale_hours: float) -> bool:
    if held.finished_at is None:
        return now - held.started_at > timedelta(hours=stale_hours)
    return held.trouble is not None and now - held.finished_at > timedelta(minutes=RETRY_MINUTES)


def finish(
    session: Session, job: str, period: str, *, by: str, now: datetime, trouble: str | None = None
) -> None:
    """Record that a claimed job ended, well or not; one that another process took over is left alone."""
    session.execute(
        update(JobRun)
        .where(JobRun.job == job, JobRun.period == period, JobRun.claimed_by == by)
        .values(finished_at=now, trouble=trouble)
    )


def once(
    sessions: sessionmaker[Session],
    job: str,
    period: str,
    work: Callable[[], None],
    *,
    by: str,
    now: datetime,
) -> bool:
    """Do `work` if this process gets the claim; returns whether it did.

    Trouble is recorded in the row and logged, and the work becomes due again later.
    """
    with sessions.begin() as session:
        if not claim(session, job, period, by=by, now=now):
            return False
    trouble = None
    try:
        work()
    except Exception as error:  # the one place where whatever a job raises is caught: it goes into its row
        trouble = str(error) if isinstance(error, InboxError) else kind_and_place(error)
        _log.error("job %s for %s ended in trouble: %s", job, period, kind_and_place(error))
    with sessions.begin() as session:
        finish(session, job, period, by=by, now=now, trouble=trouble)
    return trouble is None


def make_due_digests(
    sessions: sessionmaker[Session],
    build: Callable[[Week], None],
    *,
    now: datetime,
    zone: ZoneInfo,
    weekday: int,
    hour: int,
    by: str,
) -> list[Week]:
    """Build each digest that is due, oldest first, those that this process gets the claim of."""
    with sessions.begin() as session:
        made = made_weeks(session)
    due = due_weeks(now, zone=zone, weekday=weekday, hour=hour, made=made)
    return [
        week
        for week in due
        if once(sessions, "digest", str(week), lambda week=week: build(week), by=by, now=now)  # type: ignore[misc]
    ]


def scheduler(
    jobs: Sequence[Job], *, zone: ZoneInfo, clock: Callable[[], datetime], blocking: bool = False
) -> BaseScheduler:
    """Scheduler that looks at each job again and again, not yet started.

    A job never runs twice at a time in one process; looks that were missed become one.

    Parameters
    ----------
    clock : callable
        Gives the aware moment that a job is told.
    """
    made: BaseScheduler = (BlockingScheduler if blocking else BackgroundScheduler)(
        timezone=zone, job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None}
    )
    for job in jobs:
        made.add_job(
            _guarded(job, clock),
            "interval",
            seconds=job.every_seconds,
            id=job.name,
            name=job.name,
            next_run_time=clock(),
        )
    return made


def _guarded(job: Job, clock: Callable[[], datetime]) -> Callable[[], None]:
    """The job at the moment that the clock shows; what it raises is logged and does not end the scheduler."""

    def look() -> None:
        try:
            job.run(clock())
        except Exception as error:  # a job that fails is looked at again next time
            _log.error("job %s ended in trouble: %s", job.name, kind_and_place(error))

    return look
