"""Decay and the measures of a ranking against published worked examples."""

import numpy as np
import pytest
from sklearn.metrics import ndcg_score

from inbox.ranking.memory import Memory, remember
from inbox.ranking.voices import VoiceTable
from tests.bench.demand import ndcg


def kept_weight(age_days: int) -> float:
    """What one voice of that age counts, the correction of the variance taken off."""
    table = VoiceTable(np.zeros(1, int), np.array([age_days]), np.array([age_days]), np.ones(1), np.zeros(1))
    fresh = VoiceTable(np.zeros(1, int), np.zeros(1, int), np.zeros(1, int), np.ones(1), np.zeros(1))
    levels, row = np.ones((1, 200)), np.zeros(1, int)
    old, new = (remember(one, levels, row, Memory(30.0)).counts[0] for one in (table, fresh))
    return float(old / new)


def test_exponential_decay_with_a_half_life_of_thirty_days() -> None:
    # Standard law 2^(-t/H): t = 0, 7, 30, 60, 90 days.
    assert [kept_weight(age) for age in (0, 7, 30, 60, 90)] == pytest.approx(
        [1, 0.8507, 0.5, 0.25, 0.125], abs=5e-5
    )


def test_exposure_is_the_integral_of_the_decay() -> None:
    # Sum of 2^(-t/H) over whole days, a geometric series: (1 - 2^(-n/H)) / (1 - 2^(-1/H)).
    table = VoiceTable(*(np.zeros(0, int),) * 3, np.zeros(0), np.zeros(0))
    kept = remember(table, np.ones((1, 90)), np.zeros(1, int), Memory(30.0))
    plain = (1 - 2 ** (-90 / 30)) / (1 - 2 ** (-1 / 30))
    squares = (1 - 2 ** (-180 / 30)) / (1 - 2 ** (-2 / 30))
    assert kept.exposures[0] == pytest.approx(plain * plain / squares)


def test_ndcg_of_a_worked_example() -> None:
    # Form with log2(rank + 1); gains in order of rank 3 2 3 0 1, best five of 3 2 3 0 1 2 are 3 3 2 2 1.
    discount = 1 / np.log2(np.arange(2, 7))
    expected = np.array([3, 2, 3, 0, 1]) @ discount / (np.array([3, 3, 2, 2, 1]) @ discount)
    assert ndcg(np.array([3.0, 2, 3, 0, 1, 2]), [0, 1, 2, 3, 4, 5]) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("scores", "value"),
    [
        # scikit-learn documentation, sklearn.metrics.ndcg_score (from memory, recomputed).
        ([0.1, 0.2, 0.3, 4, 70], 0.6957),
        ([0.05, 1.1, 1.0, 0.5, 0.0], 0.4937),
    ],
)
def test_ndcg_of_the_scikit_learn_documentation(scores: list[float], value: float) -> None:
    truth = np.array([10.0, 0, 0, 1, 5])
    order = [int(place) for place in np.argsort(-np.array(scores))]
    assert ndcg(truth, order) == pytest.approx(value, abs=5e-5)
    assert ndcg(truth, order) == pytest.approx(ndcg_score([truth], [scores]))
