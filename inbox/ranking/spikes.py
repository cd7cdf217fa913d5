"""A sudden rise of problem reports, seen when the report comes in.

Every recipe's weekly count of problem reports, and every fault's, runs through a Poisson CUSUM against what
is usual for it. The thresholds share out the false alarms, so that the whole catalogue together raises
one in a stated number of years. Start at `find_spikes`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv

from inbox.ranking import wording
from inbox.ranking.cusum import reference_value, threshold_for, upper_sums
from inbox.ranking.fits import fit_gamma_poisson
from inbox.ranking.stats import Floats
from inbox.words import FAULTS

WATCHED_WEEKS = 13
"""Weeks in which a rise is looked for; the weeks before tell what is usual (chosen: a quarter)."""

YEARS_BETWEEN_FALSE_ALARMS = 2.0
"""Over the whole catalogue (chosen: rare enough that an alarm is read)."""

WEEKS_A_YEAR = 52.1775

_CAUTION = 0.9
"""What is usual is only estimated; the rate that it lies below with this probability is taken for it."""

_LEAST_RISE = 1.0
"""Smallest rise, in reports a week, that the sum is tuned to (chosen: the standing sees slower ones)."""


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
        chosen = [one for one in series if (one.fault is not None) == of_faults]
        watched = max(recipe_count * (len(FAULTS) if of_faults else 1), len(chosen), 1)
        run_length = 2 * years * WEEKS_A_YEAR * watched
        usual = _usual_rates(chosen, watched)
        for one, rate in zip(chosen, usual, strict=True):
            spike = _look_at(one, float(rate), run_length, volume)
            if spike:
                found.append(spike)
    return sorted(found, key=lambda spike: (spike.usual - spike.count, spike.recipe_id, spike.fault or ""))


def _watched_from(one: ProblemWeeks) -> int:
    return max(len(one.counts) - WATCHED_WEEKS, one.starts_anew)


def _usual_rates(series: Sequence[ProblemWeeks], watched: int) -> Floats:
    """Cautious weekly rate of each, from the weeks before the watched ones and from all other series."""
    if not series:
        return np.zeros(0)
    spans = [one.counts[one.starts_anew : _watched_from(one)] for one in series]
    counts = np.array([sum(span) for span in spans], float)
    weeks = np.array([len(span) for span in spans], float)
    silent = max(watched - len(series), 0)
    spread = fit_gamma_poisson(
        np.append(counts, 0.0),
        np.append(weeks, np.median(weeks)),
        known_by_events=False,
        times=np.append(np.ones(len(series)), silent),
    )
    return np.asarray(gammaincinv(spread.a + counts, _CAUTION) / (spread.b + weeks))


def _on_grid(rate: float) -> float:
    """The rate rounded up to one of a few (steps of a tenth), so that thresholds are computed once."""
    return float(1.1 ** math.ceil(math.log(max(rate, 0.01)) / math.log(1.1)))


def _look_at(one: ProblemWeeks, rate: float, run_length: float, volume: Sequence[float]) -> Spike | None:
    usual = _on_grid(rate)
    reference = reference_value(usual, max(2 * usual, usual + _LEAST_RISE))
    counts = one.counts[_watched_from(one) :]
    busy = np.maximum(
        np.ones(len(counts)), ([1.0] * len(counts) + list(volume))[-len(counts) :] if counts else 1
    )
    sums = upper_sums(counts, target=usual * busy, allowance=(reference - usual) * busy)
    if not len(sums) or sums[-1] < threshold_for(usual, reference, run_length):
        return None
    weeks = int(np.argmax(sums[::-1] <= 0)) if (sums <= 0).any() else len(sums)
    count = int(sum(counts[-weeks:]))
    return Spike(one.recipe_id, one.fault, weeks, count, rate * weeks, _in_words(weeks, count, rate * weeks))


def _in_words(weeks: int, count: int, usual: float) -> str:
    span = "this week" if weeks == 1 else f"in {wording.number(weeks)} weeks"
    reports = "one report" if count == 1 else f"{wording.number(count)} reports"
    expected = wording.number(max(round(usual), 1)) if usual >= 0.5 else "hardly any"
    return f"{reports} of trouble {span}, where {expected} would be usual"
