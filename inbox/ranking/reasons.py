"""Why a theme stands where it does, in one line of plain words."""

from datetime import date

from inbox.ranking import wording
from inbox.ranking.season import Season
from inbox.ranking.trends import Trend

NEAR, ALL_BUT = 0.3, 0.7
"""Coverage from which a published recipe is named, and from which readers are pointed to it (chosen)."""


def reason_for(
    *,
    recent_readers: int,
    earlier_readers: int,
    weeks: int,
    trend: Trend,
    season: Season | None,
    opens_on: date | None,
    on: date,
    coverage: float,
    covered_by: str | None,
    effort_days: float | None,
) -> str:
    """Who asks, which way it goes, the season, what is there already, and the work; parted by semicolons."""
    parts = [
        _asked(recent_readers, earlier_readers, weeks)
        + {"rising": ", rising", "cooling": ", cooling"}.get(trend, "")
    ]
    if season and opens_on:
        parts.append(_season(season, opens_on, on))
    parts.append(_coverage(coverage, covered_by))
    if effort_days:
        parts.append(f"{_days(effort_days)} of work by your estimate")
    return "; ".join(parts)


def _asked(recent: int, earlier: int, weeks: int) -> str:
    if recent:
        return f"{wording.people(recent)} in {wording.number(weeks)} weeks"
    return f"nobody in {wording.number(weeks)} weeks, {wording.people(earlier)} before"


def _season(season: Season, opens_on: date, on: date) -> str:
    if opens_on > on:
        return f"{season.name} opens on {wording.day(opens_on, near=on)}"
    if season.on > on:
        return f"{season.name} is on {wording.day(season.on, near=on)}, its window is open"
    last = "today" if season.until_on == on else f"until {wording.day(season.until_on, near=on)}"
    return f"{season.name} is now, {last}"


def _coverage(coverage: float, covered_by: str | None) -> str:
    if covered_by is None or coverage < NEAR:
        return "nothing of yours comes near"
    if coverage < ALL_BUT:
        return f"your {covered_by} comes part of the way"
    return f"point them to your {covered_by}"


def _days(days: float) -> str:
    if days < 1:
        return "less than a day"
    whole = round(days)
    return "a day" if whole == 1 else f"{wording.number(whole)} days"


def rate_words(
    rate_a_week: float | None, low: float | None, high: float | None, first_five_share: float | None
) -> str:
    """How many ask, with the interval, by the span in which it is a number that one can picture.

    Parameters
    ----------
    rate_a_week, low, high : float or None
        Voices in an ordinary week, and the bounds of the 80 % interval; without them nothing is said.
    first_five_share : float or None
        Share of posterior draws in which the theme is among the first five.
    """
    if rate_a_week is None or low is None or high is None:
        return ""
    factor, span = next(
        (factor, span)
        for factor, span in ((1.0, "week"), (52 / 12, "month"), (52.0, "year"))
        if factor * rate_a_week >= 0.5 or span == "year"
    )
    words = (
        f"About {factor * rate_a_week:.1f} voices in an ordinary {span}, "
        f"likely between {factor * low:.1f} and {factor * high:.1f}"
    )
    if first_five_share is not None:
        words += f"; among the first five in {100 * first_five_share:.0f} % of what the figures allow"
    return f"{words}."
