"""Does the ranking of what to develop find what people will want? `python -m tests.bench.demand [--seeds N]`

Invented communities with known demand. 150 things might be asked for; how often differs widely (gamma). What
is known is what was asked for in the last 26 or 52 weeks; what is wanted is how many people will ask in the
six weeks to come.

- steady: readers come at random moments (Poisson); one in five writes about it more than once, in all
  settings;
- fans: one thing in four has a fan or two who ask again and again;
- changing: the demand of each thing wanders about its own level from week to week;
- seasons: half of the things belong to one of five occasions and are mostly asked for before it; how much so
  is drawn for each thing, and is not what the ranking takes for granted;
- misread: as steady, but requests are missed, and other messages about a thing are taken for requests, as
  measured (error_rates.json);
- all of it together.

Rivals: raw count (all requests ever), last month (requests of the last 28 days), most recent (the newest
request first). All see the same messages. Gain of a place is the true demand of what stands there, discounted
by the logarithm of the place (Jarvelin and Kekalainen 2002, with log2(place + 1)); regret is the share of the
demand of the best five that the chosen five leave. The interval that is checked holds the rate with
probability 0.8: its true coverage should lie between 75 and 85 %.
"""

import argparse
import sys
import time
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from inbox.ranking.demand import ThemeVoices, rank
from inbox.ranking.season import Season
from inbox.ranking.stats import Floats
from inbox.ranking.voices import Voice
from tests.bench.error_rates import counts, kept

ON = date(2027, 1, 20)
THINGS = 150
LEVEL, NO_WORSE = ("steady", "misread"), 0.005
"""Settings in which demand never changes, so that the count of all requests tells all there is to know: there
ours must be at most this much behind the raw count, and ahead of everything in all others."""
AHEAD_DAYS = 42
LEAD_DAYS = 42
FIRST = 5
WRITES_AGAIN = 0.25
"""Mean number of further messages of a reader about the same wish, within two weeks (chosen)."""
SURE = 4.0
"""First parameter of the beta distribution of the probabilities that the reading gives (chosen); the other
follows from how many of its requests are none."""
SETTINGS = ("steady", "fans", "changing", "seasons", "misread", "all")
OCCASIONS = {
    "easter": (date(2026, 4, 5), date(2027, 3, 28)),
    "valentines": (date(2026, 2, 14), date(2027, 2, 14)),
    "christmas": (date(2025, 12, 25), date(2026, 12, 25)),
    "halloween": (date(2026, 10, 31), date(2027, 10, 31)),
    "mothers_day": (date(2026, 3, 15), date(2027, 3, 7)),
}


@dataclass(frozen=True)
class Community:
    """Requests as they were read, and the truth: people to come in the next six weeks, and today's rate a
    day."""

    themes: list[ThemeVoices]
    coming: Floats
    rate: Floats
    seasonal: np.ndarray
    days: int


def invent(setting: str, random: np.random.Generator, rates: dict[str, object]) -> Community:
    """Draw a community and what its readers wrote."""
    days = int(random.choice([182, 364]))
    chosen = {setting} if setting != "all" else set(SETTINGS)
    base = random.gamma(0.6, 0.02 / 0.6 * random.choice([1.0, 3.0, 10.0]), THINGS)
    drift = np.zeros((THINGS, days + AHEAD_DAYS))
    if "changing" in chosen:
        drift = _wandering((days + AHEAD_DAYS) // 7, random)[:, : days + AHEAD_DAYS]
    daily = base[:, None] * np.exp(drift)
    codes: list[str | None] = [None] * THINGS
    if "seasons" in chosen:
        for thing in range(0, THINGS, 2):
            code = str(random.choice(list(OCCASIONS)))
            codes[thing] = code
            daily[thing] *= _of_season(OCCASIONS[code], random.uniform(0.3, 0.95), days)
    asked = random.poisson(daily[:, :days])
    themes = []
    for thing in range(THINGS):
        voices = _voices(asked[thing], daily[thing, :days], thing, chosen, random, rates)
        if voices:
            themes.append((thing, ThemeVoices(thing, tuple(voices), codes[thing])))
    known = [thing for thing, _ in themes]
    return Community(
        [theme for _, theme in themes],
        daily[known][:, days:].sum(axis=1),
        daily[known][:, days - 1],
        np.array([codes[thing] is not None for thing in known], bool),
        days,
    )


def _wandering(weeks: int, random: np.random.Generator) -> Floats:
    """Logarithm of each thing's demand on each day, about its own level: half of a change is gone in 13
    weeks."""
    stays, spread = 2 ** (-1 / 13), 0.6
    level = random.normal(0, spread, THINGS)
    path = []
    for _ in range(weeks):
        path.append(level)
        level = stays * level + random.normal(0, spread * np.sqrt(1 - stays**2), THINGS)
    return np.repeat(np.stack(path, axis=1), 7, axis=1)


def _of_season(occasion: tuple[date, ...], inside: float, days: int) -> Floats:
    """Intensity, mean 1 over a year, of a thing with that share of its requests in the weeks before."""
    first = ON - timedelta(days=days - 1)
    level = np.full(days + AHEAD_DAYS, (1 - inside) * 365 / (365 - LEAD_DAYS))
    for day in occasion:
        end = (day - first).days + 1
        level[max(end - LEAD_DAYS - 1, 0) : max(end, 0)] = inside * 365 / (LEAD_DAYS + 1)
    return level


def _voices(
    asked: np.ndarray,
    expected: Floats,
    thing: int,
    chosen: set[str],
    random: np.random.Generator,
    rates: dict[str, object],
) -> list[Voice]:
    """Requests for one thing as they were read."""
    found, missed, imagined = counts(rates, "requests")
    doubt = SURE * imagined / found
    days = len(asked)
    first = ON - timedelta(days=days - 1)
    misread = "misread" in chosen
    voices: list[Voice] = []
    for day in np.repeat(np.arange(days), asked):
        if misread and random.random() < missed / (found + missed):
            continue
        reader, weight = (
            f"{thing}-{day}-{len(voices)}",
            float(random.beta(SURE + 1, doubt)) if misread else 1.0,
        )
        for later in (0, *random.integers(1, 15, random.poisson(WRITES_AGAIN))):
            on = min(first + timedelta(days=int(day + later)), ON)
            voices.append(Voice(reader, on, weight))
    if misread:
        taken_for_one = random.poisson(expected * found / (found + missed) * imagined / found)
        for day in np.repeat(np.arange(days), taken_for_one):
            # No request, but taken for one. Probabilities from Beta(SURE, doubt) that come true as often as
            # they say are Beta(SURE + 1, doubt) where it is one, and Beta(SURE, doubt + 1) where it is none.
            weight = float(random.beta(SURE, doubt + 1))
            voices.append(Voice(f"{thing}-no-{day}-{len(voices)}", first + timedelta(days=int(day)), weight))
    if "fans" in chosen and random.random() < 0.25 and voices:
        for fan in range(int(random.integers(1, 3))):
            for day in random.integers(0, days, random.poisson(days / 20)):
                voices.append(Voice(f"{thing}-fan-{fan}", first + timedelta(days=int(day))))
    return voices


def ours(community: Community, found_share: float) -> tuple[list[int], np.ndarray]:
    """Order of the themes, and whether the interval of each rate holds the true one."""
    seasons = [Season(code, code, day, day) for code, days in OCCASIONS.items() for day in days]
    ranked = rank(
        community.themes,
        on=ON,
        observed_from=ON - timedelta(days=community.days - 1),
        seasons=seasons,
        lead_days=LEAD_DAYS,
        found_share=found_share,
        draws=100,
    )
    row_of = {theme.theme_id: row for row, theme in enumerate(community.themes)}
    order = [row_of[one.theme_id] for one in ranked]
    held = np.zeros(len(order), bool)
    for one in ranked:
        row = row_of[one.theme_id]
        held[row] = one.rate_low <= community.rate[row] * 7 <= one.rate_high
    return order, held


def by(key: object, community: Community) -> list[int]:
    """Rows in the order of a rival."""
    today = ON.toordinal()
    ages = [[today - voice.received_on.toordinal() for voice in theme.voices] for theme in community.themes]
    score = {
        "raw count": [len(one) for one in ages],
        "last month": [sum(age < 28 for age in one) for one in ages],
        "most recent": [-min(one) for one in ages],
    }[str(key)]
    return list(np.argsort(-np.array(score), kind="stable"))


RIVALS = ("raw count", "last month", "most recent")


def ndcg(gains: Floats, order: list[int]) -> float:
    """Normalised discounted cumulated gain of the first five places."""
    discount = 1 / np.log2(np.arange(2, FIRST + 2))
    best = np.sort(gains)[::-1][:FIRST]
    return float(gains[order[:FIRST]] @ discount[: len(order[:FIRST])] / (best @ discount[: len(best)]))


def regret(gains: Floats, order: list[int]) -> float:
    """Share of the demand of the best five that the chosen five leave."""
    return float(1 - gains[order[:FIRST]].sum() / np.sort(gains)[::-1][:FIRST].sum())


def interval(values: np.ndarray) -> tuple[float, float]:
    """95 % bootstrap interval of a mean over the seeds."""
    random = np.random.default_rng(1)
    means = values[random.integers(0, len(values), (2000, len(values)))].mean(axis=1)
    return float(np.quantile(means, 0.025)), float(np.quantile(means, 0.975))


def run(setting: str, seeds: int, rates: dict[str, object]) -> bool:
    """Print one setting; True where ours is ahead of each rival and the intervals cover as they should."""
    found, missed, _ = counts(rates, "requests")
    found_share = found / (found + missed) if setting in ("misread", "all") else 1.0
    scores: dict[str, list[tuple[float, float]]] = {name: [] for name in ("ours", *RIVALS)}
    held, ordinary = [], []
    for seed in range(seeds):
        community = invent(setting, np.random.default_rng([seed, SETTINGS.index(setting)]), rates)
        if len(community.themes) <= FIRST:
            continue
        order, inside = ours(community, found_share)
        orders = {"ours": order, **{name: by(name, community) for name in RIVALS}}
        for name, one in orders.items():
            scores[name].append((ndcg(community.coming, one), regret(community.coming, one)))
        held.append(inside.mean())
        ordinary.append(inside[~community.seasonal].mean())
    print(f"\n{setting}: {len(held)} communities")
    mine = np.array(scores["ours"])
    good = True
    for name, pairs in scores.items():
        values = np.array(pairs)
        ahead = ""
        if name != "ours":
            low, high = interval(mine[:, 0] - values[:, 0])
            good &= low > (-NO_WORSE if name == "raw count" and setting in LEVEL else 0)
            ahead = f"   ours ahead by {(mine[:, 0] - values[:, 0]).mean():+.3f} ({low:+.3f} to {high:+.3f})"
        print(f"  {name:<12} NDCG@5 {values[:, 0].mean():.3f}   regret {values[:, 1].mean():.3f}{ahead}")
    cover, (low, high) = float(np.mean(ordinary)), interval(np.array(ordinary))
    good &= 0.75 <= cover <= 0.85
    print(f"  80 % interval holds the rate: {cover:.3f} ({low:.3f}-{high:.3f}), bound 0.75-0.85")
    return good


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=200)
    seeds, began = parser.parse_args().seeds, time.perf_counter()
    outcome = {setting: run(setting, seeds, kept()) for setting in SETTINGS}
    missed = [setting for setting, good in outcome.items() if not good]
    print(f"\nBounds missed in: {', '.join(missed) or 'none'}; {time.perf_counter() - began:.0f} s.")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
