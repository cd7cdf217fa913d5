"""How much recipes and themes differ among themselves, by marginal maximum likelihood over all of them.

The fitted spread is the prior of every single one (empirical Bayes), so that two unlucky bakers do not make a
failing recipe. Counts may be fractional: the gamma functions of the likelihoods take them as they are.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize
from scipy.special import betaln, digamma, gammaln

from inbox.ranking.stats import Floats

_LARGEST_CONCENTRATION = 1000.0
"""Beyond this many reports' worth of prior, recipes are taken as alike (chosen; no archive could tell)."""

_USUAL_SHAPE, _SHAPE_SD = 0.8, 1.0
"""Normal prior of the logarithm of the gamma shape (chosen): a few themes get most of the requests, and a
factor of seven to either side is thought possible."""


@dataclass(frozen=True, slots=True)
class BetaSpread:
    """Shares over a catalogue: Beta(`a`, `b`)."""

    a: float
    b: float

    @property
    def mean(self) -> float:
        """Share of a typical recipe."""
        return self.a / (self.a + self.b)

    @property
    def concentration(self) -> float:
        """How many reports the spread is worth."""
        return self.a + self.b

    @property
    def sd(self) -> float:
        """Standard deviation of the share."""
        return float(np.sqrt(self.mean * (1 - self.mean) / (self.concentration + 1)))

    def after(self, failed: float, trials: float) -> "BetaSpread":
        """Posterior of one recipe whose share was drawn from this spread, after its reports."""
        return BetaSpread(self.a + failed, self.b + trials - failed)


@dataclass(frozen=True, slots=True)
class GammaSpread:
    """Rates over all themes: Gamma with shape `a` and, per unit of exposure, inverse scale `b`."""

    a: float
    b: float


def _best(
    loss: Callable[[Floats], tuple[float, Floats]],
    starts: list[tuple[float, float]],
    bounds: list[tuple[float, float]],
) -> Floats:
    """Point with the least loss, from several starts, so that no shallow valley is taken for the deepest.

    `loss` gives its value and its gradient.
    """
    found = [
        optimize.minimize(loss, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-13})
        for start in starts
    ]
    return np.asarray(min(found, key=lambda result: float(result.fun)).x)


def fit_beta_binomial(failed: ArrayLike, trials: ArrayLike) -> BetaSpread:
    """Beta spread of the recipes' shares.

    Parameters
    ----------
    failed, trials : array_like of shape (n_recipes,)
        Reports that failed, and all; recipes without reports say nothing and are left out.

    Returns
    -------
    BetaSpread
        Beta(1, 9) where no recipe has a report (chosen: one in ten, worth ten reports).

    References
    ----------
    Skellam J. G. (1948), J. Royal Statistical Society B 10:257-261 (the beta-binomial and its likelihood).
    """
    k, n = np.asarray(failed, float), np.asarray(trials, float)
    k, n = k[n > 0], n[n > 0]
    if not len(n):
        return BetaSpread(1.0, 9.0)

    def loss(point: Floats) -> tuple[float, Floats]:
        mean, size = 1 / (1 + np.exp(-point[0])), np.exp(point[1])
        a, b = mean * size, (1 - mean) * size
        gain = betaln(a + k, b + n - k) - betaln(a, b)
        common = digamma(size) - digamma(size + n)
        by_a = float((digamma(a + k) - digamma(a) + common).sum())
        by_b = float((digamma(b + n - k) - digamma(b) + common).sum())
        by_mean = (by_a - by_b) * size * mean * (1 - mean)
        return -float(gain.sum()), -np.array([by_mean, by_a * a + by_b * b])

    pooled = (k.sum() + 0.5) / (n.sum() + 1)
    middle = float(np.log(pooled / (1 - pooled)))
    point = _best(
        loss,
        [(middle, float(np.log(size))) for size in (4.0, 30.0)],
        [(-9.0, 9.0), (float(np.log(0.5)), float(np.log(_LARGEST_CONCENTRATION)))],
    )
    mean, concentration = float(1 / (1 + np.exp(-point[0]))), float(np.exp(point[1]))
    return BetaSpread(mean * concentration, (1 - mean) * concentration)


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
    point = _best(
        loss,
        [(float(np.log(a)), float(np.log(a / rate))) for a in (0.3, 2.0)],
        [(float(np.log(0.02)), float(np.log(50.0))), (float(np.log(1e-6)), float(np.log(1e6)))],
    )
    return GammaSpread(float(np.exp(point[0])), float(np.exp(point[1])))
