"""Which recipes fail in readers' kitchens: a judgement that does not cry wolf over two unlucky bakers.

Every recipe's share of failed reports is drawn towards the catalogue's by a fitted beta-binomial. A recipe is
called failing where its share is so surely above the limit that at most one in ten of all recipes called
failing is expected to be called so wrongly. It is a share of reports, not of makes. Start at `judge`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, betaincinv

from inbox.ranking import wording
from inbox.ranking.fits import BetaSpread, fit_beta_binomial
from inbox.ranking.stats import Floats

TIMES_CATALOGUE, LEAST_LIMIT = 2.0, 0.15
"""A recipe fails where its share is above twice the catalogue's and above this (design)."""

FALSE_FLAGS = 0.10
"""Expected share of wrong ones among the recipes called failing (design)."""

WATCH_FROM = 0.8
"""Probability of being above the limit from which a recipe is watched (design)."""

FEWEST_READERS = 3
"""Distinct readers below which a recipe is never called failing (design)."""

CAVEAT = "This is a share of reports, not of makes: readers with trouble write more often than those without."

Standing = Literal["failing", "watch", "holding_up", "too_few_reports"]


@dataclass(frozen=True, slots=True)
class Report:
    """One message that says how a recipe turned out.

    Attributes
    ----------
    reader : str
        Key of the reader; a report of nobody known has a key of its own.
    failed : float
        Probability that it says the dish failed; 0 or 1 where a person said so.
    faults : tuple of str
        Codes of the faults that it tells of, those of the recipe's page left out.
    """

    reader: str
    received_on: date
    failed: float
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RecipeReports:
    """What readers reported of one recipe, since the last change to it that counts."""

    recipe_id: int
    reports: tuple[Report, ...]


@dataclass(frozen=True, slots=True)
class RecipeHealth:
    """How a recipe does.

    Attributes
    ----------
    share, low, high : float
        Share of failed reports: mean of the posterior, and the bounds between which it lies with
        probability 0.9.
    reader_count : int
        Distinct readers who reported.
    failed_count : float
        Of them, those whose report failed; fractional, because a report counts with its probability.
    over_limit : float
        Probability that the share is above `limit`.
    limit, catalogue_share : float
        The limit, and the share of a typical recipe.
    in_words : str
        One or two sentences.
    """

    recipe_id: int
    standing: Standing
    share: float
    low: float
    high: float
    reader_count: int
    failed_count: float
    over_limit: float
    limit: float
    catalogue_share: float
    in_words: str


def reader_outcomes(reports: Sequence[Report]) -> tuple[int, float]:
    """Distinct readers, and how many of them failed.

    A reader's worst report of a week counts for the week, and the mean of the weeks for the reader: who
    failed once and got it right the next month counts as half a failure.
    """
    weeks: dict[tuple[str, int], float] = {}
    for report in reports:
        key = (report.reader, (report.received_on.toordinal() - 1) // 7)
        weeks[key] = max(weeks.get(key, 0.0), report.failed)
    sums: dict[str, tuple[float, int]] = {}
    for (reader, _), failed in weeks.items():
        total, count = sums.get(reader, (0.0, 0))
        sums[reader] = (total + failed, count + 1)
    return len(sums), float(sum(total / count for total, count in sums.values()))


def judge(recipes: Sequence[RecipeReports]) -> list[RecipeHealth]:
    """Judge all recipes of a catalogue together.

    Returns
    -------
    list of RecipeHealth
        In the order handed in.
    """
    outcomes = [reader_outcomes(recipe.reports) for recipe in recipes]
    readers = np.array([count for count, _ in outcomes], int)
    failed = np.array([count for _, count in outcomes], float)
    spread = fit_beta_binomial(failed, readers)
    limit = failing_limit(spread)
    over = over_limit(failed, readers, spread, limit)
    flagged = flag(over, readers >= FEWEST_READERS)
    a, b = spread.a + failed, spread.b + readers - failed
    low, high, mean = betaincinv(a, b, 0.05), betaincinv(a, b, 0.95), a / (a + b)
    judged = []
    for row, recipe in enumerate(recipes):
        standing = _standing(bool(flagged[row]), float(over[row]), int(readers[row]))
        numbers = (float(mean[row]), float(low[row]), float(high[row]))
        judged.append(
            RecipeHealth(
                recipe_id=recipe.recipe_id,
                standing=standing,
                share=numbers[0],
                low=numbers[1],
                high=numbers[2],
                reader_count=int(readers[row]),
                failed_count=float(failed[row]),
                over_limit=float(over[row]),
                limit=limit,
                catalogue_share=spread.mean,
                in_words=_in_words(standing, int(readers[row]), float(failed[row]), numbers, spread.mean),
            )
        )
    return judged


def failing_limit(spread: BetaSpread) -> float:
    """Share above which a recipe fails: twice that of a typical recipe, and never less than 0.15."""
    return max(TIMES_CATALOGUE * spread.mean, LEAST_LIMIT)


def over_limit(failed: Floats, readers: NDArray[np.int_], spread: BetaSpread, limit: float) -> Floats:
    """Posterior probability of each recipe that its share is above `limit`."""
    return np.asarray(1.0 - betainc(spread.a + failed, spread.b + readers - failed, min(limit, 1.0)), float)


def flag(over: Floats, eligible: NDArray[np.bool_], *, rate: float = FALSE_FLAGS) -> NDArray[np.bool_]:
    """Largest set of recipes, the surest first, whose expected share of wrong flags is at most `rate`.

    References
    ----------
    Newton M. A., Noueiry A., Sarkar D., Ahlquist P. (2004), Biostatistics 5:155-176 (direct posterior
    probability approach to the false discovery rate).
    """
    flagged = np.zeros(len(over), bool)
    order = np.flatnonzero(eligible)
    order = order[np.argsort(-over[order], kind="stable")]
    expected_wrong = np.cumsum(1.0 - over[order]) / np.arange(1, len(order) + 1)
    flagged[order[: np.searchsorted(expected_wrong, rate, side="right")]] = True
    return flagged


def _standing(flagged: bool, over: float, readers: int) -> Standing:
    if flagged:
        return "failing"
    if over >= WATCH_FROM:
        return "watch"
    return "holding_up" if readers >= FEWEST_READERS else "too_few_reports"


def _in_words(
    standing: Standing, readers: int, failed: float, numbers: tuple[float, float, float], catalogue: float
) -> str:
    """What the standing rests on."""
    if readers == 0:
        return "Nobody has reported on it yet."
    count = round(failed)
    said = f"{wording.of(count, readers)} {'reader' if readers == 1 else 'readers'}"
    usual = f"in a typical recipe of yours it is {wording.per_cent(catalogue)}"
    between = f"between {wording.per_cent(numbers[1])} and {wording.per_cent(numbers[2])}"
    first = f"About {said} reported a failure; {usual}."
    if standing == "failing":
        return f"{first} The share that fails is {between}: more than luck explains."
    if standing == "watch":
        return f"{first} That looks like more than luck, but is not sure yet."
    if standing == "too_few_reports":
        return f"{first} Too few reports to judge by."
    if numbers[0] > TIMES_CATALOGUE * catalogue:
        return f"{first} More than usual, but it may well be luck: the share is {between}."
    return f"{first} Nothing out of the ordinary."
