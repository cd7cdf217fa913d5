"""How wrong the reading is on a site it was not trained on: `python -m tests.bench.error_rates [--write]`.

Each of the four training sites is read by a model trained on the other three. What comes out feeds the
simulations (`tests.bench.demand`, `tests.bench.health`): the probability of failure that the model gives to
reports that failed and to those that did not, and how many requests it finds. --write keeps it in
error_rates.json; run it again whenever the reading changes.
"""

import argparse
import json
from pathlib import Path

import numpy as np

from inbox.places import seed_folder
from inbox.ranking.stats import wilson
from inbox.reading.model import ReadingModel
from inbox.reading.training import load_catalogue, load_labelled

KEPT = Path(__file__).with_name("error_rates.json")
SITES = ("bread", "plant", "sweets", "world")


def measure() -> dict[str, object]:
    """Read each site by a model of the others."""
    folder = seed_folder() / "messages"
    sites = {site: load_labelled(folder / f"{site}.jsonl") for site in SITES}
    failed, not_failed, requests = [], [], np.zeros(3, int)
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
    labelled = [one for rows in sites.values() for one in rows]
    outcomes = [one.outcome for one in labelled if one.outcome]
    return {
        "failed": sorted(failed),
        "not_failed": sorted(not_failed),
        "failed_share_in_training": outcomes.count("failed") / len(outcomes),
        "requests_found": int(requests[0]),
        "requests_missed": int(requests[1]),
        "requests_imagined": int(requests[2]),
    }


def kept() -> dict[str, object]:
    """What was measured last."""
    loaded: dict[str, object] = json.loads(KEPT.read_text(encoding="utf-8"))
    return loaded


def show(rates: dict[str, object]) -> None:
    failed, other = np.array(rates["failed"]), np.array(rates["not_failed"])
    found, missed, imagined = (
        int(str(rates[f"requests_{name}"])) for name in ("found", "missed", "imagined")
    )
    for name, hits, total in (
        ("failed reports with probability 0.5 or more", (failed >= 0.5).sum(), len(failed)),
        ("other reports with probability 0.5 or more", (other >= 0.5).sum(), len(other)),
        ("requests found", found, found + missed),
        ("said to be requests and are", found, found + imagined),
    ):
        low, high = wilson(hits, total)
        print(f"{name:<45} {hits:4d} of {total:4d}  {hits / total:.3f}  ({float(low):.3f}-{float(high):.3f})")
    print(f"mean probability of failure: failed {failed.mean():.3f}, others {other.mean():.3f}")


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
