import numpy as np

from inbox.ranking.memory import USUAL, Memory, choose_memory
from inbox.ranking.voices import VoiceTable

DAYS, THEMES = 364, 120


def table(daily: np.ndarray, random: np.random.Generator) -> VoiceTable:
    counts = random.poisson(daily)
    theme, day = (np.repeat(index.ravel(), counts.ravel()) for index in np.indices(counts.shape))
    ages = DAYS - 1 - day
    return VoiceTable(theme, ages, ages, np.ones(len(ages)), np.zeros(len(ages)))


def test_a_steady_site_remembers_long_and_a_changing_one_short() -> None:
    random = np.random.default_rng(8)
    rates = random.gamma(0.8, 0.05, THEMES)[:, None]
    levels, rows = np.ones((1, DAYS)), np.zeros(THEMES, int)
    steady = choose_memory(table(rates * np.ones(DAYS), random), levels, rows)
    wander = np.exp(np.repeat(random.normal(0, 0.35, (THEMES, DAYS // 7)).cumsum(axis=1), 7, axis=1))
    changing = choose_memory(table(rates * wander, random), levels, rows)
    assert steady.half_life_days >= 240
    assert changing.half_life_days <= 60


def test_a_young_site_keeps_the_usual_memory() -> None:
    random = np.random.default_rng(9)
    few = table(np.full((THEMES, DAYS), 1e-4), random)
    assert choose_memory(few, np.ones((1, DAYS)), np.zeros(THEMES, int)) == USUAL
    assert choose_memory(few, np.ones((1, 30)), np.zeros(THEMES, int)) == USUAL


def test_drift_leaves_the_mean_and_bounds_how_sure_many_voices_can_make() -> None:
    shape, exposure = np.array([1.0, 400.0]), np.array([50.0, 100.0])
    widened, lowered = Memory(60.0, 0.1).widened(shape, exposure)
    assert np.allclose(widened / lowered, shape / exposure)
    assert np.allclose(1 / widened, 1 / shape + 0.1)
    assert (np.array(Memory(60.0).widened(shape, exposure)) == [shape, exposure]).all()


def test_a_changing_site_is_given_drift() -> None:
    random = np.random.default_rng(10)
    rates = random.gamma(0.8, 0.3, THEMES)[:, None]
    wander = np.exp(np.repeat(random.normal(0, 0.4, (THEMES, DAYS // 7)), 7, axis=1))
    levels, rows = np.ones((1, DAYS)), np.zeros(THEMES, int)
    assert choose_memory(table(rates * wander, random), levels, rows).drift >= 0.05
    assert choose_memory(table(rates * np.ones(DAYS), random), levels, rows).drift <= 0.02
