"""The measures of a reading against published examples; the source stands beside each."""

import numpy as np
import pytest

from inbox.reading.evaluate import bcubed_f1, brier, calibration_error, precision_recall_f1


def test_brier_of_ten_days() -> None:
    """Brier 1950, Monthly Weather Review 78(1), Table 1 (from memory): 0.19 over both classes."""
    rain = np.array([0.7, 0.9, 0.8, 0.4, 0.2, 0, 0, 0, 0, 0.1])
    truth = np.isin(np.arange(10), [1, 2, 3])
    assert 2 * brier(truth, rain) == pytest.approx(0.19, abs=0.005)


def test_brier_of_four() -> None:
    """scikit-learn, documentation of brier_score_loss (from memory): 0.0375."""
    truth = np.array([False, True, True, False])
    assert brier(truth, np.array([0.1, 0.9, 0.8, 0.3])) == pytest.approx(0.0375)


def test_calibration_error_of_two_bins() -> None:
    """The torchmetrics documentation's example of binary calibration error, l1, two bins: 0.2900.

    Definition: Guo, Pleiss, Sun, Weinberger 2017, equation 3.
    """
    truth = np.array([False, False, True, True, True])
    said = np.array([0.25, 0.25, 0.55, 0.75, 0.75])
    assert calibration_error(truth, said, bins=2) == pytest.approx(0.29, abs=5e-5)


def test_bcubed_of_bagga_and_baldwin() -> None:
    """Bagga and Baldwin 1998 (numbers from memory): precision 16/21 and 7/12, recall 1 for both answers."""
    truth = "aaaaabbccccc"
    first, second = "aaaaabbbbbbb", "aaaaabbaaaaa"
    assert bcubed_f1(truth, first) == pytest.approx(0.8649, abs=5e-5)
    assert bcubed_f1(truth, second) == pytest.approx(0.7368, abs=5e-5)


def test_precision_recall_f1_of_clusters() -> None:
    """Manning, Raghavan, Schuetze 2008, 16.3: TP 20, FP 20, FN 24, TN 72 give P .5, R .455, F1 .48."""
    truth = np.array([True] * 20 + [False] * 20 + [True] * 24 + [False] * 72)
    said = np.array([True] * 40 + [False] * 96)
    scores = precision_recall_f1(truth, said)
    assert scores["precision"] == pytest.approx(0.5)
    assert scores["recall"] == pytest.approx(0.455, abs=5e-4)
    assert scores["f1"] == pytest.approx(0.48, abs=5e-3)
