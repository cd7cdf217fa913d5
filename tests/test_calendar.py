from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inbox.calendar import Week, last_full_week, local_date, start_of_day
from inbox.errors import InputError

LONDON = ZoneInfo("Europe/London")
ZONES = [
    ZoneInfo(name)
    for name in (
        "UTC", "Europe/London", "America/New_York", "Africa/Cairo", "America/Santiago", "Pacific/Apia",
        "Asia/Beirut", "Australia/Lord_Howe", "Asia/Kathmandu", "America/Havana",
    )
]  # fmt: skip
MOMENTS = st.integers(
    int(datetime(1995, 1, 1, tzinfo=UTC).timestamp()), int(datetime(2045, 1, 1, tzinfo=UTC).timestamp())
).map(lambda seconds: datetime.fromtimestamp(seconds, UTC))


@given(MOMENTS, st.sampled_from(ZONES))
def test_every_moment_lies_in_its_week(moment: datetime, zone: ZoneInfo) -> None:
    week = Week.of(moment, zone)
    assert week.start_at(zone) <= moment < week.end_at(zone)


@given(MOMENTS, st.sampled_from(ZONES))
def test_weeks_join_without_gap_or_overlap(moment: datetime, zone: ZoneInfo) -> None:
    week = Week.of(moment, zone)
    assert week.previous().end_at(zone) == week.start_at(zone)
    assert week.following().previous() == week
    assert week.previous() < week < week.following()


@given(MOMENTS)
def test_a_week_reads_back_as_written(moment: datetime) -> None:
    week = Week.of(moment, LONDON)
    assert Week.parse(str(week)) == week


def test_a_week_with_a_clock_change_has_an_hour_less_or_more() -> None:
    spring, autumn = Week.parse("2026-W13"), Week.parse("2026-W43")
    assert spring.end_at(LONDON) - spring.start_at(LONDON) == timedelta(hours=167)
    assert autumn.end_at(LONDON) - autumn.start_at(LONDON) == timedelta(hours=169)


def test_a_day_that_begins_in_a_gap_begins_when_the_clock_is_put_on() -> None:
    # Africa/Cairo put its clocks on from 00:00 to 01:00 on 28 April 2023 (IANA tz database).
    assert start_of_day(date(2023, 4, 28), ZoneInfo("Africa/Cairo")) == datetime(2023, 4, 27, 22, tzinfo=UTC)


def test_a_day_whose_midnight_comes_twice_begins_at_the_first() -> None:
    # America/Havana puts its clocks back from 01:00 to 00:00 on 1 November 2026 (IANA tz database).
    assert start_of_day(date(2026, 11, 1), ZoneInfo("America/Havana")) == datetime(2026, 11, 1, 4, tzinfo=UTC)


def test_last_full_week_is_over_on_monday_in_the_owners_zone() -> None:
    first_minute = datetime(2026, 11, 23, 0, 1, tzinfo=ZoneInfo("Pacific/Auckland"))
    assert last_full_week(first_minute, ZoneInfo("Pacific/Auckland")) == Week(2026, 47)
    assert last_full_week(first_minute, LONDON) == Week(2026, 46)


def test_week_53_is_followed_by_week_1() -> None:
    assert Week(2026, 53).following() == Week(2027, 1)
    assert Week(2027, 1).previous() == Week(2026, 53)


@pytest.mark.parametrize("text", ["2025-W53", "2026-W00", "2026-47", "last week", "2026-W54", ""])
def test_what_is_no_week_is_refused_in_words(text: str) -> None:
    with pytest.raises(InputError, match="week"):
        Week.parse(text)


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="no time zone"):
        local_date(datetime(2026, 1, 1), LONDON)  # noqa: DTZ001
