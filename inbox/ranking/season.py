"""How much of the time ahead, and of the time behind, lies in the season of an occasion.

In the weeks before an occasion people ask for what belongs to it; after it they stop. A theme of Easter is
therefore measured against the Easter weeks that were watched, and ranked by the Easter weeks that lie ahead.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from inbox.ranking.stats import Floats

IN_SEASON = 8.0
"""How many times as often a theme of an occasion is asked for while its window is open (chosen: with a window
of six weeks it puts half of a year's requests into the window). `tests.bench.demand` draws other values."""


@dataclass(frozen=True, slots=True)
class Season:
    """One occurrence of an occasion.

    Attributes
    ----------
    code : str
        What themes call the occasion.
    name : str
        As a page writes it.
    on, until_on : date
        First and last day.
    """

    code: str
    name: str
    on: date
    until_on: date

    def opens_on(self, lead_days: int) -> date:
        """First day of the window in which its recipes are developed and asked for."""
        return self.on - timedelta(days=lead_days)


def intensity(seasons: Iterable[Season], first: date, days: int, lead_days: int) -> Floats:
    """How often a theme of these seasons is asked for on each of `days` days from `first`, 1 being usual.

    Parameters
    ----------
    seasons : iterable of Season
        All of one occasion.
    first : date
        Day of the first element.

    Returns
    -------
    ndarray of shape (days,)
        1 outside and `IN_SEASON` inside a window, whose last day is the last day of the occasion.
    """
    level = np.ones(max(days, 0))
    for season in seasons:
        start = (season.opens_on(lead_days) - first).days
        end = (season.until_on - first).days + 1
        level[max(start, 0) : max(end, 0)] = IN_SEASON
    return level


def last_change(seasons: Iterable[Season], on: date, lead_days: int) -> date | None:
    """Day on which a window last opened, or was last over; None where none has by `on`."""
    changes = (day for one in seasons for day in (one.opens_on(lead_days), one.until_on + timedelta(days=1)))
    return max((day for day in changes if day <= on), default=None)


def next_season(seasons: Iterable[Season], on: date) -> Season | None:
    """The occurrence that is under way or comes next."""
    return min((one for one in seasons if one.until_on >= on), key=lambda one: one.on, default=None)
