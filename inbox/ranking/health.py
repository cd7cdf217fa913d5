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

from inbox.ranking import wording
from inbox.ranking.shares import Posterior, Spread, evidence, fit_spread, posterior
from inbox.ranking.stats import Floats

TIMES_CATALOGUE, LEAST_LIMIT = 2.0, 0.15
"""A recipe fails where its share is above twice the catalogue's and above this (design)."""

FALSE_FLAGS = 0.06
"""Expected share of wrong ones among the recipes called failing. The bound is one in ten (design); no spread
fits quite, so the rule aims lower. Chosen by `tests.bench.health --choose`, on seeds that are not measured
with: there 0.10 came out at up to 0.135, 0.08 at up to 0.104 and 0.06 at up to 0.080."""

WATCH_FROM = 0.8
"""Probability of being above the limit from which a recipe is watched (design)."""

FEWEST_READERS = 3
"""Distinct readers below which a recipe is never called failing (design)."""

BASE_SHARE = 0.21
"""Share of failed ones against which the reading's probabilities are taken (see `ranking.shares`). Chosen so
that the likeliest share of failed reports on sites not read before is the true one: there the reading gives
failed reports somewhat too little (`tests.bench.error_rates` prints the value that fits)."""

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
    is_called_failed : bool or None
        Whether it is counted among the failed ones wherever reports are counted, which can be so below one
        half, as there are three endings; by default from one half on.
    """

    reader: str
    received_on: date
    failed: float
    faults: tuple[str, ...] = ()
    is_called_failed: bool | None = None

    @property
    def counts_as_failed(self) -> bool:
        """Whether a count of failed reports has it."""
        return self.failed >= 0.5 if self.is_called_failed is None else self.is_called_failed


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
    failed_count : int
        Of them, those whose report was read, or labelled by a person, as failed.
    over_limit : float
        Probability that the share is above `limit`.
    limit, catalogue_share : float
        The limit, and the share of an average recipe.
    in_words : str
        One or two sentences.
    """

    recipe_id: int
    standing: Standing
    share: float
    low: float
    high: float
    reader_count: int
    failed_count: int
    over_limit: float
    limit: float
    catalogue_share: float
    in_words: str


@dataclass(frozen=True, slots=True)
class Voices:
    """The reports of many recipes as columns, one row for each reader and week.

    Attributes
    ----------
    failed : ndarray
        Probability that the reader failed in that week: their worst report counts.
    worth : ndarray
        One over the number of weeks that the reader wrote in about the recipe: a reader is one voice.
    recipe : ndarray of int
        Row of the recipe.
    readers, failed_readers : ndarray of int, shape (n_recipes,)
        Distinct readers, and those who failed in at least half of their weeks.
    """

    failed: Floats
    worth: Floats
    recipe: NDArray[np.int_]
    readers: NDArray[np.int_]
    failed_readers: NDArray[np.int_]

    def evidence(self, base_share: float) -> Floats:
        """Log-likelihood of every share, a row a recipe."""
        return evidence(self.failed, self.worth, self.recipe, len(self.readers), base_share=base_share)


def gather(recipes: Sequence[Sequence[Report]]) -> Voices:
    """Make one voice of each reader of each recipe, however often they wrote."""
    failed: list[float] = []
    worth: list[float] = []
    counts: list[tuple[int, int, int]] = []
    for reports in recipes:
        weeks: dict[str, dict[int, tuple[float, bool]]] = {}
        for report in reports:
            of_reader = weeks.setdefault(report.reader, {})
            week = (report.received_on.toordinal() - 1) // 7  # ISO weeks: day 1 was a Monday
            probability, called = of_reader.get(week, (0.0, False))
            of_reader[week] = max(probability, report.failed), called or report.counts_as_failed
        voices = [list(of_reader.values()) for of_reader in weeks.values()]
        failed += [probability for voice in voices for probability, _ in voice]
        worth += [1 / len(voice) for voice in voices for _ in voice]
        failing = sum(sum(called for _, called in voice) >= len(voice) / 2 for voice in voices)
        counts.append((sum(map(len, voices)), len(voices), failing))
    rows, readers, failed_readers = np.array(counts, int).reshape(-1, 3).T
    return Voices(
        np.array(failed), np.array(worth), np.repeat(np.arange(len(counts)), rows), readers, failed_readers
    )


@dataclass(frozen=True, slots=True)
class Judgement:
    """A whole catalogue judged; arrays of shape (n_recipes,)."""

    spread: Spread
    limit: float
    shares: Posterior
    over: Floats
    flagged: NDArray[np.bool_]


def judge_catalogue(log_likelihood: Floats, readers: NDArray[np.int_]) -> Judgement:
    """Fit the spread, set the limit by it, and flag the recipes that are surely above."""
    spread = fit_spread(log_likelihood)
    limit = max(TIMES_CATALOGUE * spread.mean, LEAST_LIMIT)
    shares = posterior(log_likelihood, spread)
    over = shares.above(limit)
    return Judgement(spread, limit, shares, over, flag(over, readers >= FEWEST_READERS))


def judge(recipes: Sequence[RecipeReports], *, base_share: float = BASE_SHARE) -> list[RecipeHealth]:
    """Judge all recipes of a catalogue together.

    Parameters
    ----------
    base_share : float
        Share against which the reading's probabilities are taken.

    Returns
    -------
    list of RecipeHealth
        In the order handed in.
    """
    if not recipes:
        return []
    voices = gather([recipe.reports for recipe in recipes])
    found = judge_catalogue(voices.evidence(base_share), voices.readers)
    mean, low, high = found.shares.mean, found.shares.quantile(0.05), found.shares.quantile(0.95)
    judged = []
    for row, recipe in enumerate(recipes):
        readers, failed = int(voices.readers[row]), int(voices.failed_readers[row])
        standing = _standing(bool(found.flagged[row]), float(found.over[row]), readers)
        numbers = (float(mean[row]), float(low[row]), float(high[row]))
        judged.append(
            RecipeHealth(
                recipe_id=recipe.recipe_id,
                standing=standing,
                share=numbers[0],
                low=numbers[1],
                high=numbers[2],
                reader_count=readers,
                failed_count=failed,
                over_limit=float(found.over[row]),
                limit=found.limit,
                catalogue_share=found.spread.mean,
                in_words=_in_words(standing, readers, failed, numbers, found.spread.mean),
            )
        )
    return judged


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
    standing: Standing, readers: int, failed: int, numbers: tuple[float, float, float], catalogue: float
) -> str:
    """What the standing rests on."""
    if readers == 0:
        return "Nobody has reported on it yet."
    said = f"{wording.of(failed, readers).capitalize()} {'reader' if readers == 1 else 'readers'}"
    usual = f"over all your recipes it is {wording.per_cent(catalogue)}"
    between = f"between {wording.per_cent(numbers[1])} and {wording.per_cent(numbers[2])}"
    first = f"{said} reported a failure; {usual}."
    if standing == "failing":
        return f"{first} With what the reading may miss, the share lies {between}: more than luck explains."
    if standing == "watch":
        return f"{first} That looks like more than luck, but is not sure yet."
    if standing == "too_few_reports":
        return f"{first} Too few reports to judge by."
    if numbers[0] > TIMES_CATALOGUE * catalogue:
        return f"{first} More than usual, but it may well be luck: the share is {between}."
    return f"{first} Nothing out of the ordinary."
