"""The tabular CUSUM of counts, and the threshold that gives a wanted time between false alarms.

Exact for Poisson counts: with a reference value on a lattice the sum is a Markov chain with few states.
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from inbox.ranking.stats import Floats

LATTICE = 8
"""Steps to one count on which the reference value and the threshold lie."""

_MOST_STATES = 1200


def upper_sums(values: ArrayLike, *, target: ArrayLike, allowance: ArrayLike) -> Floats:
    """One-sided upper CUSUM, starting at 0.

    Parameters
    ----------
    values : array_like of shape (n,)
        Observations in order of time.
    target, allowance : array_like of shape (n,) or scalar
        Value in control, and the slack K that is taken off with it.

    Returns
    -------
    ndarray of shape (n,)
        C_i = max(0, C_(i-1) + x_i - target - K).

    References
    ----------
    Page E. S. (1954), Biometrika 41:100-115; Montgomery D. C., Introduction to Statistical Quality Control,
    section 9.1.2.
    """
    steps = np.asarray(values, float) - np.asarray(target, float) - np.asarray(allowance, float)
    sums = np.empty(len(steps))
    level = 0.0
    for place, step in enumerate(steps):
        level = max(0.0, level + float(step))
        sums[place] = level
    return sums


def reference_value(usual: float, raised: float) -> float:
    """Count a week that tells `raised` from `usual` best, rounded up to the lattice.

    References
    ----------
    Lucas J. M. (1985), Technometrics 27:129-144, equation 3.
    """
    best = (raised - usual) / math.log(raised / usual)
    return math.ceil(best * LATTICE) / LATTICE


def average_run_length(usual: float, reference: float, threshold: float) -> float:
    """Mean number of counts until a sum of `threshold` or more, from 0, at Poisson rate `usual`.

    `reference` and `threshold` must lie on the lattice.

    References
    ----------
    Brook D., Evans D. A. (1972), Biometrika 59:539-549.
    """
    states = round(threshold * LATTICE)
    step = round(reference * LATTICE)
    from_state, to_state = np.arange(states)[:, None], np.arange(states)[None, :]
    needed = to_state - from_state + step
    chance = np.where(needed % LATTICE == 0, stats.poisson.pmf(needed // LATTICE, usual), 0.0)
    chance[:, 0] = stats.poisson.cdf((step - np.arange(states)) // LATTICE, usual)
    return float(np.linalg.solve(np.eye(states) - chance, np.ones(states))[0])


@lru_cache(maxsize=4096)
def threshold_for(usual: float, reference: float, run_length: float) -> float:
    """Smallest threshold on the lattice with a mean of at least `run_length` counts between false alarms."""
    low, high = 0, LATTICE
    while high < _MOST_STATES and average_run_length(usual, reference, high / LATTICE) < run_length:
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        if average_run_length(usual, reference, middle / LATTICE) < run_length:
            low = middle
        else:
            high = middle
    return high / LATTICE
