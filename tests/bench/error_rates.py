"""How wrong the reading is on a site it was not trained on: `python -m tests.bench.error_rates [--write]`.

Each of the four training sites is read by a model trained on the other three. What comes out feeds the
simulations (`tests.bench.demand`, `tests.bench.health`): the probability of failure that the model gives to
reports that failed and to those that did not, and how many problems and requests it finds. --write keeps it
in error_rates.json; run it again whenever the reading changes.
"""

import argparse
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from inbox.places import seed_folder
from inbox.ranking.health import BASE_SHARE
from inbox.ranking.stats import Floats, wilson
from inbox.reading.model import ReadingModel
from inbox.reading.training import load_catalogue, load_labelled

HAND_LABELLED = 0.05
"""Share of the reports that a person labels (chosen)."""

KEPT = Path(__file__).with_name("error_rates.json")
SITES = ("bread", "plant", "sweets", "world")


def measure() -> dict[str, object]:
    """Read each site by a model of the others."""
    folder = seed_folder() / "messages"
    sites = {site: load_labelled(folder / f"{site}.jsonl") for site in SITES}
    failed, not_failed = [], []
    requests, problems, other_reports = np.zeros(3, int), np.zeros(3, int), 0
    for site, messages in sites.items():
        others = [one for name, rows in sites.items() if name != site for one in rows]
        model = ReadingModel.train(others)
        readings = model.read([one.told for one in messages], load_catalogue(folder / f"{site}_recipes.json"))
        for message, reading in zip(messages, readings, strict=True):
            if message.outcome and reading.outcome:
                (failed if message.outcome == "failed" else not_failed).append(
                    round(reading.outcome_probabilities["failed"], 4)
                )
            truth, said = "request" in message.kinds, "request" in reading.kinds
            requests += [truth and said, truth and not said, said and not truth]
            if {"problem", "made_it"} & set(message.kinds):
                truth, said = "problem" in message.kinds, "problem" in reading.kinds
                problems += [truth and said, truth and not said, said and not truth]
                other_reports += not truth
    return {
        "failed": sorted(failed),
        "not_failed": sorted(not_failed),
        "failed_share": len(failed) / (len(failed) + len(not_failed)),
        "requests_found": int(requests[0]),
        "requests_missed": int(requests[1]),
        "requests_imagined": int(requests[2]),
        "problems_found": int(problems[0]),
        "problems_missed": int(problems[1]),
        "problems_imagined": int(problems[2]),
        "other_reports": int(other_reports),
    }


@dataclass(frozen=True)
class Reading:
    """Measured probabilities of failure, by what the report truly says."""

    failed: Floats
    other: Floats

    def read(self, truth: np.ndarray, random: np.random.Generator) -> Floats:
        """Probability that the reading, or a person's label, gives to each report."""
        said = np.where(truth, random.choice(self.failed, len(truth)), random.choice(self.other, len(truth)))
        return np.where(random.random(len(truth)) < HAND_LABELLED, truth.astype(float), said)


PERFECT = Reading(np.ones(1), np.zeros(1))


def measured() -> Reading:
    """The reading as measured last."""
    rates = kept()
    return Reading(np.array(rates["failed"]), np.array(rates["not_failed"]))


def fitting_base_share(reading: Reading) -> float:
    """Base share with which the likeliest share of all measured reports is the true one.

    The reading's probabilities are a little too low or too high on a site it has not seen. With this base the
    likelihood of `ranking.shares` comes out right on the average over the measured sites.
    """
    said = np.concatenate([reading.failed, reading.other])
    truly = len(reading.failed) / len(said)

    def slope(base: float) -> float:
        ratio = said * (1 - base) / ((1 - said) * base)
        return float(((ratio - 1) / (1 + truly * (ratio - 1))).sum())

    return float(brentq(slope, 0.01, 0.9))


def kept() -> dict[str, object]:
    """What was measured last."""
    loaded: dict[str, object] = json.loads(KEPT.read_text(encoding="utf-8"))
    return loaded


def counts(rates: dict[str, object], of: str) -> tuple[int, int, int]:
    """How many "requests" or "problems" were found, missed and imagined."""
    found, missed, imagined = (int(str(rates[f"{of}_{name}"])) for name in ("found", "missed", "imagined"))
    return found, missed, imagined


def show(rates: dict[str, object]) -> None:
    failed, other = np.array(rates["failed"]), np.array(rates["not_failed"])
    found, missed, imagined = counts(rates, "requests")
    problems, unseen, blamed = counts(rates, "problems")
    for name, hits, total in (
        ("failed reports with probability 0.5 or more", (failed >= 0.5).sum(), len(failed)),
        ("other reports with probability 0.5 or more", (other >= 0.5).sum(), len(other)),
        ("requests found", found, found + missed),
        ("said to be requests and are", found, found + imagined),
        ("problems found", problems, problems + unseen),
        ("other reports taken for problems", blamed, int(str(rates["other_reports"]))),
    ):
        low, high = wilson(hits, total)
        print(f"{name:<45} {hits:4d} of {total:4d}  {hits / total:.3f}  ({float(low):.3f}-{float(high):.3f})")
    print(f"mean probability of failure: failed {failed.mean():.3f}, others {other.mean():.3f}")
    print(f"share of failed reports {len(failed) / (len(failed) + len(other)):.3f}")
    print(f"base share that fits: {fitting_base_share(Reading(failed, other)):.3f}; in use {BASE_SHARE}")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--write", action="store_true", help="keep what was measured for the simulations")
    rates = measure()
    show(rates)
    if parser.parse_args().write:
        KEPT.write_text(json.dumps(rates) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
