"""The occasions that people cook for, and the days on which they fall.

Feasts that follow another calendar are taken from convertdate (Easter, Hebrew, Persian), hijridate (Umm
al-Qura) and holidays (Chinese and Hindu calendars); one that depends on the sighting of the moon may fall a
day earlier or later where the owner lives. Start at `occasions_between`.
"""

import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Final

import holidays
from convertdate import holidays as feasts
from convertdate import persian
from hijridate import Hijri
from holidays.registry import COUNTRIES

from inbox.errors import InputError

Span = tuple[date, date]
Spans = Callable[[int, str], Iterator[Span]]
"""First and last days in a year and a country (two letters, or empty); none where there is none."""


@dataclass(frozen=True, slots=True)
class Occasion:
    """One occurrence of an occasion.

    Attributes
    ----------
    code : str
        Key of `OCCASIONS`.
    name : str
        As a page writes it.
    on, until_on : date
        First and last day; the same for most.
    asked_as : str
        The word of the theme vocabulary that readers' requests for it carry ("eid" for both feasts).
    """

    code: str
    name: str
    on: date
    until_on: date
    asked_as: str


@dataclass(frozen=True, slots=True)
class OccasionRule:
    """How an occasion is named and dated."""

    name: str
    how: str
    spans: Spans
    asked_as: str | None = None


def _nth_weekday(year: int, month: int, weekday: int, nth: int) -> date:
    """The `nth` (1 to 5) weekday (0 Monday) of a month; -1 is the last one."""
    if nth == -1:
        last = date(year + month // 12, month % 12 + 1, 1) - timedelta(days=1)
        return last - timedelta(days=(last.weekday() - weekday) % 7)
    first = date(year, month, 1)
    return first + timedelta(days=(weekday - first.weekday()) % 7 + 7 * (nth - 1))


def easter(year: int, *, orthodox: bool = False) -> date:
    """Easter Sunday, in the Gregorian calendar."""
    return date(*feasts.easter(year, church="orthodox" if orthodox else "western"))


def _lasting(first_day: Callable[[int, str], date | None], count: int = 1) -> Spans:
    """Spans of `count` days from the one day that `first_day` gives, if it gives one."""

    def spans(year: int, country: str) -> Iterator[Span]:
        first = first_day(year, country)
        if first:
            yield first, first + timedelta(days=count - 1)

    return spans


def _fixed(month: int, day: int) -> Spans:
    return _lasting(lambda year, country: date(year, month, day))


def _from_easter(offset_days: int, count: int = 1, *, orthodox: bool = False) -> Spans:
    return _lasting(
        lambda year, country: easter(year, orthodox=orthodox) + timedelta(days=offset_days), count
    )


def _hebrew(feast: Callable[[int], tuple[int, int, int]], count: int) -> Spans:
    def first_day(year: int, country: str) -> date:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # convertdate 2.5 calls functions that it calls deprecated itself
            return date(*feast(year))

    return _lasting(first_day, count)


def _hijri(month: int, day: int, count: int | None) -> Spans:
    """Spans of a feast of the Umm al-Qura calendar, for the whole month if `count` is None.

    A year of that calendar is shorter, so that a Gregorian year may hold a feast twice.
    """

    def spans(year: int, country: str) -> Iterator[Span]:
        for hijri_year in range(year - 580, year - 576):
            try:
                feast = Hijri(hijri_year, month, day)
                first = date(*feast.to_gregorian().datetuple())
            except (ValueError, OverflowError):
                continue
            if first.year == year:
                yield first, first + timedelta(days=(count or feast.month_length()) - 1)

    return spans


@lru_cache(maxsize=64)
def _named_days(country: str, year: int) -> Mapping[date, str]:
    """Public holidays of a country that the holidays library tells for that year, by English name."""
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore"
        )  # it warns of a year beyond its table; then the feast is just not found
        return dict(holidays.country_holidays(country, years=year, language="en_US"))


def _public(country: str, name: str) -> Spans:
    """First day of a year that `country` calls so; none where the library's table does not reach."""

    def first_day(year: int, _: str) -> date | None:
        return min((day for day, names in _named_days(country, year).items() if name in names), default=None)

    return _lasting(first_day)


def _mothers_day(year: int, country: str) -> date:
    if country in ("GB", "IE"):
        return easter(year) - timedelta(days=21)
    if country in ("ES", "PT"):
        return _nth_weekday(year, 5, 6, 1)
    if country == "SE":
        return _nth_weekday(year, 5, 6, -1)
    if country == "FR":
        last = _nth_weekday(year, 5, 6, -1)
        return last + timedelta(days=7) if last == easter(year) + timedelta(days=49) else last
    return _nth_weekday(year, 5, 6, 2)


def _fathers_day(year: int, country: str) -> date:
    if country in ("AU", "NZ"):
        return _nth_weekday(year, 9, 6, 1)
    if country in ("ES", "PT", "IT"):
        return date(year, 3, 19)
    if country in ("SE", "NO", "FI"):
        return _nth_weekday(year, 11, 6, 2)
    if country == "DE":
        return easter(year) + timedelta(days=39)
    return _nth_weekday(year, 6, 6, 3)


def _thanksgiving(year: int, country: str) -> date | None:
    if country == "US":
        return _nth_weekday(year, 11, 3, 4)
    return _nth_weekday(year, 10, 0, 2) if country == "CA" else None


_SOUTHERN = ("AR", "AU", "BO", "BR", "BW", "CL", "MZ", "NA", "NZ", "PE", "PY", "UY", "ZA", "ZW")


def _season(northern_month: int) -> Spans:
    """Three whole months, as meteorologists count; half a year later in the south."""

    def spans(year: int, country: str) -> Iterator[Span]:
        month = (northern_month + 5) % 12 + 1 if country in _SOUTHERN else northern_month
        beyond = date(year + (month + 2) // 12, (month + 2) % 12 + 1, 1)
        yield date(year, month, 1), beyond - timedelta(days=1)

    return spans


OCCASIONS: Final[Mapping[str, OccasionRule]] = {
    "new_year": OccasionRule("New Year", "1 January", _fixed(1, 1)),
    "epiphany": OccasionRule("Epiphany", "6 January", _fixed(1, 6)),
    "orthodox_christmas": OccasionRule(
        "Orthodox Christmas", "7 January (25 December, Julian)", _fixed(1, 7), "christmas"
    ),
    "burns_night": OccasionRule("Burns Night", "25 January", _fixed(1, 25)),
    "lunar_new_year": OccasionRule(
        "Lunar New Year", "holidays, China", _public("CN", "Chinese New Year (Spring")
    ),
    "valentines": OccasionRule("Valentine's Day", "14 February", _fixed(2, 14)),
    "pancake_day": OccasionRule("Pancake Day", "47 days before western Easter", _from_easter(-47)),
    "lent": OccasionRule("Lent", "the 46 days before western Easter", _from_easter(-46, 46)),
    "st_patricks": OccasionRule("St Patrick's Day", "17 March", _fixed(3, 17)),
    "nowruz": OccasionRule(
        "Nowruz",
        "1 Farvardin (convertdate)",
        _lasting(lambda year, country: date(*persian.to_gregorian(year - 621, 1, 1))),
    ),
    "holi": OccasionRule("Holi", "holidays, India", _public("IN", "Holi")),
    "purim": OccasionRule("Purim", "14 Adar (convertdate)", _hebrew(feasts.purim, 1)),
    "passover": OccasionRule("Passover", "15 Nisan, eight days (convertdate)", _hebrew(feasts.passover, 8)),
    "easter": OccasionRule("Easter", "western computus", _from_easter(0)),
    "orthodox_easter": OccasionRule(
        "Orthodox Easter", "Julian computus", _from_easter(0, orthodox=True), "easter"
    ),
    "shavuot": OccasionRule("Shavuot", "6 Sivan, two days (convertdate)", _hebrew(feasts.shavuot, 2)),
    "mothers_day": OccasionRule("Mother's Day", "by country", _lasting(_mothers_day)),
    "fathers_day": OccasionRule("Father's Day", "by country", _lasting(_fathers_day)),
    "ramadan": OccasionRule("Ramadan", "Umm al-Qura (hijridate)", _hijri(9, 1, None)),
    "eid_al_fitr": OccasionRule("Eid al-Fitr", "1 Shawwal (hijridate)", _hijri(10, 1, 3), "eid"),
    "eid_al_adha": OccasionRule("Eid al-Adha", "10 Dhu al-Hijja (hijridate)", _hijri(12, 10, 4), "eid"),
    "fourth_of_july": OccasionRule("Fourth of July", "4 July", _fixed(7, 4)),
    "rosh_hashanah": OccasionRule(
        "Rosh Hashanah", "1 Tishri, two days (convertdate)", _hebrew(feasts.rosh_hashanah, 2)
    ),
    "mid_autumn": OccasionRule("Mid-Autumn Festival", "holidays, China", _public("CN", "Mid-Autumn")),
    "diwali": OccasionRule("Diwali", "holidays, India", _public("IN", "Diwali")),
    "halloween": OccasionRule("Halloween", "31 October", _fixed(10, 31)),
    "bonfire_night": OccasionRule("Bonfire Night", "5 November", _fixed(11, 5)),
    "thanksgiving": OccasionRule("Thanksgiving", "United States and Canada", _lasting(_thanksgiving)),
    "hanukkah": OccasionRule("Hanukkah", "25 Kislev, eight days (convertdate)", _hebrew(feasts.hanukkah, 8)),
    "christmas": OccasionRule("Christmas", "25 December", _fixed(12, 25)),
    "spring": OccasionRule("Spring", "three months, by hemisphere", _season(3)),
    "summer": OccasionRule("Summer", "three months, by hemisphere", _season(6)),
    "autumn": OccasionRule("Autumn", "three months, by hemisphere", _season(9)),
    "winter": OccasionRule("Winter", "three months, by hemisphere", _season(12)),
}
"""Every occasion that the program can plan for."""

_EVERYWHERE = ("new_year", "valentines", "easter", "mothers_day", "fathers_day", "halloween", "christmas")
_SEASONS = ("spring", "summer", "autumn", "winter")
_USUAL: Mapping[str, tuple[str, ...]] = {
    "GB": ("burns_night", "pancake_day", "bonfire_night"),
    "IE": ("pancake_day", "st_patricks"),
    "US": ("st_patricks", "fourth_of_july", "thanksgiving", "hanukkah", "passover"),
    "CA": ("thanksgiving",),
    "AU": ("pancake_day",),
    "IN": ("holi", "diwali", "eid_al_fitr"),
    "SG": ("lunar_new_year", "eid_al_fitr", "diwali", "mid_autumn"),
    "CN": ("lunar_new_year", "mid_autumn"),
    "IL": ("purim", "passover", "shavuot", "rosh_hashanah", "hanukkah"),
    "IR": ("nowruz", "ramadan"),
    "GR": ("orthodox_easter",),
    **dict.fromkeys(
        ("AE", "EG", "ID", "MA", "MY", "PK", "SA", "TR"), ("ramadan", "eid_al_fitr", "eid_al_adha")
    ),
}
_NOT_THERE: Mapping[str, tuple[str, ...]] = {
    "GR": ("easter", "halloween"),
    **dict.fromkeys(
        ("AE", "EG", "IL", "IR", "MA", "PK", "SA"), ("easter", "halloween", "christmas", "valentines")
    ),
}


def usual_occasions(country: str) -> tuple[str, ...]:
    """Codes that an owner in `country` (two letters) starts with; chosen, and hers to change."""
    left_out = _NOT_THERE.get(country, ())
    chosen = {*_EVERYWHERE, *_SEASONS, *_USUAL.get(country, ())} - set(left_out)
    return tuple(code for code in OCCASIONS if code in chosen)


def parse_occasions(text: str, country: str) -> tuple[str, ...]:
    """Codes out of a setting such as "easter, eid_al_fitr"; the country's usual ones where it is empty.

    Raises
    ------
    InputError
        If a code is not known; the message names it and the known ones.
    """
    codes = tuple(dict.fromkeys(part.strip().lower() for part in text.split(",") if part.strip()))
    unknown = [code for code in codes if code not in OCCASIONS]
    if unknown:
        raise InputError(
            f"Setting occasions names {unknown[0]!r}, which is not known; choose from {', '.join(OCCASIONS)}."
        )
    return codes or usual_occasions(country)


def occasions_between(start_on: date, end_on: date, codes: Iterable[str], country: str) -> list[Occasion]:
    """Occurrences of the chosen occasions that touch the span, both ends counted, soonest first.

    Parameters
    ----------
    start_on, end_on : date
        First and last day of the span.
    codes : iterable of str
        Keys of `OCCASIONS`.
    country : str
        Two letters, or empty; decides the dates of Mother's Day, Thanksgiving and the seasons.
    """
    found: list[Occasion] = []
    for code in codes:
        rule = OCCASIONS[code]
        for year in range(start_on.year - 1, end_on.year + 1):
            found += [
                Occasion(code, rule.name, first, last, rule.asked_as or code)
                for first, last in rule.spans(year, country)
                if first <= end_on and last >= start_on
            ]
    return sorted(found, key=lambda occasion: (occasion.on, occasion.code))


@lru_cache
def countries() -> list[tuple[str, str]]:
    """Two letters (ISO 3166-1) and English name of each country whose holidays are known, by name."""
    named = (
        (codes[1], name.replace("_", " ").title().replace(" And ", " and ").replace(" Of ", " of "))
        for name, codes in COUNTRIES.items()
    )
    return sorted(((code, name) for code, name in named if len(code) == 2), key=lambda one: one[1])
