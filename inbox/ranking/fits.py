"""How much the rates of themes, and of weekly trouble, differ among themselves.

The fitted spread is the prior of every single rate (empirical Bayes). The spread of shares over a catalogue
is in `ranking.shares`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize
from scipy.special import digamma, gammaln

from inbox.ranking.stats import Floats

_USUAL_SHAPE, _SHAPE_SD = 0.8, 1.0
"""Normal prior of the logarithm of the gamma shape (chosen): a few themes get most of the requests, and a
factor of seven to either side is thought possible."""


@dataclass(frozen=True, slots=True)
class GammaSpread:
    """Rates over all themes: Gamma with shape `a` and, per unit of exposure, inverse scale `b`."""

    a: float
    b: float


def fit_gamma_poisson(
    counts: ArrayLike, exposures: ArrayLike, *, known_by_events: bool, times: ArrayLike = 1.0
) -> GammaSpread:
    """Gamma spread of the rates of many sources of events.

    Where sources are few the likelihood says little of how much rates differ, and would often call them all
    alike; the logarithm of `a` is therefore given a normal prior (see `_USUAL_SHAPE`).

    Parameters
    ----------
    counts : array_like of shape (n_sources,)
        Events in the whole time watched, not decayed.
    exposures : array_like of shape (n_sources,) or scalar
        Length of that time.
    known_by_events : bool
        Whether a source is only known because of an event, as a theme is because somebody asked. Then the
        likelihood is the zero-truncated one, and the fit is one of all that people might ask for.
    times : array_like of shape (n_sources,) or scalar
        How many sources each row stands for.

    Returns
    -------
    GammaSpread
        Per unit of exposure; Gamma(1, 1) where there is no source.

    References
    ----------
    Greenwood M., Yule G. U. (1920), J. Royal Statistical Society 83:255-279 (the gamma-Poisson).
    """
    n = np.asarray(counts, float)
    exposure = np.broadcast_to(np.asarray(exposures, float), n.shape)
    row_times = np.broadcast_to(np.asarray(times, float), n.shape)[exposure > 0]
    n, exposure = n[exposure > 0], exposure[exposure > 0]
    if not len(n):
        return GammaSpread(1.0, 1.0)

    def loss(point: Floats) -> tuple[float, Floats]:
        a, b = np.exp(point)
        log_stay = np.log(b) - np.log(b + exposure)
        gain = gammaln(a + n) - gammaln(a) + a * log_stay - n * np.log(b + exposure)
        by_a = digamma(a + n) - digamma(a) + log_stay
        by_b = a / b - (a + n) / (b + exposure)
        if known_by_events:
            silent = np.minimum(a * log_stay, -1e-12)
            gain = gain - np.log(-np.expm1(silent))
            odds = 1.0 / np.expm1(-silent)
            by_a = by_a + odds * log_stay
            by_b = by_b + odds * a * (1 / b - 1 / (b + exposure))
        off = (point[0] - np.log(_USUAL_SHAPE)) / _SHAPE_SD
        value = 0.5 * off**2 - row_times @ gain
        return float(value), np.array([off / _SHAPE_SD - a * (row_times @ by_a), -b * (row_times @ by_b)])

    rate = max(float(row_times @ n), 0.5) / float(row_times @ exposure)
    bounds = [(float(np.log(0.02)), float(np.log(50.0))), (float(np.log(1e-6)), float(np.log(1e6)))]
    found = [
        optimize.minimize(
            loss, np.log([a, a / rate]), jac=True, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-13}
        )
        for a in (0.3, 2.0)
    ]
    a, b = np.exp(min(found, key=lambda result: float(result.fun)).x)
    return GammaSpread(float(a), float(b))
