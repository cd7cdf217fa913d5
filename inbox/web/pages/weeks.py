"""Counts by ISO week in the owner's zone, oldest first, for charts and their tables."""

from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from inbox.calendar import Week

WEEKS_SHOWN = 26


def last_weeks(zone: ZoneInfo, *, now: datetime, count: int = WEEKS_SHOWN) -> list[Week]:
    """The last `count` weeks up to the present one, oldest first."""
    weeks = [Week.of(now, zone)]
    while len(weeks) < count:
        weeks.append(weeks[-1].previous())
    return weeks[::-1]


def weekly_counts(
    moments: Iterable[datetime], zone: ZoneInfo, *, now: datetime, count: int = WEEKS_SHOWN
) -> list[tuple[str, int]]:
    """First day of each week, such as "3 Nov", and how many moments fall into it."""
    tally = Counter(Week.of(moment, zone) for moment in moments)
    return [(f"{week.monday:%-d %b}", tally[week]) for week in last_weeks(zone, now=now, count=count)]
