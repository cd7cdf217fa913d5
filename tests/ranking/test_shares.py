import numpy as np
import pytest
from scipy import stats

from inbox.ranking.health import BASE_SHARE
from inbox.ranking.shares import Posterior, Spread, evidence, fit_spread, posterior, probability_less
from tests.bench.error_rates import fitting_base_share, measured


def after(spread: Spread, failed: int, readers: int) -> Posterior:
    said = (np.arange(readers) < failed).astype(float)
    return posterior(evidence(said, np.ones(readers), np.zeros(readers, int), 1, base_share=0.3), spread)


@pytest.mark.parametrize(("failed", "readers"), [(0, 0), (0, 6), (4, 14), (60, 100), (25, 25)])
def test_certain_reports_give_the_beta_posterior(failed: int, readers: int) -> None:
    found, exact = (
        after(Spread(1.4, 8.6), failed, readers),
        stats.beta(1.4 + failed, 8.6 + readers - failed),
    )
    assert found.mean[0] == pytest.approx(exact.mean(), abs=1e-3)
    assert found.sd[0] == pytest.approx(exact.std(), abs=1e-3)
    assert found.above(0.25)[0] == pytest.approx(exact.sf(0.25), abs=5e-3)
    assert found.quantile(0.05)[0] == pytest.approx(exact.ppf(0.05), abs=5e-3)
    assert found.quantile(0.95)[0] == pytest.approx(exact.ppf(0.95), abs=6e-3)


def test_a_wavering_reading_is_undone_by_its_likelihood() -> None:
    # A reading that is right four times in five, calibrated at a base share of one half.
    random = np.random.default_rng(4)
    truth = random.random(20_000) < 0.2
    read = np.where(random.random(20_000) < 0.8, truth, ~truth)
    found = posterior(
        evidence(np.where(read, 0.8, 0.2), np.ones(20_000), np.zeros(20_000, int), 1, base_share=0.5),
        Spread(1, 1),
    )
    assert read.mean() == pytest.approx(0.32, abs=0.01)
    assert found.mean[0] == pytest.approx(0.2, abs=0.015)


def test_the_spread_is_the_one_that_the_shares_were_drawn_from() -> None:
    random = np.random.default_rng(6)
    shares, readers = random.beta(2.0, 14.0, 1500), 1 + random.poisson(12, 1500)
    rows = np.repeat(np.arange(1500), readers)
    failed = (random.random(len(rows)) < shares[rows]).astype(float)
    spread = fit_spread(evidence(failed, np.ones(len(rows)), rows, 1500, base_share=0.3))
    assert spread.mean == pytest.approx(0.125, rel=0.08)
    assert spread.odd_share < 0.02
    assert spread.a + spread.b == pytest.approx(16, rel=0.25)


def test_nothing_known_is_one_in_ten() -> None:
    assert fit_spread(evidence([], [], np.zeros(0, int), 3, base_share=0.3)) == Spread(1.0, 9.0)


def test_probability_against_draws() -> None:
    draws = stats.beta.rvs(3, 11, size=200_000, random_state=1) < stats.beta.rvs(
        6, 9, size=200_000, random_state=2
    )
    one, other = after(Spread(3, 11), 0, 0), after(Spread(6, 9), 0, 0)
    assert probability_less(one, other)[0] == pytest.approx(draws.mean(), abs=4e-3)
    assert probability_less(one, one)[0] == pytest.approx(0.5, abs=1e-3)


def test_the_base_share_in_use_is_the_one_that_fits_the_measured_reading() -> None:
    assert pytest.approx(fitting_base_share(measured()), abs=0.01) == BASE_SHARE
