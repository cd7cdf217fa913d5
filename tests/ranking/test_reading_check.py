import numpy as np
import pytest

from inbox.ranking.reading_check import check_label, corrected_count
from inbox.ranking.stats import wilson


def test_counts_shares_and_intervals() -> None:
    check = check_label([True] * 8 + [False] * 12, [True] * 6 + [False] * 2 + [True] * 2 + [False] * 10)
    assert (check.right, check.imagined, check.missed, check.rightly_left) == (6, 2, 2, 10)
    assert check.precision is not None
    assert check.precision[0] == 0.75
    assert check.precision[1:] == pytest.approx(tuple(float(bound) for bound in wilson(6, 8)))


def test_nothing_to_judge_by() -> None:
    check = check_label([False] * 3, [False] * 3)
    assert (check.precision, check.recall) == (None, None)
    assert corrected_count(10, 100, check) is None
    assert corrected_count(10, 100, check_label([False, True], [True, False])) is None


def test_the_corrected_count_covers_the_truth() -> None:
    random, held, off = np.random.default_rng(3), 0, []
    for _ in range(400):
        truth = random.random(3000) < 0.15
        read = np.where(random.random(3000) < np.where(truth, 0.8, 0.9), truth, ~truth)
        sample = random.choice(3000, 300, replace=False)
        found = corrected_count(int(read.sum()), 3000, check_label(list(read[sample]), list(truth[sample])))
        assert found is not None
        held += found.low <= 3000 * 0.15 <= found.high
        off.append(found.count / 3000 - 0.15)
    assert 0.91 <= held / 400 <= 0.99
    assert abs(np.mean(off)) < 0.01


def test_a_perfect_reading_is_left_as_it_is() -> None:
    check = check_label([True] * 50 + [False] * 50, [True] * 50 + [False] * 50)
    found = corrected_count(30, 200, check)
    assert found is not None
    assert found.count == pytest.approx(30)
    assert found.low < 30 < found.high
