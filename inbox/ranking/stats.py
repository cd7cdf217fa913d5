"""Intervals and exact tests on small counts; arrays in, arrays out.

Counts may be fractional where each report counts with a probability, except in the exact tests. Fitting the
spread over a whole catalogue is in `ranking.fits`.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

Floats = NDArray[np.float64]


def wilson(successes: ArrayLike, trials: ArrayLike, *, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Score interval for a share, without continuity correction.

    Parameters
    ----------
    successes, trials : array_like
        Counts, broadcast against each other.
    confidence : float, default=0.95
        Coverage of the interval.

    Returns
    -------
    lower, upper : ndarray
        Shares from 0 to 1; 0 and 1 where `trials` is 0.

    Raises
    ------
    ValueError
        If a count is negative or successes exceed trials.

    References
    ----------
    Wilson E. B. (1927), JASA 22:209-212; method 3 of Newcombe R. G. (1998), Statistics in Medicine
    17:857-872.
    """
    k, n = np.broadcast_arrays(np.asarray(successes, float), np.asarray(trials, float))
    if (k < 0).any() or (k > n).any():
        raise ValueError("successes must lie between 0 and trials")
    z2 = special.ndtri(0.5 + confidence / 2) ** 2
    asked = np.where(n > 0, n, 1.0)
    middle = (k + z2 / 2) / (asked + z2)
    half = np.sqrt(z2 * np.maximum(k * (asked - k) / asked + z2 / 4, 0.0)) / (asked + z2)
    lower = np.where(k <= 0, 0.0, middle - half)
    upper = np.where(k >= n, 1.0, middle + half)
    return lower, upper


def newcombe(
    successes: float, trials: float, other_successes: float, other_trials: float, *, confidence: float = 0.95
) -> tuple[float, float]:
    """Interval for the first share less the other one, from two Wilson intervals.

    References
    ----------
    Newcombe R. G. (1998), Statistics in Medicine 17:873-890, method 10.
    """
    if trials <= 0 or other_trials <= 0:
        return -1.0, 1.0
    share, other = successes / trials, other_successes / other_trials
    lower, upper = wilson([successes, other_successes], [trials, other_trials], confidence=confidence)
    down = np.hypot(share - lower[0], upper[1] - other)
    up = np.hypot(upper[0] - share, other - lower[1])
    return float(share - other - down), float(share - other + up)


def benjamini_hochberg(p_values: ArrayLike, *, rate: float) -> NDArray[np.bool_]:
    """Which hypotheses are rejected with the false discovery rate held at `rate` (step-up).

    References
    ----------
    Benjamini Y., Hochberg Y. (1995), J. Royal Statistical Society B 57:289-300.
    """
    return adjusted_p_values(p_values) <= rate


def adjusted_p_values(p_values: ArrayLike) -> Floats:
    """Smallest false discovery rate at which each hypothesis is rejected by Benjamini-Hochberg."""
    p = np.asarray(p_values, float)
    order = np.argsort(p)
    stepped = p[order] * len(p) / np.arange(1, len(p) + 1)
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(np.minimum.accumulate(stepped[::-1])[::-1], 1.0)
    return adjusted


def compare_poisson(counts: ArrayLike, other_counts: ArrayLike, *, exposure_ratio: float) -> Floats:
    """Two-sided p-values of "both rates are the same", given the sum of the two counts.

    Parameters
    ----------
    counts, other_counts : array_like of int
        Events in the two spans, one pair a hypothesis.
    exposure_ratio : float
        Length of the first span divided by that of the other.

    Notes
    -----
    Given the sum, the first count is binomial; outcomes no likelier than the one seen are added up.
    Equal pairs are computed once.

    References
    ----------
    Przyborowski J., Wilenski H. (1940), Biometrika 31:313-323.
    """
    pairs = np.stack([np.asarray(counts, int), np.asarray(other_counts, int)], axis=-1).reshape(-1, 2)
    if not len(pairs):
        return np.zeros(0)
    distinct, place = np.unique(pairs, axis=0, return_inverse=True)
    expected = exposure_ratio / (1 + exposure_ratio)
    p_values = [
        stats.binomtest(int(k), int(k + other), expected).pvalue if k + other else 1.0
        for k, other in distinct
    ]
    return np.asarray(p_values)[place.ravel()]


def fisher_greater(
    with_here: ArrayLike, all_here: ArrayLike, with_everywhere: ArrayLike, all_everywhere: ArrayLike
) -> Floats:
    """One-sided p-values of "no commoner here than elsewhere", by Fisher's exact test.

    Parameters
    ----------
    with_here, all_here : array_like of int
        Reports here with the property, and all reports here.
    with_everywhere, all_everywhere : array_like of int
        The same over the whole catalogue, those here counted in.

    References
    ----------
    Fisher R. A. (1935), The Design of Experiments, chapter 2.
    """
    tail = stats.hypergeom.sf(
        np.asarray(with_here) - 1,
        np.asarray(all_everywhere),
        np.asarray(with_everywhere),
        np.asarray(all_here),
    )
    return np.asarray(np.minimum(tail, 1.0), np.float64)
