from datetime import date, timedelta

import numpy as np
import pytest

from inbox.ranking.health import RecipeReports, Report, flag, judge, reader_outcomes

MONDAY = date(2026, 11, 2)


def reports(failed: int, total: int) -> tuple[Report, ...]:
    return tuple(Report(f"r{n}", MONDAY + timedelta(days=n), float(n < failed)) for n in range(total))


def catalogue(*odd: tuple[int, int]) -> list[RecipeReports]:
    usual = [(k, 10 + n % 7) for n, k in enumerate([0, 1, 1, 2, 0, 1, 0, 2, 1, 1, 0, 1, 2, 0, 1, 1] * 2)]
    return [RecipeReports(number, reports(*counts)) for number, counts in enumerate([*odd, *usual])]


def test_a_recipe_that_most_readers_fail_at_is_failing() -> None:
    first, *others = judge(catalogue((9, 14)))
    assert first.standing == "failing"
    assert first.low > first.limit / 2
    assert "About nine of fourteen readers" in first.in_words
    assert {one.standing for one in others} == {"holding_up"}


def test_two_unlucky_bakers_make_no_failing_recipe() -> None:
    first, *_ = judge(catalogue((2, 2)))
    assert first.standing in ("too_few_reports", "watch")
    assert first.share < 0.6


def test_one_angry_reader_writing_ten_times_is_one_reader() -> None:
    angry = tuple(Report("r0", MONDAY + timedelta(days=n), 1.0) for n in range(10))
    assert reader_outcomes(angry) == (1, 1.0)
    health, *_ = judge([RecipeReports(0, angry), *catalogue()[1:]])
    assert health.standing == "too_few_reports"
    assert health.reader_count == 1


def test_who_fails_once_and_then_succeeds_is_half_a_failure() -> None:
    assert reader_outcomes([Report("r", MONDAY, 1.0), Report("r", MONDAY + timedelta(days=7), 0.0)]) == (
        1,
        0.5,
    )
    assert reader_outcomes([Report("r", MONDAY, 1.0), Report("r", MONDAY + timedelta(days=6), 0.0)]) == (
        1,
        1.0,
    )


def test_a_recipe_without_reports_is_judged_without_trouble() -> None:
    (health,) = judge([RecipeReports(1, ())])
    assert health.standing == "too_few_reports"
    assert health.in_words == "Nobody has reported on it yet."
    assert judge([]) == []


def test_the_expected_share_of_wrong_flags_is_held() -> None:
    over = np.array([0.99, 0.96, 0.85, 0.75, 0.55])
    everyone = np.ones(5, bool)
    assert flag(over, everyone).tolist() == [True, True, True, False, False]
    assert flag(over, np.array([False, True, True, True, True])).tolist() == [False, True, True, False, False]
    assert not flag(np.array([0.85]), np.ones(1, bool)).any()


def test_more_failures_never_look_better() -> None:
    shares = [judge(catalogue((k, 12)))[0].over_limit for k in range(13)]
    assert shares == sorted(shares)


@pytest.mark.parametrize("failed", [0.0, 0.5, 1.0])
def test_probabilities_count_as_fractions(failed: float) -> None:
    outcomes = reader_outcomes([Report(f"r{n}", MONDAY, failed) for n in range(4)])
    assert outcomes == (4, 4 * failed)
