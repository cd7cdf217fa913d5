"""Estimators against published worked examples; the source is named beside each."""

import numpy as np
import pytest
from scipy import stats as scipy_stats

from inbox.ranking.fits import fit_gamma_poisson
from inbox.ranking.shares import Spread, evidence, fit_spread, posterior
from inbox.ranking.stats import (
    adjusted_p_values,
    benjamini_hochberg,
    compare_poisson,
    fisher_greater,
    newcombe,
    wilson,
)

# Tarone (1982), as Table 5.1 of Gelman, Carlin, Stern, Dunson, Vehtari, Rubin, Bayesian Data Analysis,
# 3rd ed. (2013): rats with a tumour in 71 groups; the last group is the one of interest.
RATS_WITH_TUMOUR = (
    [0] * 14 + [1] * 8 + [2] * 8 + [2, 1, 5, 2, 5, 3, 2, 7, 7, 3, 3, 2, 9, 10] + [4] * 7
    + [10, 4, 4, 4, 5, 11, 12, 5, 5, 6, 5, 6, 6, 6, 6, 16, 15, 15, 9, 4]
)  # fmt: skip
RATS = (
    [20] * 7 + [19] * 4 + [18, 18, 17] + [20] * 4 + [19, 19, 18, 18, 25, 24, 23] + [20] * 6
    + [10, 49, 19, 46, 27, 17, 49, 47, 20, 20, 13, 48, 50] + [20] * 7
    + [48, 19, 19, 19, 22, 46, 49, 20, 20, 23, 19, 22, 20, 20, 20, 52, 46, 47, 24, 14]
)  # fmt: skip


@pytest.mark.parametrize(
    ("successes", "trials", "lower", "upper"),
    [
        # Newcombe R. G. (1998), Statistics in Medicine 17:857-872, Table I, method 3.
        (81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718),
        # The same formula at the edges, as in three public test suites.
        (0, 10, 0.0, 0.2775), (5, 10, 0.2366, 0.7634), (10, 10, 0.7225, 1.0),
    ],
)  # fmt: skip
def test_wilson(successes: int, trials: int, lower: float, upper: float) -> None:
    found = wilson(successes, trials)
    assert float(found[0]) == pytest.approx(lower, abs=5e-5)
    assert float(found[1]) == pytest.approx(upper, abs=5e-5)


def test_wilson_of_nothing_is_the_whole_range() -> None:
    lower, upper = wilson(0, 0)
    assert (float(lower), float(upper)) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("one", "other", "lower", "upper"),
    [
        # Newcombe R. G. (1998), Statistics in Medicine 17:873-890, Table II, method 10 (from memory).
        ((56, 70), (48, 80), 0.0524, 0.3339), ((9, 10), (3, 10), 0.1705, 0.8090),
        ((6, 7), (2, 7), 0.0582, 0.8062), ((5, 56), (0, 29), -0.0381, 0.1926),
        ((0, 10), (0, 20), -0.1611, 0.2775), ((0, 10), (0, 10), -0.2775, 0.2775),
        ((10, 10), (0, 20), 0.6791, 1.0), ((10, 10), (0, 10), 0.6075, 1.0),
    ],
)  # fmt: skip
def test_newcombe_difference(
    one: tuple[int, int], other: tuple[int, int], lower: float, upper: float
) -> None:
    assert newcombe(*one, *other) == pytest.approx((lower, upper), abs=5e-5)


def test_fisher_tasting_tea() -> None:
    # Fisher R. A. (1935), The Design of Experiments: 3 of 4 cups named rightly; one-sided 0.2429.
    assert float(fisher_greater(3, 4, 4, 8)) == pytest.approx(0.2429, abs=5e-5)


def test_fisher_against_scipy() -> None:
    random = np.random.default_rng(3)
    for _ in range(50):
        a, b, c, d = (int(n) for n in random.integers(0, 12, 4))
        ours = float(fisher_greater(a, a + b, a + c, a + b + c + d))
        theirs = scipy_stats.fisher_exact([[a, b], [c, d]], alternative="greater").pvalue
        assert ours == pytest.approx(theirs, abs=1e-9)


# Benjamini Y., Hochberg Y. (1995), J. Royal Statistical Society B 57:289-300, section 4.1.
BENJAMINI_HOCHBERG = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719,
    0.6528, 0.7590, 1.0
]  # fmt: skip


def test_benjamini_hochberg_of_the_paper() -> None:
    assert benjamini_hochberg(BENJAMINI_HOCHBERG, rate=0.05).tolist() == [True] * 4 + [False] * 11
    assert benjamini_hochberg(BENJAMINI_HOCHBERG, rate=0.10).sum() == 9


def test_benjamini_hochberg_adjusted_values() -> None:
    # Computed with statsmodels, multipletests(method="fdr_bh").
    expected = [0.0015, 0.0030, 0.0095, 0.035625, 0.0603, 0.06386, 0.06386, 0.0645, 0.0765]
    assert adjusted_p_values(BENJAMINI_HOCHBERG)[:9].tolist() == pytest.approx(expected, abs=5e-6)


def test_benjamini_hochberg_steps_up() -> None:
    # A step-down reading would reject none of these.
    assert benjamini_hochberg([0.04, 0.045, 0.05, 0.049], rate=0.05).all()
    assert benjamini_hochberg([], rate=0.05).tolist() == []


@pytest.mark.parametrize(
    ("counts", "exposures", "p_value"),
    [
        # R manual, stats::poisson.test, two-sample example (from memory, recomputed).
        ((11, 21), (800, 3011), 0.07967),
        # Gu K., Ng H., Tang M., Schucany W. (2008), Biometrical Journal 50:283-298, example 1; two-sided.
        ((60, 30), (51_477.5, 54_308.7), 0.0006752),
        # Counts as in Rothman and Greenland, Modern Epidemiology (from memory); result recomputed.
        ((41, 15), (28_010, 19_017), 0.04085),
    ],
)
def test_exact_comparison_of_poisson_counts(
    counts: tuple[int, int], exposures: tuple[float, float], p_value: float
) -> None:
    found = compare_poisson([counts[0]], [counts[1]], exposure_ratio=exposures[0] / exposures[1])
    assert float(found[0]) == pytest.approx(p_value, rel=6e-4)


def test_the_rats_are_as_published() -> None:
    assert (sum(RATS_WITH_TUMOUR), sum(RATS), len(RATS)) == (267, 1739, 71)
    assert (RATS_WITH_TUMOUR[-1], RATS[-1]) == (4, 14)


def likelihood(failed: list[int], trials: list[int]) -> np.ndarray:
    """Log-likelihoods of groups in which every animal was seen for certain."""
    said = np.concatenate([np.arange(n) < y for y, n in zip(failed, trials, strict=True)]).astype(float)
    rows = np.repeat(np.arange(len(trials)), trials)
    return evidence(said, np.ones(len(said)), rows, len(trials), base_share=0.15)


def test_beta_binomial_fit_of_the_rats() -> None:
    # Marginal maximum likelihood on the published data; regression values, computed with scipy.
    spread = fit_spread(likelihood(RATS_WITH_TUMOUR, RATS))
    assert spread.a == pytest.approx(2.3416, abs=5e-3)
    assert spread.b == pytest.approx(14.1148, abs=3e-2)
    last = posterior(likelihood([4], [14]), spread).mean[0]
    assert last == pytest.approx(0.2082, abs=5e-4)


def test_the_fit_lies_near_the_full_bayes_answer_of_the_book() -> None:
    # BDA3, section 5.3: E(alpha given y) = 2.4, E(beta given y) = 14.3 (numbers from memory, recomputed).
    spread = fit_spread(likelihood(RATS_WITH_TUMOUR, RATS))
    assert spread.a == pytest.approx(2.4, abs=0.1)
    assert spread.b == pytest.approx(14.3, abs=0.3)


def test_posterior_of_the_71st_group() -> None:
    # BDA3, section 5.1: Beta(1.4, 8.6) and 4 of 14 give Beta(5.4, 18.6), mean 0.223 (as printed), sd 0.083.
    found = posterior(likelihood([4], [14]), Spread(1.4, 8.6))
    assert found.mean[0] == pytest.approx(0.223, abs=0.003)
    assert found.sd[0] == pytest.approx(0.083, abs=6e-4)


def test_gamma_poisson_fit_finds_what_it_was_drawn_from() -> None:
    random = np.random.default_rng(5)
    rates = random.gamma(0.7, 1 / 40, 6000)
    counts = random.poisson(rates * 200)
    spread = fit_gamma_poisson(counts[counts > 0], 200, known_by_events=True)
    assert spread.a == pytest.approx(0.7, rel=0.08)
    assert spread.b == pytest.approx(40, rel=0.08)
