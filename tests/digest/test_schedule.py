"""Once a week at the owner's hour, through clock changes, long years, restarts, sleep and races."""

import multiprocessing
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from inbox.calendar import Week
from inbox.digest.schedule import Job, claim, due_at, due_weeks, finish, make_due_digests, once, scheduler
from inbox.records.engine import make_sessions
from inbox.records.tables_out import DigestRow, JobRun
from tests.digest import race

LONDON, NEW_YORK = ZoneInfo("Europe/London"), ZoneInfo("America/New_York")


def walk(
    start: datetime, end: datetime, step: timedelta, *, zone: ZoneInfo, weekday: int, hour: int
) -> list[tuple[str, datetime]]:
    """Let a clock run from `start` to `end` and note when each week's digest is made."""
    made: dict[str, datetime] = {str(Week.of(start, zone).previous().previous()): start}
    moment, noted = start, []
    while moment <= end:
        for week in due_weeks(moment, zone=zone, weekday=weekday, hour=hour, made=made):
            made[str(week)] = moment
            noted.append((str(week), moment))
        moment += step
    return noted


@pytest.mark.parametrize(("weekday", "hour"), [(0, 7), (6, 1), (6, 2), (3, 23), (0, 0)])
@pytest.mark.parametrize("zone", [LONDON, NEW_YORK, ZoneInfo("Australia/Lord_Howe")], ids=str)
def test_each_week_of_a_53_week_year_once(zone: ZoneInfo, weekday: int, hour: int) -> None:
    """2026 has 53 ISO weeks (Python's date.isocalendar; rule: week 1 holds 4 January)."""
    start, end = datetime(2025, 12, 20, tzinfo=UTC), datetime(2027, 1, 20, tzinfo=UTC)

    noted = walk(start, end, timedelta(hours=2), zone=zone, weekday=weekday, hour=hour)

    weeks = [week for week, _ in noted]
    assert len(weeks) == len(set(weeks))
    assert [f"2026-W{number:02d}" for number in range(1, 54)] == [
        week for week in weeks if week.startswith("2026")
    ]
    for week, moment in noted[1:]:
        due = due_at(Week.parse(week), zone=zone, weekday=weekday, hour=hour)
        assert due >= Week.parse(week).end_at(zone)
        assert timedelta(0) <= moment - due < timedelta(hours=2)
        local = due.astimezone(zone)
        assert local.weekday() == weekday
        assert 0 <= local.hour - hour <= 1


@pytest.mark.parametrize(
    ("zone", "sunday", "hour", "expected"),
    [
        # tz database: Europe/London leaps from 01:00 to 02:00 on 29 March 2026; 01:00 does not exist.
        (LONDON, "2026-03-29", 1, "2026-03-29T01:00+00:00"),
        # ... and 01:00 comes twice on 25 October 2026; the first one is British Summer Time.
        (LONDON, "2026-10-25", 1, "2026-10-25T00:00+00:00"),
        # America/New_York leaps from 02:00 to 03:00 on 8 March 2026.
        (NEW_YORK, "2026-03-08", 2, "2026-03-08T07:00+00:00"),
        # ... and 01:00 comes twice on 1 November 2026; the first one is daylight time.
        (NEW_YORK, "2026-11-01", 1, "2026-11-01T05:00+00:00"),
    ],
)
def test_hours_that_are_leapt_over_or_come_twice(
    zone: ZoneInfo, sunday: str, hour: int, expected: str
) -> None:
    """Fold 0 of PEP 495 (Belopolsky, Peters, 2015): the offset before the change."""
    day = datetime.fromisoformat(sunday).date()
    week = Week.holding(day - timedelta(days=7))

    assert due_at(week, zone=zone, weekday=6, hour=hour) == datetime.fromisoformat(expected)


def test_before_the_hour_the_week_before_is_the_newest() -> None:
    monday = datetime(2026, 11, 23, 6, 59, tzinfo=UTC)

    early = due_weeks(monday, zone=LONDON, weekday=0, hour=7)
    late = due_weeks(monday + timedelta(minutes=1), zone=LONDON, weekday=0, hour=7)

    assert ([str(week) for week in early], [str(week) for week in late]) == (["2026-W46"], ["2026-W47"])


def test_a_machine_that_slept_makes_up_for_its_weeks_oldest_first() -> None:
    woke = datetime(2026, 11, 25, 12, tzinfo=UTC)

    due = due_weeks(woke, zone=LONDON, weekday=0, hour=7, made={"2026-W44"})

    assert [str(week) for week in due] == ["2026-W45", "2026-W46", "2026-W47"]
    assert len(due_weeks(woke, zone=LONDON, weekday=0, hour=7, made={"2025-W01"})) == 8


def test_a_restart_makes_nothing_twice(fresh_engine: Engine, now: datetime) -> None:
    built: list[str] = []

    def build(week: Week) -> None:
        built.append(str(week))
        with Session(fresh_engine) as session, session.begin():
            session.add(DigestRow(week=str(week), built_at=now, document={"week": str(week)}))

    for start in range(3):
        make_due_digests(
            make_sessions(fresh_engine),
            build,
            now=now + timedelta(hours=start),
            zone=LONDON,
            weekday=0,
            hour=7,
            by=f"start {start}",
        )

    assert built == ["2026-W47"]


def test_a_claim_is_for_one_and_one_that_was_cut_is_taken_over(any_session: Session, now: datetime) -> None:
    assert claim(any_session, "digest", "2026-W47", by="one", now=now)
    assert not claim(any_session, "digest", "2026-W47", by="two", now=now + timedelta(minutes=90))
    assert claim(any_session, "digest", "2026-W48", by="two", now=now)

    later = now + timedelta(hours=3)
    assert claim(any_session, "digest", "2026-W47", by="two", now=later)
    assert not claim(any_session, "digest", "2026-W47", by="one", now=later)

    finish(any_session, "digest", "2026-W47", by="one", now=later)
    assert any_session.scalars(select(JobRun.finished_at).where(JobRun.period == "2026-W47")).one() is None
    finish(any_session, "digest", "2026-W47", by="two", now=later)
    assert not claim(any_session, "digest", "2026-W47", by="one", now=later + timedelta(days=9))


def test_trouble_is_recorded_and_tried_again_later(fresh_engine: Engine, now: datetime) -> None:
    sessions, tries = make_sessions(fresh_engine), []

    def work() -> None:
        tries.append(1)
        if len(tries) == 1:
            raise RuntimeError("the oven is cold")

    assert not once(sessions, "digest", "2026-W47", work, by="one", now=now)
    with Session(fresh_engine) as session:
        row = session.scalars(select(JobRun)).one()
        assert row.finished_at == now
        assert str(row.trouble).startswith("RuntimeError at test_schedule.py:")
    assert not once(sessions, "digest", "2026-W47", work, by="two", now=now + timedelta(minutes=10))
    assert once(sessions, "digest", "2026-W47", work, by="two", now=now + timedelta(minutes=31))
    assert len(tries) == 2


@pytest.mark.parametrize("database", ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def test_eight_processes_race_and_one_makes_it(
    request: pytest.FixtureRequest, tmp_path: Path, now: datetime, database: str
) -> None:
    if database == "sqlite":
        url = str(request.getfixturevalue("fresh_engine").url)
    else:
        url = request.getfixturevalue("fresh_postgres_url")
    log = tmp_path / "made"
    log.touch()
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.digest.race"])
    start = context.Barrier(8)
    racers = [
        context.Process(target=race.run, args=(url, now.isoformat(), str(log), start)) for _ in range(8)
    ]
    for racer in racers:
        racer.start()
    for racer in racers:
        racer.join(60)

    assert [racer.exitcode for racer in racers] == [0] * 8
    assert [line.split()[0] for line in log.read_text().splitlines()] == ["2026-W47"]


def test_a_job_that_fails_is_looked_at_again(now: datetime) -> None:
    looks: list[datetime] = []
    enough = threading.Event()

    def run(moment: datetime) -> None:
        looks.append(moment)
        if len(looks) >= 3:
            enough.set()
        raise RuntimeError("again")

    running = scheduler([Job("look", 1, run)], zone=LONDON, clock=lambda: datetime.now(UTC))
    running.start()
    try:
        assert enough.wait(20)
    finally:
        running.shutdown()
    assert looks == sorted(looks)
