"""A sudden rise of problem reports, seen when the report comes in.

Every recipe's weekly count of problem reports, and every fault's, runs through two Poisson CUSUMs, one tuned
to a doubling of what is usual for it and one to a burst. The thresholds share out the false alarms, so that
the whole catalogue together raises one in a stated number of years, and they allow for how roughly the usual
rate is known.

What that means for a rare recipe: at one problem report in two weeks a doubling passes unseen, and four times
as many are seen within half a year in somewhat more than one case of four; at five a week a doubling is seen
within half a year in seven cases of ten, at fifteen mostly within a quarter (`tests.bench.rises` prints the
delays). Slower rises are left to the standing. Start at `find_spikes`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inbox.ranking import wording
from inbox.ranking.cusum import reference_value, threshold_for, upper_sums
from inbox.ranking.fits import GammaSpread, fit_gamma_poisson
from inbox.ranking.stats import Floats
from inbox.words import FAULTS

WATCHED_WEEKS = 13
"""Weeks in which a rise is looked for; the weeks before tell what is usual (chosen: a quarter)."""

YEARS_BETWEEN_FALSE_ALARMS = 2.0
"""Over the whole catalogue (chosen: rare enough that an alarm is read)."""

WEEKS_A_YEAR = 52.1775

REJECTED = (1.5, 6.0)
"""Times the usual rate to which the two sums are tuned (chosen): a doubling that lasts, and a burst. Of a
doubled trouble not even twice as many reports arrive, since the reading also takes some other reports for
problems. The first alone sees a burst weeks later; the second alone hardly sees a doubling."""

_SHAPE_STEP, _RATE_STEP = 1.5, 0.3
"""How well a usual rate is known is rounded down to powers of the one, and the rate up by at most the other,
in standard deviations of it, so that each threshold is computed once; both err towards fewer alarms."""

_LEAST_RATE = 0.005
"""A week; one report in four years."""


@dataclass(frozen=True, slots=True)
class ProblemWeeks:
    """Problem reports of one recipe, or of one fault of it, by week.

    Attributes
    ----------
    counts : tuple of int
        Distinct readers in each week, the oldest first, the running week last.
    starts_anew : int
        Place in `counts` of the first week after the last change of the recipe or of its season; what was
        before is not compared with.
    """

    recipe_id: int
    fault: str | None
    counts: tuple[int, ...]
    starts_anew: int = 0


@dataclass(frozen=True, slots=True)
class Spike:
    """A rise that is more than chance.

    Attributes
    ----------
    weeks : int
        Length of the rise so far, the running week counted in.
    count : int
        Reports in these weeks.
    usual : float
        Reports that would be usual in as many weeks.
    """

    recipe_id: int
    fault: str | None
    weeks: int
    count: int
    usual: float
    in_words: str


def find_spikes(
    series: Sequence[ProblemWeeks],
    *,
    recipe_count: int,
    volume: Sequence[float] = (),
    years: float = YEARS_BETWEEN_FALSE_ALARMS,
) -> list[Spike]:
    """Rises that go on at the end of the series.

    Parameters
    ----------
    series : sequence of ProblemWeeks
        Those with at least one report; the rest is counted in by `recipe_count`.
    recipe_count : int
        Recipes in the catalogue.
    volume : sequence of float
        All reports on the site in each week over their usual number, aligned at the end; a busy week is held
        to more, a quiet one to no less.
    years : float
        Mean time between false alarms of the whole catalogue, half of them for recipes and half for faults.
    """
    found = []
    for of_faults in (False, True):
        chosen = [one for one in series if (one.fault is not None) == of_faults and one.counts]
        watched = max(recipe_count * (len(FAULTS) if of_faults else 1), len(chosen))
        if chosen:
            found += _look_at(chosen, watched, 2 * years * WEEKS_A_YEAR * watched, volume)
    return sorted(found, key=lambda spike: (spike.usual - spike.count, spike.recipe_id, spike.fault or ""))


def _look_at(
    series: Sequence[ProblemWeeks], watched: int, weeks_between: float, volume: Sequence[float]
) -> list[Spike]:
    shapes, exposures = _usual_rates(series, watched)
    rates = shapes / exposures
    counts = np.stack([_last_weeks(one.counts[_watched_from(one) :]) for one in series])
    busy = np.maximum(_last_weeks(volume), 1.0)
    found: dict[int, Spike] = {}
    for times in REJECTED:
        references, thresholds = _charts(shapes, rates, times, weeks_between * len(REJECTED))
        allowances = (references - rates)[:, None] * busy
        sums = upper_sums(counts, target=rates[:, None] * busy, allowance=allowances)
        for row in np.flatnonzero(sums[:, -1] >= thresholds - 1e-9):
            spike = _spike(series[int(row)], counts[row], sums[row], float(rates[row]))
            found.setdefault(int(row), spike)
    return list(found.values())


def _spike(one: ProblemWeeks, counts: Floats, sums: Floats, rate: float) -> Spike:
    """The rise that began when its sum was last at nothing."""
    fallen = np.flatnonzero(sums <= 0)
    weeks = WATCHED_WEEKS - (int(fallen[-1]) + 1 if len(fallen) else 0)
    count = int(counts[-weeks:].sum())
    usual = rate * weeks
    return Spike(one.recipe_id, one.fault, weeks, count, usual, _in_words(one.fault, weeks, count, usual))


def _watched_from(one: ProblemWeeks) -> int:
    return max(len(one.counts) - WATCHED_WEEKS, one.starts_anew)


def _last_weeks(values: Sequence[float]) -> Floats:
    """The last weeks watched, 0 before there were any."""
    last = np.asarray(values, float)[-WATCHED_WEEKS:]
    return np.concatenate([np.zeros(WATCHED_WEEKS - len(last)), last])


def _usual_rates(series: Sequence[ProblemWeeks], watched: int) -> tuple[Floats, Floats]:
    """Shape and inverse scale of each weekly rate, from the weeks before those watched and all series."""
    spans = [one.counts[one.starts_anew : _watched_from(one)] for one in series]
    counts = np.array([sum(span) for span in spans], float)
    weeks = np.array([len(span) for span in spans], float)
    spread = _spread(counts, weeks, silent=watched - len(series))
    return spread.a + counts, spread.b + weeks


def _spread(counts: Floats, weeks: Floats, silent: int) -> GammaSpread:
    """How usual rates differ, those of whom nobody ever complained counted in."""
    return fit_gamma_poisson(
        np.append(counts, 0.0),
        np.append(weeks, np.median(weeks)),
        known_by_events=False,
        times=np.append(np.ones(len(counts)), silent),
    )


def _charts(shapes: Floats, rates: Floats, times: float, weeks_between: float) -> tuple[Floats, Floats]:
    """Reference value and threshold of each series."""
    known = _SHAPE_STEP ** np.floor(np.log(shapes) / np.log(_SHAPE_STEP))
    steps = _RATE_STEP / np.sqrt(known)
    usual = np.exp(np.ceil(np.log(np.maximum(rates, _LEAST_RATE)) / steps) * steps)
    pairs, place = np.unique(np.stack([known, usual], axis=1), axis=0, return_inverse=True)
    charts = []
    for shape, rate in pairs.tolist():
        reference = reference_value(rate, times * rate)
        threshold = threshold_for(shape, shape / rate, reference, WATCHED_WEEKS, weeks_between)
        charts.append((float(reference), float(threshold)))
    references, thresholds = np.array(charts)[place.ravel()].T
    return references, thresholds


def _in_words(fault: str | None, weeks: int, count: int, usual: float) -> str:
    span = "this week" if weeks == 1 else f"in {wording.number(weeks)} weeks"
    reports = "one report" if count == 1 else f"{wording.number(count)} reports"
    expected = wording.number(max(round(usual), 1)) if usual >= 0.5 else "hardly any"
    what = f"“{fault.replace('_', ' ')}”" if fault else "trouble"
    return f"{reports} of {what} {span}, where {expected} would be usual"
