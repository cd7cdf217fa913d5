"""How often each theme is asked for: a gamma-Poisson posterior over decayed voices.

Start at `posterior_rates`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincc, gammaincinv

from inbox.ranking.fits import GammaSpread
from inbox.ranking.memory import Memory, choose_memory, remember, spread_of_rates
from inbox.ranking.stats import Floats
from inbox.ranking.voices import VoiceTable

FIRST = 5
"""How many places at the top count as "worth a look this month"."""

_CHUNK = 2_000_000
"""Draws held in memory at once."""

_TRIAL_DRAWS, _NEGLECTED = 40, 0.005


@dataclass(frozen=True, slots=True)
class Posterior:
    """Gamma posterior of each theme's rate per day; arrays of shape (n_themes,)."""

    shape: Floats
    exposure: Floats
    spread: GammaSpread
    memory: Memory

    @property
    def mean(self) -> Floats:
        """Expected rate per day."""
        return self.shape / self.exposure

    def quantile(self, probability: float) -> Floats:
        """Rate per day below which the true one lies with that probability."""
        return np.asarray(gammaincinv(self.shape, probability), float) / self.exposure


def posterior_rates(
    voices: VoiceTable,
    levels: Floats,
    level_of_theme: NDArray[np.int_],
    *,
    memory: Memory | None,
    found_share: float,
) -> Posterior:
    """Posterior of the rates, with the spread over all themes as prior.

    Parameters
    ----------
    levels : ndarray of shape (n_levels, n_days)
        Intensity on each day watched, today last.
    level_of_theme : ndarray of int, shape (n_themes,)
        Row of `levels` that each theme goes by.
    memory : Memory or None
        How requests are remembered; None chooses what foretells the last months best.
    found_share : float
        Share of true requests that the reading finds; the rest was never counted.

    References
    ----------
    Gelman A. and others (2013), Bayesian Data Analysis, 3rd ed., section 2.6 (gamma-Poisson); weights on past
    events as in Ibrahim J. G., Chen M.-H. (2000), Power prior distributions, Statistical Science 15:46-60.
    """
    watched = levels * found_share
    if memory is None:
        memory = choose_memory(voices, watched, level_of_theme)
    spread, _ = spread_of_rates(voices, watched, level_of_theme)
    kept = remember(voices, watched, level_of_theme, memory)
    shape, exposure = memory.widened(spread.a + kept.counts, spread.b + kept.exposures)
    return Posterior(shape, exposure, spread, memory)


def first_five_shares(posterior: Posterior, other_parts: Floats, *, draws: int, seed: int) -> Floats:
    """Share of posterior draws in which each theme's score is among the first five.

    A few draws of all themes show what the fifth place takes at least; the themes that would reach it in
    fewer than one draw in two hundred, all together, are not drawn again and get 0.

    Parameters
    ----------
    other_parts : ndarray of shape (n_themes,)
        What is added to the logarithm of the rate.
    """
    count = len(other_parts)
    if count <= FIRST:
        return np.ones(count)
    random = np.random.default_rng(seed)
    factor = np.exp(other_parts) / posterior.exposure
    trial = random.standard_gamma(posterior.shape, size=(_TRIAL_DRAWS, count)) * factor
    fifth = np.partition(trial, -FIRST, axis=1)[:, -FIRST].min()
    reaches = gammaincc(posterior.shape, fifth / factor)
    least_first = np.argsort(reaches)
    drawn = least_first[np.searchsorted(np.cumsum(reaches[least_first]), _NEGLECTED) :]
    hits = np.zeros(len(drawn))
    chunk = max(_CHUNK // len(drawn), 1)
    for start in range(0, draws, chunk):
        size = (min(chunk, draws - start), len(drawn))
        scores = random.standard_gamma(posterior.shape[drawn], size=size) * factor[drawn]
        top = np.argpartition(scores, -FIRST, axis=1)[:, -FIRST:]
        hits += np.bincount(top.ravel(), minlength=len(drawn))
    shares = np.zeros(count)
    shares[drawn] = hits / draws
    return shares
