import numpy as np
import pytest

from inbox.reading.calibrated import Calibrated, best_f1_threshold, out_of_site, recall_first_threshold
from inbox.reading.linear import site_folds


def test_each_site_is_left_out_once_and_few_sites_are_cut_evenly() -> None:
    by_site = site_folds(["a", "b", "c", "a"])
    assert [fold.tolist() for fold in by_site] == [
        [True, False, False, True],
        [False, True, False, False],
        [False, False, True, False],
    ]
    assert np.sum(site_folds(["a"] * 12), axis=0).tolist() == [1] * 12


def test_a_label_that_everybody_or_nobody_has_is_constant() -> None:
    features = np.array([[0.0], [1.0]])
    assert Calibrated().fit(features, np.array([False, False])).probabilities(features).tolist() == [0, 0]
    assert Calibrated().fit(features, np.array([True, True])).probabilities(features).tolist() == [1, 1]


def test_probabilities_follow_the_share_of_events() -> None:
    rng = np.random.default_rng(0)
    score = rng.normal(size=(4000, 1))
    truth = rng.random(4000) < 1 / (1 + np.exp(-2 * score[:, 0]))
    said = Calibrated(strength=10).fit(score, truth).probabilities(score)
    high = said > 0.8
    assert truth[high].mean() == pytest.approx(said[high].mean(), abs=0.03)


def test_out_of_site_never_asks_a_model_that_saw_the_site() -> None:
    sites = ["a"] * 4 + ["b"] * 4 + ["c"] * 4
    truth = np.array([False] * 4 + [True] * 4 + [False] * 4)
    answer = out_of_site(Calibrated, np.zeros((12, 1)), truth, sites)
    assert answer[4:8].tolist() == [0] * 4
    assert np.allclose(answer[:4], 0.5)


def test_thresholds() -> None:
    truth = np.array([True, True, False, False])
    probabilities = np.array([0.6, 0.5, 0.3, 0.2])
    assert 0.3 < best_f1_threshold(truth, probabilities) <= 0.5
    assert best_f1_threshold(np.zeros(4, bool), probabilities) == 0.5
    assert recall_first_threshold(truth, probabilities, least_precision=0.65) == pytest.approx(0.3)
    assert recall_first_threshold(truth, probabilities, least_precision=0.9) == pytest.approx(0.5)


def test_a_large_site_does_not_choose_the_threshold_alone() -> None:
    sites = ["large"] * 40 + [name for name in "bcde" for _ in range(4)]
    truth = np.array([True] * 40 + [True, True, False, False] * 4)
    probabilities = np.array([0.2] * 40 + [0.6, 0.6, 0.3, 0.3] * 4)
    assert best_f1_threshold(truth, probabilities) <= 0.2
    assert 0.3 < best_f1_threshold(truth, probabilities, sites) <= 0.6
