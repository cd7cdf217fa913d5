"""ISO weeks and days in the owner's time zone.

No database and no clock: the moment and the zone are passed in. Start at `Week`. The occasions that fall into
a span are in `inbox.occasions`.
"""

import re
import zoneinfo
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from functools import cache
from typing import Self

from inbox.errors import InputError

_CONTINENTS = frozenset(
    "Africa America Antarctica Arctic Asia Atlantic Australia Europe Indian Pacific".split()
)

_WEEK = re.compile(r"(\d{4})-W(\d{2})")


@dataclass(frozen=True, slots=True, order=True)
class Week:
    """One week of ISO 8601: Monday to Sunday, numbered in the year that holds its Thursday.

    Raises
    ------
    InputError
        If the year has no week of that number; some years have 53.
    """

    year: int
    number: int

    def __post_init__(self) -> None:
        try:
            date.fromisocalendar(self.year, self.number, 1)
        except ValueError:
            raise InputError(
                f"There is no week {self.number} in {self.year}; weeks run from 1 to 52, in some years to 53."
            ) from None

    @classmethod
    def holding(cls, day: date) -> Self:
        """The week that a date lies in."""
        year, number, _ = day.isocalendar()
        return cls(year, number)

    @classmethod
    def of(cls, moment: datetime, zone: tzinfo) -> Self:
        """The week that an aware `moment` lies in for somebody who lives in `zone`."""
        return cls.holding(local_date(moment, zone))

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read "2026-W47"."""
        found = _WEEK.fullmatch(text.strip().upper())
        if not found:
            raise InputError(f"{text!r} is not a week; write it as year and number, such as 2026-W47.")
        return cls(int(found[1]), int(found[2]))

    @property
    def monday(self) -> date:
        """First day."""
        return date.fromisocalendar(self.year, self.number, 1)

    @property
    def sunday(self) -> date:
        """Last day."""
        return date.fromisocalendar(self.year, self.number, 7)

    def start_at(self, zone: tzinfo) -> datetime:
        """First moment of the week in `zone`, as UTC; a week may be an hour shorter or longer than 168."""
        return start_of_day(self.monday, zone)

    def end_at(self, zone: tzinfo) -> datetime:
        """First moment that no longer belongs to the week, as UTC."""
        return start_of_day(self.monday + timedelta(days=7), zone)

    def previous(self) -> "Week":
        """The week before."""
        return Week.holding(self.monday - timedelta(days=7))

    def following(self) -> "Week":
        """The week after."""
        return Week.holding(self.monday + timedelta(days=7))

    def __str__(self) -> str:
        return f"{self.year:04d}-W{self.number:02d}"


def local_date(moment: datetime, zone: tzinfo) -> date:
    """Date of an aware `moment` on the wall calendar in `zone`.

    Raises
    ------
    ValueError
        If `moment` says no offset.
    """
    if moment.utcoffset() is None:
        raise ValueError(f"moment {moment!r} has no time zone; pass an aware one")
    return moment.astimezone(zone).date()


def start_of_day(day: date, zone: tzinfo) -> datetime:
    """First moment of `day` in `zone`, as UTC.

    Where midnight falls into a gap, the rule of PEP 495 for fold=0 (the offset before the change) gives the
    moment of the change itself; where it comes twice, the first one.
    """
    return datetime.combine(day, time(0), tzinfo=zone).astimezone(UTC)


def last_full_week(now: datetime, zone: tzinfo) -> Week:
    """The newest week that is over at `now` in `zone`."""
    return Week.of(now, zone).previous()


@cache
def time_zones() -> list[str]:
    """Names to choose a time zone from, such as "Europe/London"; those of no place are left out."""
    return sorted(name for name in zoneinfo.available_timezones() if name.partition("/")[0] in _CONTINENTS)
