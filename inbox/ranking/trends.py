"""Which themes are asked for by more, or fewer, new people than before."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from inbox.ranking.stats import Floats, benjamini_hochberg, compare_poisson
from inbox.ranking.voices import VoiceTable

RECENT_DAYS, BEFORE_DAYS = 28, 84
"""Spans that are compared: the last four weeks and the twelve before (design)."""

FALSE_TRENDS = 0.10
"""Expected share of false ones among the themes called rising or cooling (chosen)."""

FEWEST_READERS = 5
"""Readers in both spans together below which a trend is not looked for. The test is conditional on that
number, so the choice does not bend it; smaller themes could never be significant and dilute the others."""

Trend = Literal["rising", "cooling", "steady", "too_few"]


def find_trends(voices: VoiceTable, theme_count: int, observed_days: int) -> tuple[list[Trend], Floats]:
    """Compare the last 28 days with the 84 before by the exact conditional test.

    A reader counts on the day on which they began to ask, so that one who keeps asking does not make it
    rise. Voices more likely than not to be requests for it count as one, the others not at all.

    Returns
    -------
    trends : list of str
        One a theme.
    p_values : ndarray of shape (theme_count,)
        nan where no trend was looked for.
    """
    p_values = np.full(theme_count, np.nan)
    trends: list[Trend] = ["too_few"] * theme_count
    before_days = min(BEFORE_DAYS, observed_days - RECENT_DAYS)
    if before_days < RECENT_DAYS:
        return trends, p_values
    recent = _readers(voices, theme_count, 0, RECENT_DAYS)
    before = _readers(voices, theme_count, RECENT_DAYS, RECENT_DAYS + before_days)
    tested = np.flatnonzero(recent + before >= FEWEST_READERS)
    ratio = RECENT_DAYS / before_days
    p_values[tested] = compare_poisson(recent[tested], before[tested], exposure_ratio=ratio)
    changed = benjamini_hochberg(p_values[tested], rate=FALSE_TRENDS)
    for theme, has_changed in zip(tested, changed, strict=True):
        rose = recent[theme] > ratio * before[theme]
        trends[theme] = "steady" if not has_changed else "rising" if rose else "cooling"
    return trends, p_values


def _readers(voices: VoiceTable, theme_count: int, from_age: int, to_age: int) -> NDArray[np.int_]:
    """Distinct readers by theme who began to ask that many days ago; the upper end is left out."""
    inside = (voices.age_days >= from_age) & (voices.age_days < to_age) & (voices.weight >= 0.5)
    return np.bincount(voices.theme[inside], minlength=theme_count)
