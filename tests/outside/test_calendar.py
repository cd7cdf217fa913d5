"""Weeks, clock changes and feasts against published rules and tables."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from inbox.calendar import Week
from inbox.occasions import easter, occasions_between

# ISO 8601-1:2019; cases as in Wikipedia, "ISO week date", and the Python documentation of date.isocalendar.
ISO_DATES = {
    "2005-01-01": "2004-W53-6", "2005-01-02": "2004-W53-7", "2005-12-31": "2005-W52-6",
    "2006-01-01": "2005-W52-7", "2006-01-02": "2006-W01-1", "2006-12-31": "2006-W52-7",
    "2007-01-01": "2007-W01-1", "2007-12-31": "2008-W01-1", "2008-12-28": "2008-W52-7",
    "2008-12-29": "2009-W01-1", "2009-12-31": "2009-W53-4", "2010-01-03": "2009-W53-7",
    "2021-01-03": "2020-W53-7", "2021-01-04": "2021-W01-1", "2003-12-29": "2004-W01-1",
    "2004-01-04": "2004-W01-7", "2024-12-30": "2025-W01-1", "2026-12-31": "2026-W53-4",
    "2027-01-03": "2026-W53-7", "2027-01-04": "2027-W01-1",
}  # fmt: skip


@pytest.mark.parametrize(("day", "written"), ISO_DATES.items())
def test_iso_week_of_a_date(day: str, written: str) -> None:
    week = Week.holding(date.fromisoformat(day))
    assert f"{week}-{(date.fromisoformat(day) - week.monday).days + 1}" == written


def test_years_with_53_weeks() -> None:
    # Rule of ISO 8601: week 1 holds 4 January.
    long_years = [year for year in range(2015, 2044) if str(Week.holding(date(year, 12, 28))).endswith("53")]
    assert long_years == [2015, 2020, 2026, 2032, 2037, 2043]


@pytest.mark.parametrize(
    ("zone", "change", "hours"),
    [
        # IANA tz database, 2026: gaps shorten the week that ends on that Sunday, overlaps lengthen it.
        ("Europe/London", date(2026, 3, 29), 167),
        ("Europe/London", date(2026, 10, 25), 169),
        ("America/New_York", date(2026, 3, 8), 167),
        ("America/New_York", date(2026, 11, 1), 169),
        # PEP 495 (Belopolsky and Peters, 2015), the two changes it works through.
        ("US/Eastern", date(2015, 3, 8), 167),
        ("US/Eastern", date(2014, 11, 2), 169),
    ],
)
def test_length_of_weeks_with_a_clock_change(zone: str, change: date, hours: int) -> None:
    week = Week.holding(change)
    assert week.end_at(ZoneInfo(zone)) - week.start_at(ZoneInfo(zone)) == timedelta(hours=hours)


@pytest.mark.parametrize(
    ("instant", "local_day"),
    [
        # PEP 495: both readings of 01:30 in the overlap of 2 November 2014, US/Eastern, are that Sunday.
        (1414906200, date(2014, 11, 2)),
        (1414909800, date(2014, 11, 2)),
        # PEP 495: what 02:30 in the gap of 8 March 2015 reads back as.
        (1425799800, date(2015, 3, 8)),
        (1425796200, date(2015, 3, 8)),
    ],
)
def test_moments_beside_a_clock_change_stay_in_their_week(instant: int, local_day: date) -> None:
    assert Week.of(datetime.fromtimestamp(instant, UTC), ZoneInfo("US/Eastern")) == Week.holding(local_day)


# Written from memory and equal to what the libraries compute; official tables to compare with: US Naval
# Observatory, https://aa.usno.navy.mil/data/ (Easter, Jewish and Islamic dates). Islamic dates are those of
# the Umm al-Qura calendar; where the moon is sighted they may be a day off.
FEASTS = {
    "easter": ("2025-04-20", "2026-04-05", "2027-03-28", "2028-04-16"),
    "orthodox_easter": ("2025-04-20", "2026-04-12", "2027-05-02", "2028-04-16"),
    "passover": ("2025-04-13", "2026-04-02", "2027-04-22", "2028-04-11"),
    "rosh_hashanah": ("2025-09-23", "2026-09-12", "2027-10-02", "2028-09-21"),
    "hanukkah": ("2025-12-15", "2026-12-05", "2027-12-25", "2028-12-13"),
    "ramadan": ("2025-03-01", "2026-02-18", "2027-02-08", "2028-01-28"),
    "eid_al_fitr": ("2025-03-30", "2026-03-20", "2027-03-09", "2028-02-26"),
    "eid_al_adha": ("2025-06-06", "2026-05-27", "2027-05-16", "2028-05-05"),
    "lunar_new_year": ("2025-01-29", "2026-02-17", "2027-02-06", "2028-01-26"),
}
DIWALI = ("2025-10-20", "2026-11-08", "2027-10-29")


def first_day(code: str, year: int) -> date:
    (found,) = (
        one.on
        for one in occasions_between(date(year, 1, 1), date(year, 12, 31), [code], "GB")
        if one.on.year == year
    )
    return found


@pytest.mark.parametrize("code", FEASTS)
def test_moving_feasts(code: str) -> None:
    assert [str(first_day(code, year)) for year in range(2025, 2029)] == list(FEASTS[code])


def test_diwali_within_a_day() -> None:
    # Tables differ between countries (India and Singapore differ in 2027 and 2028).
    for written in DIWALI:
        expected = date.fromisoformat(written)
        assert abs(first_day("diwali", expected.year) - expected) <= timedelta(days=1)


def test_both_easters_against_another_computation() -> None:
    # python-dateutil, dateutil.easter, methods 3 (western) and 2 (orthodox).
    from dateutil.easter import easter as another

    for year in range(1990, 2050):
        assert easter(year) == another(year, 3)
        assert easter(year, orthodox=True) == another(year, 2)


def test_six_weeks_before_easter() -> None:
    # Six weeks before Easter 2027 is 14 February.
    assert easter(2027) - timedelta(weeks=6) == date(2027, 2, 14)
