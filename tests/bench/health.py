"""Does the judgement of recipes cry wolf, and does it find what fails?

`python -m tests.bench.health [--seeds N]`

Catalogues of 30, 300 and 3,000 recipes with known shares. Readers with trouble write twice as often as
others, more so for some recipes than for others; some write again and again; most reports are read by a
model that errs as measured (error_rates.json, from `tests.bench.error_rates`), one in twenty is labelled by
hand. A recipe truly fails where its share among the reports that readers would send is above twice the
catalogue's and 0.15.

Rivals get what ours gets: distinct readers, reports that were read as failed, at least three of them, and the
same limit from the share that was read. Wilson: the lower bound of the 95 % interval is above the limit. Raw
share: the share is. Raw count: five failed messages or more. "sum of probabilities" is our own method with
the probabilities added up, which the likelihood replaced.

Then weeks to see a doubling after an edit, and the false alarms of the spikes over a whole catalogue.
"""

import argparse
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.stats import chi2

from inbox.ranking.health import FEWEST_READERS, LEAST_LIMIT, TIMES_CATALOGUE, Report, judge_catalogue
from inbox.ranking.revisions import compare
from inbox.ranking.shares import GRID, evidence
from inbox.ranking.spikes import ProblemWeeks, find_spikes
from inbox.ranking.stats import Floats, wilson
from tests.bench.error_rates import kept

FALSE_FLAGS_BOUND = 0.10
HAND_LABELLED = 0.05
WRITES_AGAIN = 0.15
Flags = np.ndarray


@dataclass(frozen=True)
class Reading:
    """Measured probabilities of failure, by what the report truly says."""

    failed: Floats
    other: Floats
    base_share: float

    def read(self, truth: np.ndarray, random: np.random.Generator) -> Floats:
        """Probability that the reading, or a person's label, gives to each report."""
        said = np.where(truth, random.choice(self.failed, len(truth)), random.choice(self.other, len(truth)))
        return np.where(random.random(len(truth)) < HAND_LABELLED, truth.astype(float), said)


PERFECT = Reading(np.ones(1), np.zeros(1), 0.2)


def measured() -> Reading:
    rates = kept()
    return Reading(
        np.array(rates["failed"]),
        np.array(rates["not_failed"]),
        float(str(rates["failed_share_in_training"])),
    )


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


def ours(catalogue: Catalogue, reading: Reading) -> Flags:
    count = len(catalogue.shares)
    said = evidence(
        catalogue.probability,
        np.ones(len(catalogue.recipe)),
        catalogue.recipe,
        count,
        base_share=reading.base_share,
    )
    return judge_catalogue(said, catalogue.readers).flagged


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


def flags_table(seeds: int) -> bool:
    """Print false flags and findings; True where every bound holds."""
    kept_everywhere = dict.fromkeys(METHODS, True)
    found: dict[tuple[str, str, int], dict[str, float]] = {}
    for title, reading in (("reports read as measured", measured()), ("reports read without error", PERFECT)):
        for kind in ("mixed", "even", "broad"):
            for count in (30, 300, 3000):
                print(f"\n{title}; {kind} catalogue of {count:,}")
                print(
                    f"  {'':<21} false flags (95 % interval)   found of truly failing (95 %)   flagged a run"
                )
                methods = {name: way for name, way in METHODS.items() if count <= 300 or name != SUMMED}
                rows: dict[str, list[tuple[float, int, int, int]]] = {name: [] for name in methods}
                for seed in range(seeds):
                    catalogue = invent(count, kind, reading, np.random.default_rng([seed, count, len(kind)]))
                    failing = catalogue.failing
                    for name, method in methods.items():
                        flags = method(catalogue, reading)
                        right, all_flags = int((flags & failing).sum()), int(flags.sum())
                        false = (all_flags - right) / all_flags if all_flags else 0.0
                        rows[name].append((false, right, int(failing.sum()), all_flags))
                for name, outcome in rows.items():
                    false_share, right, truly, flagged = np.array(outcome, float).T
                    low, high = interval(false_share)
                    share, from_share, to_share = ratio_interval(right, truly)
                    kept_everywhere[name] &= bool(false_share.mean() <= FALSE_FLAGS_BOUND)
                    found.setdefault((title, kind, count), {})[name] = share
                    print(
                        f"  {name:<21} {false_share.mean():5.3f} ({low:.3f}-{high:.3f})"
                        f"           {share:5.3f} ({from_share:.3f}-{to_share:.3f})"
                        f"           {flagged.mean():8.2f}"
                    )
    keepers = [name for name, kept_it in kept_everywhere.items() if kept_it]
    print(f"\nAt most {FALSE_FLAGS_BOUND:.0%} false flags in every setting: {', '.join(keepers) or 'none'}.")
    beaten = [
        (setting, name)
        for setting, shares in found.items()
        for name in keepers
        if name != "ours" and shares.get(name, 0.0) > shares["ours"]
    ]
    print(f"Settings in which another of these finds more than ours: {beaten or 'none'}.")
    return "ours" in keepers and not beaten


@dataclass(frozen=True)
class Edited:
    """A recipe before and after an edit: weekly reports as read, one reader a report."""

    probabilities: list[Floats]
    edited_at: int


def edited(share_after: float, a_week: int, reading: Reading, random: np.random.Generator) -> Edited:
    """Nine months at a share of 0.15 of the reports, then half a year at another one."""
    weeks = []
    for week in range(WEEKS_BEFORE + WEEKS_AFTER):
        share = share_after if week >= WEEKS_BEFORE else SHARE_BEFORE
        weeks.append(reading.read(random.random(random.poisson(a_week)) < share, random))
    return Edited(weeks, WEEKS_BEFORE)


SHARE_BEFORE, WEEKS_BEFORE, WEEKS_AFTER = 0.15, 39, 26


def spike_seen(case: Edited, week: int, quiet: list[ProblemWeeks]) -> bool:
    """Whether the problem reports up to that week after the edit are called a rise."""
    counts = tuple(int((said >= 0.5).sum()) for said in case.probabilities[: case.edited_at + week])
    found = find_spikes([ProblemWeeks(-1, None, counts), *quiet], recipe_count=300)
    return any(spike.recipe_id == -1 for spike in found)


def revision_seen(case: Edited, week: int, reading: Reading) -> bool:
    """Whether the reports since the edit are called worse than those before."""
    sides = [case.probabilities[: case.edited_at], case.probabilities[case.edited_at : case.edited_at + week]]
    reports = [
        [
            Report(f"{number}-{place}", date(2026, 1, 5), float(said))
            for number, probabilities in enumerate(weeks)
            for place, said in enumerate(probabilities)
        ]
        for weeks in sides
    ]
    return compare(reports[0], reports[1], base_share=reading.base_share).verdict == "worse"


def raw_seen(case: Edited, week: int) -> bool:
    """Whether the raw share since the edit is at least twice the one before, with three failed or more."""
    before = np.concatenate(case.probabilities[: case.edited_at]) >= 0.5
    after = np.concatenate(case.probabilities[case.edited_at : case.edited_at + week]) >= 0.5
    return bool(after.sum() >= 3 and after.mean() >= 2 * before.mean())


def doubling_table(seeds: int) -> None:
    """Weeks until a share that doubled with an edit is seen, and how often one that did not is."""
    reading = measured()
    quiet = [ProblemWeeks(number, None, (0, 1, 0, 0, 2, 0, 1, 0, 0, 0, 1, 0, 0) * 4) for number in range(40)]
    print("\nAfter an edit that doubled the share of failed reports from 0.15 to 0.30 (catalogue of 300,")
    print("reports read as measured): week in which it is first seen, looking every week for half a year")
    print(
        f"  {'':<14}{'reports a week':>15}{'median week':>13}{'seen':>7}{'seen though nothing changed':>30}"
    )
    ways: dict[str, Callable[[Edited, int], bool]] = {
        "spike": lambda case, week: spike_seen(case, week, quiet),
        "revision": lambda case, week: revision_seen(case, week, reading),
        "raw share x2": raw_seen,
    }
    for name, sees in ways.items():
        for a_week in (3, 10, 30):
            first = {}
            for after in (0.30, 0.15):
                cases = [
                    edited(after, a_week, reading, np.random.default_rng([seed, a_week]))
                    for seed in range(seeds)
                ]
                first[after] = [
                    next((week for week in range(1, WEEKS_AFTER + 1) if sees(case, week)), 99)
                    for case in cases
                ]
            median = np.median(first[0.30])
            print(
                f"  {name:<14}{a_week:>15}{'never' if median > WEEKS_AFTER else f'{median:.0f}':>13}"
                f"{np.mean(np.array(first[0.30]) < 99):>7.0%}{np.mean(np.array(first[0.15]) < 99):>30.0%}"
            )


def alarms_table(catalogue_years: int) -> bool:
    """False alarms of the spikes where nothing changes; True if they are rare enough."""
    print(
        "\nFalse alarms of the spikes where nothing changes, set to one in two years over the catalogue"
        " (half of them for recipes, half for faults)"
    )
    held = True
    for recipes, mean_a_week in ((30, 1.0), (100, 0.3)):
        random = np.random.default_rng(recipes)
        alarms = 0
        for _ in range(catalogue_years):
            rates = random.gamma(0.8, mean_a_week / 0.8, recipes)
            counts = random.poisson(rates[:, None], (recipes, 39 + 52))
            seen = set()
            for week in range(39, 91):
                series = [
                    ProblemWeeks(n, None, tuple(map(int, row[: week + 1]))) for n, row in enumerate(counts)
                ]
                seen |= {
                    (one.recipe_id, week - one.weeks) for one in find_spikes(series, recipe_count=recipes)
                }
            alarms += len(seen)
        low, high = (float(bound) for bound in poisson_interval(alarms))
        held &= low / catalogue_years <= 0.25
        print(
            f"  {recipes} recipes, {mean_a_week} reports a week each: {alarms} in {catalogue_years} years, "
            f"{alarms / catalogue_years:.2f} a year "
            f"({low / catalogue_years:.2f}-{high / catalogue_years:.2f}); bound 0.25"
        )
    return held


def poisson_interval(count: int) -> tuple[float, float]:
    """Exact 95 % interval of a Poisson mean (Garwood 1936)."""
    return float(chi2.ppf(0.025, 2 * count) / 2 if count else 0.0), float(chi2.ppf(0.975, 2 * count + 2) / 2)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=200)
    seeds = parser.parse_args().seeds
    began = time.perf_counter()
    good = flags_table(seeds)
    doubling_table(max(seeds // 2, 1))
    good &= alarms_table(max(seeds // 5, 1))
    print(f"\n{'Every bound holds' if good else 'A bound is missed'}; {time.perf_counter() - began:.0f} s.")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
