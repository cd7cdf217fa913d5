"""Shares of failed reports, when what each report says is only read with a probability.

A report that was read as failed with probability p multiplies the likelihood of a recipe's share s by
s p / base + (1 - s) (1 - p) / (1 - base), base being the share for which they are right. Where a
person said it, p is 0 or 1 and this is the binomial likelihood. (Adding up the probabilities instead draws
every recipe to the base share: with a weak reading no failing recipe is found, see `tests.bench.health`.)

Shares are drawn from a beta distribution, fitted over the catalogue by marginal maximum likelihood; all of it
is computed on a grid of shares, exact to about 1e-3. Start at `evidence`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize

from inbox.ranking.stats import Floats

_NODES = 500
_STEPS = (np.arange(_NODES) + 0.5) / _NODES
GRID: Floats = _STEPS**3
"""Shares at which everything is computed, denser near 0, where most recipes are."""

_EVEN = 3 * _STEPS**2 / _NODES
_LOG_WIDTH = np.log(_EVEN)
_LOG, _LOG_REST = np.log(GRID), np.log1p(-GRID)
_THIN = slice(1, None, 3)
"""Part of the grid on which the spread is fitted; the middles of three steps each."""

_BINS = 100
"""Read probabilities are rounded to hundredths and kept off 0 and 1, which only a person's word reaches."""

_CONCENTRATIONS = (1.0, 300.0)
"""Bounds of how many reports the spread may be worth (chosen; at the upper one recipes count as alike)."""

_MOST_ODD = 0.3
"""Largest share of odd recipes (chosen; beyond it they would not be odd)."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Shares over a catalogue: Beta(`a`, `b`) for most recipes, anywhere from 0 to 1 for the odd ones.

    Without the odd ones a single bad recipe in an even catalogue would be drawn so far towards the others
    that nine failures of fourteen looked like a share of 0.3.
    """

    a: float
    b: float
    odd_share: float = 0.0

    @property
    def mean(self) -> float:
        """Share of an average recipe."""
        return (1 - self.odd_share) * self.a / (self.a + self.b) + self.odd_share / 2

    @property
    def log_weights(self) -> Floats:
        """Log of the probability of each point of the grid."""
        log_density = (self.a - 1) * _LOG + (self.b - 1) * _LOG_REST + _LOG_WIDTH
        density = np.exp(log_density - log_density.max())
        weights = (1 - self.odd_share) * density / density.sum() + self.odd_share * _EVEN
        return np.asarray(np.log(np.maximum(weights, 1e-300)))


@dataclass(frozen=True, slots=True)
class Posterior:
    """Posterior of each recipe's share; `weights` has shape (n_recipes, n_grid), rows that sum to 1."""

    weights: Floats

    def row(self, number: int) -> "Posterior":
        """The posterior of one recipe."""
        return Posterior(self.weights[number : number + 1])

    @property
    def mean(self) -> Floats:
        """Expected shares."""
        return self.weights @ GRID

    @property
    def sd(self) -> Floats:
        """Standard deviations of the shares."""
        return np.sqrt(np.maximum(self.weights @ GRID**2 - self.mean**2, 0.0))

    def above(self, limit: float) -> Floats:
        """Probabilities that the shares are above `limit`."""
        return np.asarray(self.weights[:, limit < GRID].sum(axis=1))

    def quantile(self, probability: float) -> Floats:
        """Shares below which the true ones lie with that probability."""
        place = (np.cumsum(self.weights, axis=1) < probability - 1e-12).sum(axis=1)
        return np.asarray(GRID[place.clip(max=_NODES - 1)])


def evidence(
    probabilities: ArrayLike, worth: ArrayLike, recipe: ArrayLike, recipe_count: int, *, base_share: float
) -> Floats:
    """Log-likelihood of every share of the grid, a row a recipe.

    Parameters
    ----------
    probabilities, worth, recipe : array_like of shape (n_reports,)
        Probability that the report says the dish failed; what it counts for, at most 1; row of its recipe.
    base_share : float
        Share of failed ones for which the probabilities are right (`health.BASE_SHARE`).

    References
    ----------
    Saerens M., Latinne P., Decaestecker C. (2002), Neural Computation 14:21-41, equation 2.4 (probabilities
    of a classifier under another base share).
    """
    given = np.asarray(probabilities, float)
    read = np.clip(np.rint(given * _BINS), 1, _BINS - 1)
    bins = np.where((given <= 0) | (given >= 1), np.rint(given) * _BINS, read).astype(int)
    place = np.asarray(recipe, int) * (_BINS + 1) + bins
    counts = np.bincount(place, np.asarray(worth, float), minlength=recipe_count * (_BINS + 1))
    said = np.arange(_BINS + 1)[:, None] / _BINS
    table = np.log(GRID * said / base_share + (1 - GRID) * (1 - said) / (1 - base_share))
    return np.asarray(counts.reshape(recipe_count, _BINS + 1) @ table)


def fit_spread(log_likelihood: Floats) -> Spread:
    """Spread of the shares by marginal maximum likelihood.

    Returns
    -------
    Spread
        Beta(1, 9) where no recipe has a report (chosen: one in ten, worth ten reports).

    References
    ----------
    Skellam J. G. (1948), J. Royal Statistical Society B 10:257-261 (the beta-binomial and its likelihood).
    """
    known = np.ptp(log_likelihood, axis=1) > 0
    if not known.any():
        return Spread(1.0, 9.0)
    likelihood = np.exp(log_likelihood[known] - log_likelihood[known].max(axis=1, keepdims=True))
    thin = likelihood[:, _THIN]
    sizes = (float(np.log(_CONCENTRATIONS[0])), float(np.log(_CONCENTRATIONS[1])))
    found = [
        optimize.minimize(
            _loss, (-2.0, np.log(size), -3.0), args=(thin,), jac=True, method="L-BFGS-B",
            bounds=[(-5.0, 4.0), sizes, (-7.0, 7.0)], options={"ftol": 1e-12},
        )
        for size in (5.0, 30.0)
    ]  # fmt: skip
    return _spread_at(np.asarray(min(found, key=lambda result: float(result.fun)).x))


def _spread_at(point: Floats) -> Spread:
    """Spread at the logit of the mean, the log of the concentration and the logit of the part that is odd."""
    mean, concentration = 1 / (1 + np.exp(-point[0])), np.exp(point[1])
    odd = _MOST_ODD / (1 + np.exp(-point[2]))
    return Spread(float(mean * concentration), float((1 - mean) * concentration), float(odd))


def _loss(point: Floats, likelihood: Floats) -> tuple[float, Floats]:
    """Negative log of the marginal likelihood on the thinned grid, and its gradient."""
    spread = _spread_at(point)
    log, log_rest, even = _LOG[_THIN], _LOG_REST[_THIN], _EVEN[_THIN] / _EVEN[_THIN].sum()
    density = np.exp((spread.a - 1) * log + (spread.b - 1) * log_rest + _LOG_WIDTH[_THIN])
    density /= density.sum()
    each = likelihood @ ((1 - spread.odd_share) * density + spread.odd_share * even)
    pull = (1 / each) @ likelihood
    usual = (1 - spread.odd_share) * pull * density
    by_a = usual @ (log - density @ log)
    by_b = usual @ (log_rest - density @ log_rest)
    size = spread.a + spread.b
    by_mean = (by_a - by_b) * spread.a * spread.b / size
    by_odd = pull @ (even - density) * spread.odd_share * (1 - spread.odd_share / _MOST_ODD)
    return -float(np.log(each).sum()), -np.array([by_mean, by_a * spread.a + by_b * spread.b, by_odd])


def posterior(log_likelihood: Floats, spread: Spread) -> Posterior:
    """Posterior of each recipe's share, its prior being the spread over the catalogue."""
    log_weights = log_likelihood + spread.log_weights
    weights = np.exp(log_weights - log_weights.max(axis=1, keepdims=True))
    return Posterior(weights / weights.sum(axis=1, keepdims=True))


def probability_less(one: Posterior, other: Posterior) -> Floats:
    """Probability, row by row, that a share drawn from `one` is less than one drawn from `other`."""
    below = np.cumsum(one.weights, axis=1) - one.weights / 2
    return np.asarray((below * other.weights).sum(axis=1))
