"""How long requests are remembered, and how surely: chosen by what would have foretold the last months best.

Where the demand of a site stays the same, every old request is as good as a new one, and forgetting only adds
noise; where tastes change, old requests mislead and even many of them leave doubt. Start at `choose_memory`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from inbox.ranking.fits import GammaSpread, fit_gamma_poisson
from inbox.ranking.stats import Floats
from inbox.ranking.voices import VoiceTable

HALF_LIVES_DAYS = (30.0, 60.0, 120.0, 240.0, 960.0)
"""Half-lives that are tried."""

DRIFTS = (0.0, 0.02, 0.05, 0.1, 0.2, 0.4)
"""Variances that are tried of the logarithm of today's rate about the remembered one."""

FORETOLD_DAYS = 14
LOOKS = 6
"""Spans of two weeks at the end that each memory has to foretell."""

LEAST_DAYS, LEAST_VOICES = 56, 40
"""Days before the first look, and voices in the foretold spans, below which the usual memory is kept
(chosen)."""


@dataclass(frozen=True, slots=True)
class Memory:
    """Half-life of a voice in days, and how far rates have drifted from what is remembered.

    Attributes
    ----------
    drift : float
        Variance of the logarithm of today's rate about the remembered one.
    """

    half_life_days: float
    drift: float = 0.0

    def widened(self, shape: Floats, exposure: Floats) -> tuple[Floats, Floats]:
        """Gamma of today's rate from that of the remembered one: the same mean, the drift in its spread.

        The square of the relative spread is 1 / shape, so that many voices cannot make a rate surer than
        the drift allows, while a few are hardly touched.
        """
        wider = 1 + self.drift * shape
        return shape / wider, exposure / wider


USUAL = Memory(60.0)
"""Where too little is known (design)."""


@dataclass(frozen=True, slots=True)
class Remembered:
    """Counts and exposures of each theme as a memory keeps them; arrays of shape (n_themes,)."""

    counts: Floats
    exposures: Floats


def remember(
    voices: VoiceTable, levels: Floats, level_of_theme: NDArray[np.int_], memory: Memory, *, now_days: int = 0
) -> Remembered:
    """Decay the voices of each theme up to `now_days` ago.

    A decayed count varies less than a Poisson count of the same size, because old voices count in part: over
    steady readers its variance is the rate times the integral of the squared weights. Count and exposure are
    both multiplied by the ratio of the two integrals, which leaves the mean and sets the variance right.

    Parameters
    ----------
    levels : ndarray of shape (n_levels, n_days)
        Intensity on each day watched, today last.
    level_of_theme : ndarray of int, shape (n_themes,)
        Row of `levels` that each theme goes by.
    """
    past = levels[:, : levels.shape[1] - now_days]
    decay = 2.0 ** (-np.arange(past.shape[1])[::-1] / memory.half_life_days)
    exposure = past @ decay
    worth = exposure / (past @ decay**2)
    age = voices.age_days - now_days
    weights = np.where(age >= 0, voices.whole * 2.0 ** (-np.maximum(age, 0) / memory.half_life_days), 0.0)
    counts = np.bincount(voices.theme, weights, minlength=len(level_of_theme))
    return Remembered(counts * worth[level_of_theme], (exposure * worth)[level_of_theme])


def spread_of_rates(
    voices: VoiceTable, levels: Floats, level_of_theme: NDArray[np.int_], *, now_days: int = 0
) -> tuple[GammaSpread, NDArray[np.bool_]]:
    """Spread of the themes' rates, from all voices up to `now_days` ago, and which themes were known then."""
    old = voices.age_days >= now_days
    whole = np.bincount(voices.theme[old], voices.whole[old], minlength=len(level_of_theme))
    watched = levels[:, : levels.shape[1] - now_days].sum(axis=1)[level_of_theme]
    known = np.bincount(voices.theme[old], minlength=len(level_of_theme)) > 0
    pairs, times = np.unique(
        np.stack([whole[known].round(2), watched[known]], axis=1), axis=0, return_counts=True
    )
    return fit_gamma_poisson(pairs[:, 0], pairs[:, 1], known_by_events=True, times=times), known


def choose_memory(voices: VoiceTable, levels: Floats, level_of_theme: NDArray[np.int_]) -> Memory:
    """Memory under which the voices of the last spans of two weeks were likeliest, given those before.

    Only themes without an occasion have a say: how much a season adds is known too roughly to foretell by.

    References
    ----------
    Dawid A. P. (1984), J. Royal Statistical Society A 147:278-292 (the prequential approach).
    """
    days = levels.shape[1]
    looks = [
        FORETOLD_DAYS * look for look in range(1, LOOKS + 1) if days - FORETOLD_DAYS * look >= LEAST_DAYS
    ]
    if not looks or voices.whole[voices.age_days < looks[-1]].sum() < LEAST_VOICES:
        return USUAL
    memories = [Memory(half_life, drift) for half_life in HALF_LIVES_DAYS for drift in DRIFTS]
    gains = np.sum([_gains(voices, levels, level_of_theme, memories, look) for look in looks], axis=0)
    return memories[int(gains.argmax())]


def _gains(
    voices: VoiceTable, levels: Floats, level_of_theme: NDArray[np.int_], memories: list[Memory], look: int
) -> Floats:
    """Logarithm of how likely each memory made the voices of the two weeks from `look` days ago."""
    spread, known = spread_of_rates(voices, levels, level_of_theme, now_days=look)
    judged = known & (level_of_theme == 0)
    inside = (voices.age_days < look) & (voices.age_days >= look - FORETOLD_DAYS)
    came = np.bincount(voices.theme[inside], voices.whole[inside], minlength=len(level_of_theme))
    days = levels.shape[1]
    span = levels[:, days - look : days - look + FORETOLD_DAYS].sum(axis=1)[level_of_theme]
    gains = []
    for memory in memories:
        kept = remember(voices, levels, level_of_theme, memory, now_days=look)
        shape, exposure = memory.widened(spread.a + kept.counts, spread.b + kept.exposures)
        gain = gammaln(shape + came) - gammaln(shape) - came * np.log(exposure + span)
        gain += shape * np.log(exposure / (exposure + span))
        gains.append(float(gain[judged].sum()))
    return np.array(gains)
