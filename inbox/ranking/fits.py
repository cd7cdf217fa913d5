"""How much recipes and themes differ among themselves, by marginal maximum likelihood over all of them.

The fitted spread is the prior of every single one (empirical Bayes), so that two unlucky bakers do not make a
failing recipe. Counts may be fractional: the gamma functions of the likelihoods take them as they are.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize
from scipy.special import betaln, gammaln

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
    loss: Callable[[Floats], float], starts: list[tuple[float, float]], bounds: list[tuple[float, float]]
) -> Floats:
    """Point with the least loss, from several starts, so that no shallow valley is taken for the deepest."""
    found = [
        optimize.minimize(
            loss, start, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-13, "gtol": 1e-8}
        )
        for start in starts
    ]
    return np.asarray(min(found, key=lambda result: float(result.fun)).x)


def beta_binomial_loglik(failed: Floats, trials: Floats, a: Floats | float, b: Floats | float) -> Floats:
    """Log of the marginal likelihood of each recipe, without the constant that depends on the counts alone.

    Shapes broadcast: `a` and `b` of shape (n_grid, 1) give (n_grid, n_recipes).
    """
    return np.asarray(betaln(a + failed, b + trials - failed) - betaln(a, b))


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

    def loss(point: Floats) -> float:
        mean, concentration = 1 / (1 + np.exp(-point[0])), np.exp(point[1])
        return -float(beta_binomial_loglik(k, n, mean * concentration, (1 - mean) * concentration).sum())

    pooled = (k.sum() + 0.5) / (n.sum() + 1)
    middle = float(np.log(pooled / (1 - pooled)))
    point = _best(
        loss,
        [(middle, float(np.log(size))) for size in (4.0, 30.0)],
        [(-9.0, 9.0), (float(np.log(0.5)), float(np.log(_LARGEST_CONCENTRATION)))],
    )
    mean, concentration = float(1 / (1 + np.exp(-point[0]))), float(np.exp(point[1]))
    return BetaSpread(mean * concentration, (1 - mean) * concentration)


def fit_gamma_poisson(counts: ArrayLike, exposures: ArrayLike) -> GammaSpread:
    """Gamma spread of the rates of all that people might ask for, from the themes that they asked for.

    A theme is only known because somebody asked for it at least once, so the likelihood is the zero-truncated
    one. Where themes are few it says little of how much rates differ, and would often call them all alike;
    the logarithm of `a` is therefore given a normal prior (see `_USUAL_SHAPE`).

    Parameters
    ----------
    counts : array_like of shape (n_themes,)
        Voices in the whole time watched, not decayed.
    exposures : array_like of shape (n_themes,) or scalar
        Length of that time.

    Returns
    -------
    GammaSpread
        Per unit of exposure; Gamma(1, 1) where there is no theme.

    References
    ----------
    Greenwood M., Yule G. U. (1920), J. Royal Statistical Society 83:255-279 (the gamma-Poisson).
    """
    n = np.asarray(counts, float)
    exposure = np.broadcast_to(np.asarray(exposures, float), n.shape)
    n, exposure = n[exposure > 0], exposure[exposure > 0]
    if not len(n):
        return GammaSpread(1.0, 1.0)

    def loss(point: Floats) -> float:
        a, b = np.exp(point)
        marginal = gammaln(a + n) - gammaln(a) + a * np.log(b) - (a + n) * np.log(b + exposure)
        silent = a * (np.log(b) - np.log(b + exposure))
        known = np.log(-np.expm1(np.minimum(silent, -1e-12)))
        return float((known - marginal).sum() + 0.5 * ((point[0] - np.log(_USUAL_SHAPE)) / _SHAPE_SD) ** 2)

    rate = max(float(n.sum()), 0.5) / float(exposure.sum())
    point = _best(
        loss,
        [(float(np.log(a)), float(np.log(a / rate))) for a in (0.3, 2.0)],
        [(float(np.log(0.02)), float(np.log(50.0))), (float(np.log(1e-6)), float(np.log(1e6)))],
    )
    return GammaSpread(float(np.exp(point[0])), float(np.exp(point[1])))
