"""Does the judgement of recipes cry wolf, and does it find what fails?

`python -m tests.bench.health [--seeds N] [--choose]`

Catalogues of 30, 300 and 3,000 recipes with known shares. Readers with trouble write twice as often as
others, more so for some recipes than for others; some write again and again; most reports are read by a
model that errs as measured (error_rates.json, from `tests.bench.error_rates`), one in twenty is labelled by
hand. A recipe truly fails where its share among the reports that readers would send is above twice the
catalogue's and 0.15.

Rivals get what ours gets: distinct readers, reports that were read as failed, at least three of them, and the
same limit from the share that was read. Wilson: the lower bound of the 95 % interval is above the limit. Raw
share: the share is. Raw count: five failed messages or more. "sum of probabilities" is our own method with
the probabilities added up, which the likelihood replaced.

A table shows how many of the truly failing recipes are found by how many readers had reported. --choose looks
at seeds that are kept for choosing: false flags by the expected share that the rule is set to. How soon a
rise is seen is in `tests.bench.rises`.
"""

import argparse
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from inbox.ranking.health import (
    BASE_SHARE,
    FEWEST_READERS,
    LEAST_LIMIT,
    TIMES_CATALOGUE,
    Judgement,
    flag,
    judge_catalogue,
)
from inbox.ranking.shares import GRID, evidence
from inbox.ranking.stats import Floats, wilson
from tests.bench.error_rates import PERFECT, Reading, measured

FALSE_FLAGS_BOUND = 0.10
KEPT_FOR_CHOOSING = 10_000
"""Seeds from here on are for choosing, those below for measuring."""

READINGS = (("reports read as measured", measured()), ("reports read without error", PERFECT))
KINDS, SIZES = ("mixed", "even", "broad"), (30, 300, 3000)
READER_BINS = (3, 6, 11, 21, 41)
"""First number of readers of each column of the table of what is found after so many reports."""

WRITES_AGAIN = 0.15
Flags = np.ndarray


@dataclass(frozen=True)
class Catalogue:
    """True shares of reports, and the reports: one row a reader, `again` further messages of the same one."""

    shares: Floats
    recipe: np.ndarray
    probability: Floats
    again: np.ndarray

    @property
    def failing(self) -> np.ndarray:
        return self.shares > max(TIMES_CATALOGUE * self.shares.mean(), LEAST_LIMIT)

    @property
    def readers(self) -> np.ndarray:
        return np.bincount(self.recipe, minlength=len(self.shares))


def invent(count: int, kind: str, reading: Reading, random: np.random.Generator) -> Catalogue:
    """A catalogue: `mixed` has one bad recipe in ten, `even` few, `broad` all degrees."""
    shares_of_makes = {
        "mixed": lambda: np.where(
            random.random(count) < 0.1, random.beta(6, 9, count), random.beta(2, 22, count)
        ),
        "even": lambda: random.beta(3, 30, count),
        "broad": lambda: random.beta(1.2, 9, count),
    }[kind]()
    writes_more = np.exp(random.normal(np.log(2), 0.25, count))
    shares = shares_of_makes * writes_more / (shares_of_makes * writes_more + 1 - shares_of_makes)
    readers = 1 + random.negative_binomial(0.8, 0.8 / (0.8 + 14), count)
    recipe = np.repeat(np.arange(count), readers)
    truth = random.random(len(recipe)) < shares[recipe]
    again = np.where(random.random(len(recipe)) < WRITES_AGAIN, random.poisson(3, len(recipe)), 0)
    return Catalogue(shares, recipe, reading.read(truth, random), again)


def judged(catalogue: Catalogue, reading: Reading) -> Judgement:
    count = len(catalogue.shares)
    said = evidence(
        catalogue.probability,
        np.ones(len(catalogue.recipe)),
        catalogue.recipe,
        count,
        base_share=BASE_SHARE,
    )
    return judge_catalogue(said, catalogue.readers)


def ours(catalogue: Catalogue, reading: Reading) -> Flags:
    return judged(catalogue, reading).flagged


def sum_of_probabilities(catalogue: Catalogue, reading: Reading) -> Flags:
    count = len(catalogue.shares)
    failed = np.bincount(catalogue.recipe, catalogue.probability, minlength=count)[:, None]
    said = failed * np.log(GRID) + (catalogue.readers[:, None] - failed) * np.log1p(-GRID)
    return judge_catalogue(said, catalogue.readers).flagged


def read_as_failed(catalogue: Catalogue) -> tuple[Floats, float]:
    """Readers read as failed, by recipe, and the limit that this gives."""
    failed = np.bincount(catalogue.recipe, catalogue.probability >= 0.5, minlength=len(catalogue.shares))
    return failed, max(TIMES_CATALOGUE * failed.sum() / len(catalogue.recipe), LEAST_LIMIT)


def wilson_bound(catalogue: Catalogue, reading: Reading) -> Flags:
    failed, limit = read_as_failed(catalogue)
    return (wilson(failed, catalogue.readers)[0] > limit) & (catalogue.readers >= FEWEST_READERS)


def raw_share(catalogue: Catalogue, reading: Reading) -> Flags:
    failed, limit = read_as_failed(catalogue)
    return (failed / catalogue.readers > limit) & (catalogue.readers >= FEWEST_READERS)


def raw_count(catalogue: Catalogue, reading: Reading) -> Flags:
    messages = (catalogue.probability >= 0.5) * (1 + catalogue.again)
    return np.bincount(catalogue.recipe, messages, minlength=len(catalogue.shares)) >= 5


SUMMED = "sum of probabilities"
"""Left out of the largest catalogue, to save time."""

METHODS: dict[str, Callable[[Catalogue, Reading], Flags]] = {
    "ours": ours,
    "Wilson 95 %": wilson_bound,
    "raw share": raw_share,
    "raw count": raw_count,
    SUMMED: sum_of_probabilities,
}


def interval(values: np.ndarray, draws: int = 2000) -> tuple[float, float]:
    """95 % bootstrap interval of the mean over the seeds."""
    random = np.random.default_rng(1)
    means = values[random.integers(0, len(values), (draws, len(values)))].mean(axis=1)
    return float(np.quantile(means, 0.025)), float(np.quantile(means, 0.975))


def ratio_interval(parts: np.ndarray, wholes: np.ndarray, draws: int = 2000) -> tuple[float, float, float]:
    """Ratio of two sums over the seeds, with its 95 % bootstrap interval."""
    random = np.random.default_rng(1)
    chosen = random.integers(0, len(parts), (draws, len(parts)))
    ratios = parts[chosen].sum(axis=1) / np.maximum(wholes[chosen].sum(axis=1), 1)
    low, high = np.quantile(ratios, [0.025, 0.975])
    return float(parts.sum() / max(wholes.sum(), 1)), float(low), float(high)


@dataclass(frozen=True)
class Outcome:
    """What one method did in one run.

    Attributes
    ----------
    found, truly : ndarray of int, shape (n_bins,)
        Truly failing recipes that it flagged, and all of them, by how many readers had reported.
    """

    false_share: float
    right: int
    failing: int
    flagged: int
    found: np.ndarray
    truly: np.ndarray


def outcome(flags: Flags, catalogue: Catalogue) -> Outcome:
    """Compare flags with the truth."""
    failing = catalogue.failing
    right, flagged = int((flags & failing).sum()), int(flags.sum())
    place = np.digitize(catalogue.readers, READER_BINS)
    found, truly = (
        np.bincount(place[chosen], minlength=len(READER_BINS) + 1)[1:]
        for chosen in (flags & failing, failing)
    )
    return Outcome((flagged - right) / max(flagged, 1), right, int(failing.sum()), flagged, found, truly)


def run(kind: str, count: int, reading: Reading, seeds: int) -> dict[str, list[Outcome]]:
    """What each method does in the invented catalogues of one setting."""
    methods = {name: way for name, way in METHODS.items() if count <= 300 or name != SUMMED}
    rows: dict[str, list[Outcome]] = {name: [] for name in methods}
    for seed in range(seeds):
        catalogue = invent(count, kind, reading, np.random.default_rng([seed, count, len(kind)]))
        for name, method in methods.items():
            rows[name].append(outcome(method(catalogue, reading), catalogue))
    return rows


def show_flags(rows: dict[str, list[Outcome]]) -> dict[str, tuple[float, float]]:
    """Print false flags and findings; returns the false share and the found share of each method."""
    print(f"  {'':<21} false flags (95 % interval)   found of truly failing (95 %)   flagged a run")
    means = {}
    for name, outcomes in rows.items():
        false_share = np.array([one.false_share for one in outcomes])
        right, failing = np.array([(one.right, one.failing) for one in outcomes]).T
        low, high = interval(false_share)
        share, from_share, to_share = ratio_interval(right, failing)
        means[name] = (float(false_share.mean()), share)
        print(
            f"  {name:<21} {false_share.mean():5.3f} ({low:.3f}-{high:.3f})"
            f"           {share:5.3f} ({from_share:.3f}-{to_share:.3f})"
            f"           {np.mean([one.flagged for one in outcomes]):8.2f}",
            flush=True,
        )
    return means


def show_found(rows: dict[str, list[Outcome]]) -> None:
    """Print what was found of the truly failing recipes, by how many readers had reported."""
    edges = zip(READER_BINS, (*(one - 1 for one in READER_BINS[1:]), None), strict=True)
    titles = [f"{low}-{high}" if high else f"{low} and more" for low, high in edges]
    print("  found of the truly failing (95 %), by readers who reported")
    print(f"  {'':<21}" + "".join(f"{title:>22}" for title in titles))
    for name, outcomes in rows.items():
        found = np.array([one.found for one in outcomes])
        truly = np.array([one.truly for one in outcomes])
        cells = [ratio_interval(found[:, place], truly[:, place]) for place in range(len(READER_BINS))]
        print(
            f"  {name:<21}"
            + "".join(f"{f'{share:.3f} ({low:.3f}-{high:.3f})':>22}" for share, low, high in cells)
        )


def flags_table(seeds: int) -> bool:
    """Print all settings; True where every bound holds."""
    means: dict[tuple[str, str, int], dict[str, tuple[float, float]]] = {}
    for title, reading in READINGS:
        for kind in KINDS:
            for count in SIZES:
                print(f"\n{title}; {kind} catalogue of {count:,}")
                rows = run(kind, count, reading, seeds)
                means[title, kind, count] = show_flags(rows)
                if kind == "mixed":
                    show_found(rows)
    keepers = [
        name
        for name in METHODS
        if all(of_all[name][0] <= FALSE_FLAGS_BOUND for of_all in means.values() if name in of_all)
    ]
    print(f"\nAt most {FALSE_FLAGS_BOUND:.0%} false flags in every setting: {', '.join(keepers) or 'none'}.")
    more = [
        (name, f"{title}; {kind} {count:,}: {name} {of_all[name][1]:.3f}, ours {of_all['ours'][1]:.3f}")
        for (title, kind, count), of_all in means.items()
        for name in of_all
        if of_all[name][0] <= FALSE_FLAGS_BOUND and of_all[name][1] > of_all["ours"][1]
    ]
    print("Settings in which another one that keeps to it there, if not everywhere, finds more than ours:")
    print("\n".join(f"  {line}" for _, line in more) or "  none")
    return "ours" in keepers and not any(name in keepers for name, _ in more)


def choose_rate(seeds: int) -> None:
    """False flags of ours by the expected share that the rule allows."""
    rates = np.arange(0.05, 0.105, 0.005)
    print(f"False flags by the expected share allowed; seeds from {KEPT_FOR_CHOOSING} on")
    print(f"  {'':<46}" + "".join(f"{rate:>8.3f}" for rate in rates))
    worst = np.zeros(len(rates))
    for title, reading in READINGS:
        for kind in KINDS:
            for count in SIZES:
                # A large catalogue says more for its time.
                false = np.zeros((seeds if count <= 300 else max(seeds // 4, 1), len(rates)))
                for seed in range(len(false)):
                    random = np.random.default_rng([KEPT_FOR_CHOOSING + seed, count, len(kind)])
                    catalogue = invent(count, kind, reading, random)
                    over = judged(catalogue, reading).over
                    eligible = catalogue.readers >= FEWEST_READERS
                    for place, rate in enumerate(rates):
                        flags = flag(over, eligible, rate=float(rate))
                        false[seed, place] = outcome(flags, catalogue).false_share
                worst = np.maximum(worst, [interval(column)[1] for column in false.T])
                cells = "".join(f"{mean:>8.3f}" for mean in false.mean(axis=0))
                print(f"  {f'{title}; {kind} {count:,}':<46}{cells}", flush=True)
    print(f"  {'largest upper end of the 95 % intervals':<46}" + "".join(f"{high:>8.3f}" for high in worst))


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--choose", action="store_true", help="look at the seeds that are kept for choosing")
    given = parser.parse_args()
    if given.choose:
        choose_rate(given.seeds)
        return 0
    began = time.perf_counter()
    good = flags_table(given.seeds)
    print(f"\n{'Every bound holds' if good else 'A bound is missed'}; {time.perf_counter() - began:.0f} s.")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
