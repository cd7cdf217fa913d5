from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from inbox.ranking.cusum import first_passages, reference_value, threshold_for, upper_sums
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
    assert found.in_words == "seven reports of “leaked” in two weeks, where hardly any would be usual"


def test_nothing_to_look_at() -> None:
    assert find_spikes([], recipe_count=0) == []
    assert find_spikes([ProblemWeeks(1, None, ())], recipe_count=1) == []


@pytest.mark.parametrize(("accepted", "rejected"), [(0.01, 0.02), (0.45, 0.9), (3.0, 6.0), (40.0, 80.0)])
def test_a_doubled_rate_lies_above_the_reference_value(accepted: float, rejected: float) -> None:
    assert accepted < reference_value(accepted, rejected) < rejected
    assert float(reference_value(accepted, rejected)) == pytest.approx(accepted / np.log(2), rel=0.09)


@pytest.mark.parametrize(
    ("usual", "threshold"), [(0.05, Fraction(2)), (0.6, Fraction(4)), (2.5, Fraction(6))]
)
def test_first_passages_are_those_of_simulation_and_of_the_run_length(
    usual: float, threshold: Fraction
) -> None:
    reference = reference_value(usual, 2 * usual)
    threshold = Fraction(round(threshold * reference.denominator), reference.denominator)
    found = first_passages(np.array([usual]), np.ones(1), reference, threshold, 13)
    counts = np.random.default_rng(11).poisson(usual, (200_000, 13))
    out = upper_sums(counts, target=usual, allowance=float(reference) - usual) >= float(threshold) - 1e-9
    first = np.bincount(out.argmax(axis=1)[out.any(axis=1)], minlength=13) / len(counts)
    assert np.abs(found - first).max() < 0.0015
    # Mean run length of the chain by Brook and Evans: (I - R) L = 1.
    states, lattice = int(threshold * reference.denominator), reference.denominator
    jump = np.arange(states)[None, :] - np.arange(states)[:, None] + reference.numerator
    stay = np.where(jump % lattice == 0, stats.poisson.pmf(jump // lattice, usual), 0.0)
    stay[:, 0] = stats.poisson.cdf((reference.numerator - np.arange(states)) // lattice, usual)
    mean_run = np.linalg.solve(np.eye(states) - stay, np.ones(states))[0]
    long_run = first_passages(np.array([usual]), np.ones(1), reference, threshold, 6000)
    waited = np.concatenate([[1.0], 1 - np.cumsum(long_run)[:-1]]).sum()
    assert waited == pytest.approx(mean_run, rel=0.01)


def test_the_threshold_keeps_the_wanted_time_and_grows_with_doubt() -> None:
    reference = reference_value(1.0, 2.0)
    sure, doubtful = (threshold_for(shape, shape, reference, 13, 5000.0) for shape in (400.0, 6.0))
    assert sure < doubtful
    part = Fraction(1, reference.denominator)
    known = np.array([1.0])
    at, below = (first_passages(known, np.ones(1), reference, sure - less, 13)[-1] for less in (0, 3 * part))
    assert at <= 1 / 5000 < below


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
