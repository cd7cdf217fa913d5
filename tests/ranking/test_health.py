from datetime import date, timedelta

import numpy as np
import pytest

from inbox.ranking.health import RecipeReports, Report, flag, gather, judge

MONDAY = date(2026, 11, 2)


def reports(failed: int, total: int) -> tuple[Report, ...]:
    return tuple(Report(f"r{n}", MONDAY + timedelta(days=n), float(n < failed)) for n in range(total))


def catalogue(*odd: tuple[int, int]) -> list[RecipeReports]:
    usual = [(k, 10 + n % 7) for n, k in enumerate([0, 1, 1, 2, 0, 1, 0, 2, 1, 1, 0, 1, 2, 0, 1, 1] * 2)]
    return [RecipeReports(number, reports(*counts)) for number, counts in enumerate([*odd, *usual])]


def test_a_recipe_that_most_readers_fail_at_is_failing() -> None:
    first, *others = judge(catalogue((9, 14)))
    assert first.standing == "failing"
    assert first.low < 9 / 14 < first.high
    assert first.in_words.startswith("Nine of fourteen readers reported a failure; over all your recipes")
    assert {one.standing for one in others} == {"holding_up"}


def test_two_unlucky_bakers_make_no_failing_recipe() -> None:
    first, *_ = judge(catalogue((2, 2)))
    assert first.standing in ("too_few_reports", "watch")
    assert first.share < 0.6


def test_one_angry_reader_writing_ten_times_is_one_reader() -> None:
    angry = tuple(Report("r0", MONDAY + timedelta(days=n), 1.0) for n in range(10))
    voices = gather([angry])
    assert (voices.readers[0], voices.failed_readers[0], voices.worth.sum()) == (1, 1, 1.0)
    health, *_ = judge([RecipeReports(0, angry), *catalogue()[1:]])
    assert health.standing == "too_few_reports"
    assert health.reader_count == 1


def test_who_fails_once_and_then_succeeds_is_half_a_failure() -> None:
    both = gather([[Report("r", MONDAY, 1.0), Report("r", MONDAY + timedelta(days=7), 0.0)]])
    assert (both.failed.tolist(), both.worth.tolist()) == ([1.0, 0.0], [0.5, 0.5])
    called = gather([[Report("r", MONDAY, 0.45, is_called_failed=True)]])
    assert (called.failed.tolist(), called.failed_readers.tolist()) == ([0.45], [1])
    same_week = gather([[Report("r", MONDAY, 1.0), Report("r", MONDAY + timedelta(days=6), 0.0)]])
    assert (same_week.failed.tolist(), same_week.worth.tolist()) == ([1.0], [1.0])


def test_a_recipe_without_reports_is_judged_without_trouble() -> None:
    (health,) = judge([RecipeReports(1, ())])
    assert health.standing == "too_few_reports"
    assert health.in_words == "Nobody has reported on it yet."
    assert judge([]) == []


def test_the_expected_share_of_wrong_flags_is_held() -> None:
    over = np.array([0.99, 0.97, 0.86, 0.75, 0.55])
    everyone, all_but_first = np.ones(5, bool), np.arange(5) > 0
    assert flag(over, everyone, rate=0.09).tolist() == [True, True, True, False, False]
    assert flag(over, all_but_first, rate=0.09).tolist() == [False, True, True, False, False]
    assert not flag(np.array([0.85]), np.ones(1, bool), rate=0.09).any()


def test_more_failures_never_look_better() -> None:
    shares = [judge(catalogue((k, 12)))[0].over_limit for k in range(13)]
    assert shares == sorted(shares)


def test_an_unsure_reading_counts_for_less_than_a_persons_word() -> None:
    def share(probability: float) -> float:
        first = RecipeReports(0, tuple(Report(f"r{n}", MONDAY, probability) for n in range(8)))
        return judge([first, *catalogue()[1:]])[0].share

    assert share(1.0) > share(0.9) > share(0.5) > share(0.23) > share(0.0)


def test_a_reading_at_the_base_share_says_nothing() -> None:
    silent = RecipeReports(0, tuple(Report(f"r{n}", MONDAY, 0.25) for n in range(40)))
    unknown = RecipeReports(1, ())
    first, second, *_ = judge([silent, unknown, *catalogue()[1:]], base_share=0.25)
    assert first.share == pytest.approx(second.share, abs=1e-9)
