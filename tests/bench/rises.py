"""How soon a rise of problem reports is seen, and how often one is seen that is none.

`python -m tests.bench.rises [--seeds N] [--choose]`

False alarms: catalogues where no recipe ever changes its rate, watched week by week for a year. Rates differ
widely (gamma), each recipe has its own mix of faults, the whole site has busy weeks, and every second recipe
is edited once in the year, which changes nothing. An alarm that was off the week before counts as one.

Delay: a recipe whose problem reports are twice or four times as many from one week on. The reading finds and
imagines problems as measured (error_rates.json), so that less than the whole rise arrives.

Revisions: the share of failed reports doubles, halves or stays after an edit, and `revisions.compare` is
looked at every week for half a year. --choose prints, on seeds that are kept for choosing, how often a claim
is made at some time although nothing changed, for each probability from which a claim might be made.
"""

import argparse
import sys
import time
from datetime import date, timedelta

import numpy as np
from scipy.stats import chi2

from inbox.ranking.health import FEWEST_READERS, Report
from inbox.ranking.revisions import SURE, compare
from inbox.ranking.spikes import YEARS_BETWEEN_FALSE_ALARMS, ProblemWeeks, find_spikes
from inbox.words import FAULTS
from tests.bench.error_rates import Reading, counts, kept, measured

KEPT_FOR_CHOOSING = 10_000
"""Seeds from here on are for choosing, those below for measuring."""

HISTORY, WATCHED = 39, 52
"""Weeks before the looks begin, and weeks in which somebody looks."""

SHARE_BEFORE, WEEKS_BEFORE, WEEKS_AFTER = 0.15, 39, 26
FALSE_CLAIMS_BOUND = 0.05


def quiet_year(
    recipes: int, mean_a_week: float, random: np.random.Generator
) -> tuple[list[ProblemWeeks], list[float]]:
    """Problem reports of a catalogue where nothing changes, and how busy each week was."""
    weeks = HISTORY + WATCHED
    busy = 1 + 0.3 * np.sin(2 * np.pi * (np.arange(weeks) / 52 + random.random()))
    busy[HISTORY + 20 : HISTORY + 26] *= 1.6
    rates = random.gamma(0.8, mean_a_week / 0.8, recipes)
    numbers = random.poisson(rates[:, None] * busy)
    all_reports = numbers.sum(axis=0) + random.poisson(3 * rates.sum() * busy)
    series = []
    for recipe, of_recipe in enumerate(numbers):
        edited = int(random.integers(HISTORY, weeks)) if random.random() < 0.5 else 0
        series.append((ProblemWeeks(recipe, None, tuple(map(int, of_recipe))), edited))
        of_faults = random.multinomial(of_recipe, random.dirichlet(np.full(len(FAULTS), 0.08)))
        for fault, told in zip(FAULTS, of_faults.T, strict=True):
            if told.any():
                series.append((ProblemWeeks(recipe, fault, tuple(map(int, told))), edited))
    return series, [float(number) for number in all_reports / all_reports.mean()]


def spikes_at(
    series: list[tuple[ProblemWeeks, int]], week: int, busy: list[float], recipes: int
) -> set[tuple[int, str | None]]:
    """Recipes, and faults of recipes, that are called a rise when looked at in that week."""
    seen = []
    for one, edited in series:
        told = one.counts[: week + 1]
        if any(told):
            anew = edited if edited <= week else 0
            seen.append(ProblemWeeks(one.recipe_id, one.fault, told, starts_anew=anew))
    found = find_spikes(seen, recipe_count=recipes, volume=busy[: week + 1])
    return {(spike.recipe_id, spike.fault) for spike in found}


def alarms_table(years: int) -> bool:
    """False alarms where nothing changes; True if they are as rare as set."""
    bound = 1 / (2 * YEARS_BETWEEN_FALSE_ALARMS)
    print(
        f"\nFalse alarms where nothing changes, set to one in {YEARS_BETWEEN_FALSE_ALARMS:g} years over the"
        f" catalogue, half for recipes and half for faults: {bound:.2f} a year each"
    )
    held = True
    for recipes, mean_a_week in ((30, 1.0), (300, 0.3)):
        alarms = {"recipes": 0, "faults": 0}
        for seed in range(years):
            series, busy = quiet_year(recipes, mean_a_week, np.random.default_rng([seed, recipes]))
            before: set[tuple[int, str | None]] = set()
            for week in range(HISTORY, HISTORY + WATCHED):
                now = spikes_at(series, week, busy, recipes)
                for _, fault in now - before if week > HISTORY else ():
                    alarms["faults" if fault else "recipes"] += 1
                before = now
        for level, count in alarms.items():
            low, high = (float(edge) / years for edge in poisson_interval(count))
            held &= count / years <= bound
            print(
                f"  {recipes:>3} recipes, {mean_a_week} problem reports a week each, {level:<7}: {count} in"
                f" {years} years, {count / years:.2f} a year ({low:.2f}-{high:.2f})"
            )
    return held


def poisson_interval(count: int) -> tuple[float, float]:
    """Exact 95 % interval of a Poisson mean (Garwood 1936)."""
    return float(chi2.ppf(0.025, 2 * count) / 2 if count else 0.0), float(chi2.ppf(0.975, 2 * count + 2) / 2)


def delays_table(seeds: int) -> None:
    """Weeks until a recipe that fails more often from one week on is seen."""
    rates = kept()
    found, missed, imagined = counts(rates, "problems")
    finds, blames = found / (found + missed), imagined / int(str(rates["other_reports"]))
    cases = [(rate, times) for times in (2, 4) for rate in (0.2, 0.5, 1.5, 5.0, 15.0)]
    first = np.full((seeds, len(cases)), 99)
    for seed in range(seeds):
        random = np.random.default_rng([seed, 7])
        series, busy = quiet_year(300, 0.3, random)
        series = [(one, edited) for one, edited in series if one.fault is None]
        for number, (rate, times) in enumerate(cases, start=1000):
            others = rate * (1 - SHARE_BEFORE) / SHARE_BEFORE
            rose = np.where(np.arange(HISTORY + WATCHED) < HISTORY, 1, times)
            told = random.poisson((rate * rose * finds + others * blames) * busy)
            series.append((ProblemWeeks(number, None, tuple(map(int, told))), 0))
        for week in range(WEEKS_AFTER):
            for recipe, _ in spikes_at(series, HISTORY + week, busy, 300):
                if recipe >= 1000:
                    first[seed, recipe - 1000] = min(first[seed, recipe - 1000], week + 1)
    print("\nProblem reports of a recipe rise from one week on (catalogue of 300, read as measured)")
    print(
        f"  {'a week before':>15}{'times as many':>15}{'median week':>13}{'in 4':>7}{'in 13':>7}{'in 26':>7}"
    )
    for (rate, times), weeks in zip(cases, first.T, strict=True):
        within = "".join(f"{np.mean(weeks <= span):>7.0%}" for span in (4, 13, WEEKS_AFTER))
        print(f"  {rate:>15}{times:>15}{in_words(float(np.median(weeks))):>13}{within}")


def in_words(week: float) -> str:
    return "never" if week > WEEKS_AFTER else f"{week:.0f}"


def edited(
    before: float, after: float, a_week: int, reading: Reading, random: np.random.Generator
) -> list[Report]:
    """Nine months at one share of failed reports, then half a year at another; a report is a reader."""
    reports = []
    for week in range(WEEKS_BEFORE + WEEKS_AFTER):
        truth = random.random(random.poisson(a_week)) < (after if week >= WEEKS_BEFORE else before)
        on = EDITED_ON + timedelta(weeks=week - WEEKS_BEFORE)
        said = reading.read(truth, random)
        reports += [Report(f"{week}-{place}", on, float(one)) for place, one in enumerate(said)]
    return reports


EDITED_ON = date(2026, 1, 5)


def looks(reports: list[Report]) -> list[tuple[float, bool]]:
    """Week by week since the edit: probability that the share fell, and whether enough readers reported."""
    before = [one for one in reports if one.received_on < EDITED_ON]
    seen = []
    for week in range(1, WEEKS_AFTER + 1):
        until = EDITED_ON + timedelta(weeks=week)
        after = [one for one in reports if EDITED_ON <= one.received_on < until]
        effect = compare(before, after)
        enough = min(effect.before_readers, effect.after_readers) >= FEWEST_READERS
        seen.append((effect.fell_probability, enough))
    return seen


def first_claim(seen: list[tuple[float, bool]], sure: float, *, better: bool) -> int:
    """Week in which it is first said to be better, or worse; 99 for never."""
    for week, (fell, enough) in enumerate(seen, start=1):
        if enough and (fell if better else 1 - fell) >= sure:
            return week
    return 99


def revisions_table(seeds: int) -> bool:
    """How soon a change is seen that did something, and how often one that did nothing is given a claim."""
    reading, held = measured(), True
    print(f"\nRevisions, looked at every week for half a year; a claim is made from {SURE} on")
    print(
        f"  {'share':<14}{'reports a week':>15}{'median week':>13}{'called better':>15}{'called worse':>14}"
    )
    for before, after in ((0.15, 0.30), (0.30, 0.15), (0.15, 0.15), (0.30, 0.30)):
        for a_week in (3, 10, 30):
            cases = [
                looks(edited(before, after, a_week, reading, np.random.default_rng([seed, a_week])))
                for seed in range(seeds)
            ]
            better, worse = (
                np.array([first_claim(seen, SURE, better=side) for seen in cases]) for side in (True, False)
            )
            if before == after:
                held &= max(np.mean(better < 99), np.mean(worse < 99)) <= FALSE_CLAIMS_BOUND
            median = (
                "" if before == after else in_words(float(np.median(better if after < before else worse)))
            )
            print(
                f"  {f'{before:.2f} to {after:.2f}':<14}{a_week:>15}{median:>13}"
                f"{np.mean(better < 99):>15.1%}{np.mean(worse < 99):>14.1%}"
            )
    print(f"  bound for either claim where nothing changed: {FALSE_CLAIMS_BOUND:.0%}")
    return held


def choose_sure(seeds: int) -> None:
    """How often either claim is made at some time although nothing changed, by when it is made."""
    reading = measured()
    sures = (0.95, 0.975, 0.98, 0.985, 0.99, 0.9925, 0.995)
    print(
        f"\nClaims where nothing changed, seeds from {KEPT_FOR_CHOOSING} on; better / worse, by probability"
    )
    print(f"  {'share':>6}{'reports a week':>16}" + "".join(f"{sure:>16}" for sure in sures))
    for share in (0.15, 0.30):
        for a_week in (3, 10, 30):
            cases = [
                looks(
                    edited(
                        share,
                        share,
                        a_week,
                        reading,
                        np.random.default_rng([KEPT_FOR_CHOOSING + seed, a_week]),
                    ),
                    reading,
                )
                for seed in range(seeds)
            ]
            sides = [
                [
                    np.mean([first_claim(seen, sure, better=side) < 99 for seen in cases])
                    for side in (True, False)
                ]
                for sure in sures
            ]
            cells = "".join(f"{f'{better:.1%} / {worse:.1%}':>16}" for better, worse in sides)
            print(f"  {share:>6}{a_week:>16}{cells}", flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--choose", action="store_true", help="look at the seeds that are kept for choosing")
    given = parser.parse_args()
    began = time.perf_counter()
    if given.choose:
        choose_sure(given.seeds)
        return 0
    good = alarms_table(max(given.seeds // 2, 1))
    delays_table(max(given.seeds // 2, 1))
    good &= revisions_table(given.seeds)
    print(f"\n{'Every bound holds' if good else 'A bound is missed'}; {time.perf_counter() - began:.0f} s.")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
