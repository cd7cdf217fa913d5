"""The tabular CUSUM of counts, and the threshold that keeps false alarms as rare as wanted.

Exact for Poisson counts whose usual rate is only known as a gamma distribution: with a reference value that
is a fraction, the sum is a Markov chain with few states, run here for a sample of likely rates at once.
"""

import math
from fractions import Fraction
from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import ArrayLike
from scipy import special, stats

from inbox.ranking.stats import Floats

_FINENESS = 6
"""Reference values are fractions of about this many parts or more: a twelfth off at most."""

_SCORES = np.arange(-3.5, 5.6, 0.5)
"""Normal scores at which an uncertain rate is looked at; further up, since high rates give the alarms."""

_HEIGHTS = np.diff(special.ndtr(np.concatenate([[-np.inf], (_SCORES[1:] + _SCORES[:-1]) / 2, [np.inf]])))


def upper_sums(values: ArrayLike, *, target: ArrayLike, allowance: ArrayLike) -> Floats:
    """One-sided upper CUSUM, starting at 0.

    Parameters
    ----------
    values : array_like of shape (..., n)
        Observations in order of time along the last axis.
    target, allowance : array_like
        Value in control, and the slack K that is taken off with it; broadcast against `values`.

    Returns
    -------
    ndarray of the shape of `values`
        C_i = max(0, C_(i-1) + x_i - target - K).

    References
    ----------
    Page E. S. (1954), Biometrika 41:100-115; Montgomery D. C., Introduction to Statistical Quality Control,
    section 9.1.2.
    """
    steps = np.asarray(values, float) - np.asarray(target, float) - np.asarray(allowance, float)
    sums: Floats = np.empty(steps.shape)
    level = np.zeros(steps.shape[:-1])
    for place in range(steps.shape[-1]):
        level = np.maximum(0.0, level + steps[..., place])
        sums[..., place] = level
    return sums


def reference_value(accepted: float, rejected: float) -> Fraction:
    """Count a week that tells the rejected rate from the accepted one best; it lies between the two.

    References
    ----------
    Lucas J. M. (1985), Technometrics 27:129-144, equation 3.
    """
    best = (rejected - accepted) / math.log(rejected / accepted)
    return Fraction(best).limit_denominator(math.ceil(_FINENESS / min(best, _FINENESS)))


def first_passages(
    rates: Floats, weights: Floats, reference: Fraction, threshold: Fraction, weeks: int
) -> Floats:
    """Chance that the sum, from 0, first reaches the threshold in each of the weeks.

    Parameters
    ----------
    rates, weights : ndarray of shape (n_rates,)
        Likely Poisson rates a week, and how likely each is.
    threshold : Fraction
        A multiple of one over the denominator of `reference`.

    Returns
    -------
    ndarray of shape (weeks,)

    References
    ----------
    Brook D., Evans D. A. (1972), Biometrika 59:539-549 (the sum as a Markov chain).
    """
    lattice, step = reference.denominator, reference.numerator
    states = int(threshold * lattice)
    most = (states + step) // lattice
    chances = stats.poisson.pmf(np.arange(most, -1, -1)[:, None], rates)
    to_nothing = stats.poisson.cdf(((step - np.arange(states)) // lattice)[:, None], rates)
    # A row of `came_from` holds the states from which each count, the largest first, leads to one state.
    padded = np.zeros((step + states + lattice * most, len(rates)))
    now = padded[lattice * most : lattice * most + states]
    now[0] = 1.0
    came_from = sliding_window_view(padded[step:], lattice * most + 1, axis=0)[..., ::lattice]
    inside = [1.0]
    for _ in range(weeks):
        then = np.einsum("snx,xn->sn", came_from, chances)
        then[0] = (now * to_nothing).sum(axis=0)
        now[:] = then
        inside.append(float(now.sum(axis=0) @ weights))
    return -np.diff(inside)


@lru_cache(maxsize=4096)
def threshold_for(
    shape: float, exposure: float, reference: Fraction, weeks: int, weeks_between: float
) -> Fraction:
    """Smallest threshold at which false alarms come once in `weeks_between` weeks, or less often.

    The sum looks back over `weeks` weeks at most. How often it newly reaches the threshold is taken to be the
    chance that it does so in the last of them, or in one of them on the average where that is more.

    Parameters
    ----------
    shape, exposure : float
        The usual rate a week is Gamma with this shape and inverse scale.
    """
    rates = special.gammainccinv(shape, special.ndtr(-_SCORES)) / exposure

    def too_often(parts: int) -> bool:
        passages = first_passages(rates, _HEIGHTS, reference, Fraction(parts, reference.denominator), weeks)
        return bool(max(passages[-1], passages.mean()) * weeks_between > 1)

    low, high = 0, reference.denominator
    while too_often(high):
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if too_often(middle) else (low, middle)
    return Fraction(high, reference.denominator)
