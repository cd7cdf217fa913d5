from datetime import date

import pytest

from inbox.errors import InputError
from inbox.occasions import OCCASIONS, occasions_between, parse_occasions, usual_occasions


def dates(code: str, year: int, country: str = "GB") -> list[date]:
    return [
        found.on
        for found in occasions_between(date(year, 1, 1), date(year, 12, 31), [code], country)
        if found.on.year == year
    ]


def test_every_occasion_has_dates_in_every_year_to_come() -> None:
    for year in (2026, 2027, 2028):
        for code in OCCASIONS:
            assert dates(code, year, "US"), f"{code} has no date in {year}"


def test_a_span_of_several_days_is_found_from_its_middle() -> None:
    found = occasions_between(date(2027, 1, 1), date(2027, 1, 1), ["winter", "hanukkah"], "GB")
    assert [(one.code, one.on) for one in found] == [("winter", date(2026, 12, 1))]
    assert occasions_between(date(2028, 1, 1), date(2028, 1, 1), ["hanukkah"], "GB")[0].on == date(
        2027, 12, 25
    )


def test_a_year_may_hold_ramadan_twice() -> None:
    assert dates("ramadan", 2030) == [date(2030, 1, 5), date(2030, 12, 26)]


def test_seasons_are_turned_round_in_the_south() -> None:
    assert dates("summer", 2026, "GB") == [date(2026, 6, 1)]
    assert dates("summer", 2026, "AU") == [date(2026, 12, 1)]
    assert dates("autumn", 2026, "AU") == [date(2026, 3, 1)]


def test_both_eids_answer_to_the_word_that_readers_use() -> None:
    found = occasions_between(date(2026, 1, 1), date(2026, 12, 31), ["eid_al_fitr", "eid_al_adha"], "GB")
    assert [one.asked_as for one in found] == ["eid", "eid"]


def test_thanksgiving_is_nowhere_but_where_it_is_kept() -> None:
    assert dates("thanksgiving", 2026, "US") == [date(2026, 11, 26)]
    assert dates("thanksgiving", 2026, "CA") == [date(2026, 10, 12)]
    assert dates("thanksgiving", 2026, "FR") == []


def test_soonest_comes_first() -> None:
    found = occasions_between(date(2026, 1, 1), date(2027, 12, 31), list(OCCASIONS), "GB")
    assert [one.on for one in found] == sorted(one.on for one in found)


def test_usual_occasions_follow_the_country() -> None:
    assert "thanksgiving" in usual_occasions("US")
    assert "thanksgiving" not in usual_occasions("GB")
    assert usual_occasions("") == usual_occasions("XX")
    assert set(usual_occasions("IL")) <= set(OCCASIONS)


def test_the_setting_is_read_and_a_slip_is_named() -> None:
    assert parse_occasions("Easter, eid_al_fitr,easter", "GB") == ("easter", "eid_al_fitr")
    assert parse_occasions(" ", "US") == usual_occasions("US")
    with pytest.raises(InputError, match="'eastre'"):
        parse_occasions("eastre", "GB")
