"""What to develop next: a ranking of themes that one can argue with.

The score of a theme is a sum of four parts, each shown: how many people ask (a gamma-Poisson rate with
decay), whether its season lies ahead, how far a published recipe already answers it, and the owner's own
estimate of the work. Start at `rank`.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from inbox.ranking.memory import Memory
from inbox.ranking.rates import Posterior, first_five_shares, posterior_rates
from inbox.ranking.reasons import reason_for
from inbox.ranking.season import Season, intensity, next_season
from inbox.ranking.stats import Floats
from inbox.ranking.trends import Trend, find_trends
from inbox.ranking.voices import Voice, VoiceTable, tabulate

USUAL_EFFORT_DAYS = 3.0
"""Work on a recipe without an estimate, in days (chosen); an estimate is measured against it."""

MOST_COVERAGE = 0.95
"""A theme is never taken as wholly answered, so that its part stays finite and it can still be found."""

RECENT_WEEKS = 8
"""Span of the count that the reason begins with."""


@dataclass(frozen=True, slots=True)
class ThemeVoices:
    """One theme as the ranking sees it.

    Attributes
    ----------
    occasion : str or None
        Code of the occasion it belongs to; counts where `rank` is told of its seasons.
    coverage : float
        From 0 to 1: how far the published recipe `covered_by` (its title) already answers it.
    effort_days : float or None
        Owner's estimate of the work.
    """

    theme_id: int
    voices: tuple[Voice, ...]
    occasion: str | None = None
    coverage: float = 0.0
    covered_by: str | None = None
    effort_days: float | None = None


@dataclass(frozen=True, slots=True)
class Parts:
    """The four parts of a score; natural logarithms that add up to it."""

    rate: float
    season: float
    gap: float
    effort: float

    @property
    def total(self) -> float:
        """The score."""
        return self.rate + self.season + self.gap + self.effort


@dataclass(frozen=True, slots=True)
class RankedTheme:
    """Where a theme stands, and why.

    Attributes
    ----------
    place : int
        1 for the first.
    rate_a_week, rate_low, rate_high : float
        Voices in an ordinary week (outside the season, for a theme of an occasion): the mean of the
        posterior, and the bounds between which the rate lies with probability 0.8.
    first_five_share : float
        Share of posterior draws in which the theme is among the first five.
    trend : str
        "rising", "cooling", "steady" or "too_few".
    trend_p_value : float or None
        None where no trend was looked for.
    reader_count, recent_reader_count : int
        Distinct readers ever, and in the last eight weeks.
    season_name, season_on, window_opens_on
        The occurrence of its occasion that is under way or comes next, its first day, and the first day
        of the window before it; None without one.
    in_window : bool
        Whether that window is open.
    reason : str
        One line in plain words.
    """

    theme_id: int
    place: int
    parts: Parts
    rate_a_week: float
    rate_low: float
    rate_high: float
    first_five_share: float
    trend: Trend
    trend_p_value: float | None
    reader_count: int
    recent_reader_count: int
    season_name: str | None
    season_on: date | None
    window_opens_on: date | None
    in_window: bool
    reason: str

    @property
    def score(self) -> float:
        """Sum of the four parts."""
        return self.parts.total


@dataclass(frozen=True, slots=True)
class _Calendar:
    """The seasons by occasion, and how they touch the days behind and ahead; row 0 is no occasion."""

    seasons: dict[str, list[Season]]
    lead_days: int
    watched: Floats
    ahead: Floats

    def rows(self, themes: Sequence[ThemeVoices]) -> NDArray[np.int_]:
        """Row that each theme goes by."""
        row_of = {code: row for row, code in enumerate(self.seasons, start=1)}
        return np.array([row_of.get(theme.occasion or "", 0) for theme in themes])


def _calendar(seasons: Iterable[Season], on: date, observed_from: date, lead_days: int) -> _Calendar:
    by_code: dict[str, list[Season]] = defaultdict(list)
    for season in seasons:
        by_code[season.code].append(season)
    days = max((on - observed_from).days + 1, 1)
    first = on - timedelta(days=days - 1)
    groups: list[Sequence[Season]] = [(), *by_code.values()]
    return _Calendar(
        dict(by_code),
        lead_days,
        np.stack([intensity(group, first, days, lead_days) for group in groups]),
        np.array([intensity(group, on, max(lead_days, 1), lead_days).mean() for group in groups]),
    )


def rank(
    themes: Sequence[ThemeVoices],
    *,
    on: date,
    observed_from: date,
    seasons: Iterable[Season] = (),
    lead_days: int = 42,
    effort_weight: float = 0.5,
    memory: Memory | None = None,
    found_share: float = 1.0,
    draws: int = 2000,
    seed: int = 20,
) -> list[RankedTheme]:
    """Rank the open themes, first the one to develop next.

    Parameters
    ----------
    on : date
        Last day that is counted.
    observed_from : date
        First day from which messages are held; before it, silence tells nothing.
    seasons : iterable of Season
        Past and coming occurrences of the occasions that the owner plans for.
    lead_days : int
        Days before an occasion at which its window opens, and the span ahead that the season part looks at.
    effort_weight : float
        Power of the effort in the score.
    memory : Memory, optional
        How requests are remembered; left out, what would have foretold the last months best is chosen.
    found_share : float
        Share of the true requests that the reading finds (its recall), measured on labelled messages.
    draws, seed : int
        Posterior draws behind `first_five_share`, and where they start.

    Returns
    -------
    list of RankedTheme
        In order; ties go to the older theme.
    """
    if not themes:
        return []
    calendar = _calendar(seasons, on, observed_from, lead_days)
    rows = calendar.rows(themes)
    voices = tabulate([theme.voices for theme in themes], on)
    posterior = posterior_rates(voices, calendar.watched, rows, memory=memory, found_share=found_share)
    parts = np.stack(
        [np.log(posterior.mean * 7), np.log(calendar.ahead[rows]), *_owner_parts(themes, effort_weight)],
        axis=1,
    )
    first_five = first_five_shares(posterior, parts[:, 1:].sum(axis=1), draws=draws, seed=seed)
    trends = find_trends(voices, len(themes), calendar.watched.shape[1])
    return _in_order(themes, on, calendar, voices, posterior, parts, first_five, trends)


def _owner_parts(themes: Sequence[ThemeVoices], effort_weight: float) -> tuple[Floats, Floats]:
    """The parts that the catalogue and the owner decide: the gap and the effort."""
    coverage = np.clip([theme.coverage for theme in themes], 0.0, MOST_COVERAGE)
    efforts = np.array([theme.effort_days or USUAL_EFFORT_DAYS for theme in themes])
    return np.log1p(-coverage), -effort_weight * np.log(efforts / USUAL_EFFORT_DAYS)


def _in_order(
    themes: Sequence[ThemeVoices],
    on: date,
    calendar: _Calendar,
    voices: VoiceTable,
    posterior: Posterior,
    parts: Floats,
    first_five: Floats,
    trends: tuple[list[Trend], Floats],
) -> list[RankedTheme]:
    """Put the columns together, a row a theme, best score first."""
    count = len(themes)
    ever = np.bincount(voices.theme, minlength=count)
    recent = np.bincount(voices.theme[voices.newest_age_days < 7 * RECENT_WEEKS], minlength=count)
    low, high, mean = posterior.quantile(0.1) * 7, posterior.quantile(0.9) * 7, posterior.mean * 7
    ids = np.array([theme.theme_id for theme in themes])
    order = np.lexsort((ids, -parts.sum(axis=1)))
    ranked = []
    for place, row in enumerate(order, start=1):
        theme = themes[row]
        season = next_season(calendar.seasons.get(theme.occasion or "", ()), on)
        opens_on = season.opens_on(calendar.lead_days) if season else None
        trend, p_value = trends[0][row], float(trends[1][row])
        ranked.append(
            RankedTheme(
                theme_id=theme.theme_id,
                place=place,
                parts=Parts(*(float(part) for part in parts[row])),
                rate_a_week=float(mean[row]),
                rate_low=float(low[row]),
                rate_high=float(high[row]),
                first_five_share=float(first_five[row]),
                trend=trend,
                trend_p_value=None if np.isnan(p_value) else p_value,
                reader_count=int(ever[row]),
                recent_reader_count=int(recent[row]),
                season_name=season.name if season else None,
                season_on=season.on if season else None,
                window_opens_on=opens_on,
                in_window=opens_on is not None and opens_on <= on,
                reason=reason_for(
                    recent_readers=int(recent[row]),
                    earlier_readers=int(ever[row] - recent[row]),
                    weeks=RECENT_WEEKS,
                    trend=trend,
                    season=season,
                    opens_on=opens_on,
                    on=on,
                    coverage=theme.coverage,
                    covered_by=theme.covered_by,
                    effort_days=theme.effort_days,
                ),
            )
        )
    return ranked
