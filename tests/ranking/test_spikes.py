import numpy as np
import pytest

from inbox.ranking.cusum import average_run_length, reference_value, threshold_for
from inbox.ranking.spikes import ProblemWeeks, find_spikes

QUIET = (0, 1, 0, 0, 2, 0, 1, 0, 0, 0, 1, 0, 0, 1, 0, 0) * 4


def quiet_series(count: int = 29) -> list[ProblemWeeks]:
    return [
        ProblemWeeks(number, None, QUIET[number % 5 :] + QUIET[: number % 5])
        for number in range(1, count + 1)
    ]


def spikes_of(*counts: int, starts_anew: int = 0, **options: object) -> list[int]:
    odd = ProblemWeeks(0, None, (*QUIET, *counts), starts_anew=starts_anew)
    return [one.recipe_id for one in find_spikes([odd, *quiet_series()], recipe_count=30, **options)]  # type: ignore[arg-type]


def test_a_rise_is_seen_while_its_week_still_runs() -> None:
    assert spikes_of(0) == []
    assert spikes_of(1) == []
    assert spikes_of(9) == [0]


def test_a_slower_rise_is_seen_after_some_weeks() -> None:
    assert spikes_of(2) == []
    assert spikes_of(2, 3, 3, 4) == [0]


def test_what_went_by_is_no_spike() -> None:
    assert spikes_of(9, *[0] * 20) == []


def test_weeks_before_a_change_are_not_compared_with() -> None:
    loud = tuple(np.repeat(9, 30))
    before = ProblemWeeks(0, None, (*loud, 1, 0, 1), starts_anew=30)
    assert find_spikes([before, *quiet_series()], recipe_count=30) == []
    assert [one.recipe_id for one in find_spikes(
        [ProblemWeeks(0, None, (*loud, 9, 9), starts_anew=30), *quiet_series()], recipe_count=30
    )] == [0]  # fmt: skip


def test_a_busy_week_of_the_whole_site_is_no_spike() -> None:
    assert spikes_of(8) == [0]
    assert spikes_of(8, volume=[1.0] * 12 + [8.0]) == []


def test_a_fault_has_a_series_of_its_own() -> None:
    leaking = ProblemWeeks(4, "leaked", (*([0] * 40), 3, 4))
    (found,) = find_spikes([leaking, *quiet_series()], recipe_count=30)
    assert (found.fault, found.count, found.weeks) == ("leaked", 7, 2)
    assert found.in_words == "seven reports of trouble in two weeks, where hardly any would be usual"


def test_nothing_to_look_at() -> None:
    assert find_spikes([], recipe_count=0) == []
    assert find_spikes([ProblemWeeks(1, None, ())], recipe_count=1) == []


@pytest.mark.parametrize("usual", [0.05, 0.6, 2.5])
def test_the_run_length_is_the_one_that_simulation_gives(usual: float) -> None:
    reference = reference_value(usual, 2 * usual + 1)
    threshold = threshold_for(usual, reference, 60.0)
    expected = average_run_length(usual, reference, threshold)
    assert expected >= 60.0 > average_run_length(usual, reference, threshold - 1 / 8)
    random = np.random.default_rng(11)
    level, alarms, weeks = np.zeros(4000), 0, 2000
    for _ in range(weeks):
        level = np.maximum(0, level + random.poisson(usual, 4000) - reference)
        out = level >= threshold
        alarms += int(out.sum())
        level[out] = 0
    assert 4000 * weeks / alarms == pytest.approx(expected, rel=0.05)


def test_false_alarms_of_a_whole_catalogue_are_as_rare_as_set() -> None:
    # 60 recipes for 20 catalogue-years with alarms allowed twice a year, so that they can be counted.
    random = np.random.default_rng(2)
    rates = random.gamma(0.8, 0.4, 60)
    alarms = 0
    for _ in range(20):
        counts = random.poisson(rates[:, None], (60, 52 + 52))
        series = [ProblemWeeks(number, None, tuple(int(n) for n in row)) for number, row in enumerate(counts)]
        seen: set[tuple[int, int]] = set()
        for week in range(53, 105, 4):
            cut = [ProblemWeeks(one.recipe_id, None, one.counts[:week]) for one in series]
            for spike in find_spikes(cut, recipe_count=60, years=0.5):
                seen.add((spike.recipe_id, week - spike.weeks))
        alarms += len(seen)
    assert alarms / 20 <= 1.0  # half of the two a year, the other half being kept for faults
