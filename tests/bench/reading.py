"""How right the reading is on a site that it was not trained on, beside a plain baseline.

`python -m tests.bench.reading` trains on all sites but one and tests on that one, for each site in turn. The
sites are those of `seed_data/messages` and the demo site; the messages of `extra.jsonl` are always trained
on. Thresholds and calibration are chosen inside the training sites. `--corpus FOLDER` reads the sites from
another folder, `--confusions` prints what is still taken for what, `--curve` what hand labels of a new site
bring, `--speed` what reading costs, and `--take FOLDER` copies a newer corpus into `seed_data/messages`
(never its demo site) and encodes it.
"""

import argparse
import shutil
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy import sparse
from sklearn.feature_extraction.text import TfidfVectorizer
from sklearn.linear_model import LogisticRegression
from threadpoolctl import threadpool_limits

from inbox.places import seed_folder
from inbox.reading import kept_rows
from inbox.reading.catalogue_index import CatalogueIndex
from inbox.reading.contextual import encode_sentences
from inbox.reading.evaluate import compare, macro_f1, precision_recall_f1
from inbox.reading.findings import CatalogueRecipe, Labelled, RecipeLink
from inbox.reading.model import ENRICHED, ReadingModel
from inbox.reading.prepared import Prepared, cut_clauses, prepare
from inbox.reading.recipe_link import link_recipe
from inbox.reading.text import plain_text
from inbox.reading.training import load_catalogue, load_labelled
from inbox.words import FAULTS, KINDS, OUTCOMES

DEMO = "dinner"
HAND_LABELS = (50, 100, 200, 400)


def sites_of(corpus: Path | None) -> dict[str, tuple[list[Labelled], list[CatalogueRecipe]]]:
    """Messages and catalogue by site; the demo's come from its own folder where `corpus` has none."""
    folder = corpus or seed_folder() / "messages"
    found = {}
    for path in sorted(folder.glob("*.jsonl")):
        found[path.stem] = (load_labelled(path), load_catalogue(path.with_name(f"{path.stem}_recipes.json")))
    demo = seed_folder() / "demo" / "labels.jsonl"
    if DEMO not in found and demo.is_file():
        found[DEMO] = (_renamed(load_labelled(demo)), load_catalogue(demo.with_name("recipes.json")))
    if corpus and ENRICHED not in found:
        path = seed_folder() / "messages" / f"{ENRICHED}.jsonl"
        found[ENRICHED] = (load_labelled(path), [])
    return found


def _renamed(messages: Sequence[Labelled]) -> list[Labelled]:
    return [replace(message, site=DEMO) for message in messages]


def baseline(train: Sequence[Labelled], test: Sequence[Labelled]) -> dict[str, Any]:
    """TF-IDF of words 1-2 and characters 2-5, logistic regression, 0.5 as threshold."""
    told = [plain_text(message.told) for message in train]
    asked = [plain_text(message.told) for message in test]
    parts = [
        TfidfVectorizer(ngram_range=(1, 2), min_df=2, sublinear_tf=True),
        TfidfVectorizer(analyzer="char_wb", ngram_range=(2, 5), min_df=3, sublinear_tf=True),
    ]
    seen = sparse.hstack([part.fit_transform(told) for part in parts]).tocsr()
    new = sparse.hstack([part.transform(asked) for part in parts]).tocsr()

    def said(truth: Sequence[bool]) -> np.ndarray:
        if not any(truth):
            return np.zeros(len(test), dtype=bool)
        return _regression().fit(seen, truth).predict(new).astype(bool)

    def f1(label: str, field: str) -> float:
        has = [[label in getattr(message, field) for message in messages] for messages in (train, test)]
        return float(precision_recall_f1(np.array(has[1]), said(has[0]))["f1"])

    faults = np.column_stack([said([fault in m.faults for m in train]) for fault in FAULTS])
    truth = np.array([[fault in m.faults for fault in FAULTS] for m in test])
    rows = [row for row, message in enumerate(train) if message.outcome]
    asked_rows = [row for row, message in enumerate(test) if message.outcome]
    outcome = _regression().fit(seen[rows], [train[row].outcome for row in rows]).predict(new[asked_rows])
    hazard = precision_recall_f1(
        np.array([bool(m.hazard) for m in test]), said([bool(m.hazard) for m in train])
    )
    return {
        "kinds": float(np.mean([f1(kind, "kinds") for kind in KINDS])),
        "outcome": macro_f1([test[row].outcome for row in asked_rows], list(outcome), OUTCOMES),
        "faults": float(precision_recall_f1(truth.ravel(), faults.ravel())["f1"]),
        "hazard precision": hazard["precision"],
        "hazard recall": hazard["recall"],
    }


def _regression() -> LogisticRegression:
    return LogisticRegression(C=4, class_weight="balanced", max_iter=500)


class Bench:
    """All messages made ready once, and models trained on some of them."""

    def __init__(self, sites: dict[str, tuple[list[Labelled], list[CatalogueRecipe]]]) -> None:
        self.sites = sites
        self.messages = [message for messages, _ in sites.values() for message in messages]
        self.site = np.array([message.site for message in self.messages])
        self.prepared: Prepared = prepare([m.told for m in self.messages], encoder=kept_rows.encode_known)

    def model(self, rows: Sequence[int]) -> ReadingModel:
        return ReadingModel.train([self.messages[row] for row in rows], prepared=self.prepared.take(rows))

    def figures(
        self, model: ReadingModel, rows: Sequence[int], catalogue: list[CatalogueRecipe]
    ) -> dict[str, Any]:
        test = [self.messages[row] for row in rows]
        index = CatalogueIndex(catalogue)
        links: list[RecipeLink] = [link_recipe(message.told, index) for message in test]
        return compare(test, model.read_prepared(self.prepared.take(rows), links))


def protocol(bench: Bench, names: Sequence[str]) -> None:
    """Each site in turn: ours, the baseline, and the means."""
    ours, plain = [], []
    for name in names:
        train, test = np.flatnonzero(bench.site != name), np.flatnonzero(bench.site == name)
        figures = bench.figures(bench.model(train), test, bench.sites[name][1])
        beside = baseline([bench.messages[row] for row in train], [bench.messages[row] for row in test])
        ours.append(_short(figures))
        plain.append(beside)
        _print_site(name, figures, beside)
    print(f"\nmean over {len(names)} sites" + " " * 18 + "ours  baseline")
    for key in ours[0]:
        base = f"{np.mean([row[key] for row in plain]):8.3f}" if key in plain[0] else ""
        print(f"  {key:34s} {np.mean([row[key] for row in ours]):6.3f} {base}")


def _short(figures: dict[str, Any]) -> dict[str, float]:
    kinds = figures["kinds"]["per_kind"]
    return {
        "kinds": figures["kinds"]["macro_f1"],
        **{f"  {kind}": kinds[kind]["f1"] for kind in KINDS},
        "outcome": figures["outcome"]["macro_f1"],
        "faults": figures["faults"]["micro_f1"],
        "hazard precision": figures["hazards"]["precision"],
        "hazard recall": figures["hazards"]["recall"],
        "recipe accuracy": figures["recipe"]["accuracy"] or 0.0,
        "recipe answered": figures["recipe"]["answered"] or 0.0,
        "calibration error": float(np.mean([one["ece"] for one in figures["calibration"].values()])),
    }


def _print_site(name: str, figures: dict[str, Any], beside: dict[str, Any]) -> None:
    print(f"\n{name}: {figures['messages']} messages")
    for kind, scores in figures["kinds"]["per_kind"].items():
        calibration = figures["calibration"][kind]
        print(
            f"  {kind:9s} precision {scores['precision']:.3f}  recall {scores['recall']:.3f}  "
            f"F1 {scores['f1']:.3f}  of {scores['support']:3d}  Brier {calibration['brier']:.3f}  "
            f"ECE {calibration['ece']:.3f}"
        )
    short = _short(figures)
    for key, value in beside.items():
        print(f"  {key:18s} {short[key]:.3f}   baseline {value:.3f}")


def curve(bench: Bench, names: Sequence[str]) -> None:
    """Other sites plus n hand labels of this one, tested on the rest of it, which is the same for each n."""
    print(f"\nhand labels of the new site{'':12s}kinds  outcome  faults  hazard recall")
    for count in (0, *HAND_LABELS):
        rows_of_figures = []
        for name in names:
            own = np.random.default_rng(0).permutation(np.flatnonzero(bench.site == name))
            own, rest = own[: HAND_LABELS[-1]], own[HAND_LABELS[-1] :]
            train = np.concatenate([np.flatnonzero(bench.site != name), own[:count]])
            short = _short(bench.figures(bench.model(np.sort(train)), rest, []))
            rows_of_figures.append([short[key] for key in ("kinds", "outcome", "faults", "hazard recall")])
        mean = np.mean(rows_of_figures, axis=0)
        print(f"  {count:4d}{'':33s}{mean[0]:.3f}  {mean[1]:.3f}    {mean[2]:.3f}   {mean[3]:.3f}")


def confusions(bench: Bench, names: Sequence[str]) -> None:
    """What is still taken for what, summed over the held-out sites."""
    kinds, outcomes, faults = Counter[str](), Counter[str](), Counter[str]()
    for name in names:
        rows = np.flatnonzero(bench.site == name)
        model = bench.model(np.flatnonzero(bench.site != name))
        readings = model.read_prepared(bench.prepared.take(rows), [RecipeLink(None)] * len(rows))
        for row, reading in zip(rows, readings, strict=True):
            truth = bench.messages[row]
            if truth.kinds != set(reading.kinds):
                kinds[f"{' + '.join(sorted(truth.kinds))} as {' + '.join(sorted(reading.kinds))}"] += 1
            if truth.outcome and reading.outcome and truth.outcome != reading.outcome:
                outcomes[f"{truth.outcome} as {reading.outcome}"] += 1
            faults.update(f"{fault} missed" for fault in truth.faults.difference(reading.faults))
            faults.update(f"{fault} where it is none" for fault in set(reading.faults) - truth.faults)
    for title, counts in (("kinds", kinds), ("outcomes", outcomes), ("faults", faults)):
        print(f"\n{title}: {counts.total()} mistakes on {len(names)} held-out sites, the commonest")
        for what, count in counts.most_common(10):
            print(f"  {count:4d}  {what}")


def speed(bench: Bench) -> None:
    """What reading costs beside the bare encoding, vectorising and predicting of the same model.

    In processor time of one core, so that what else the machine does changes little.
    """
    model = bench.model(range(len(bench.messages)))
    rows = np.flatnonzero(bench.site != ENRICHED)[::3]
    told = [bench.messages[row].told for row in rows]
    ready = bench.prepared.take(rows)
    index = CatalogueIndex([recipe for _, catalogue in bench.sites.values() for recipe in catalogue])
    with threadpool_limits(limits=1):
        encode_sentences(ready.clauses[:50])  # loads the weights
        encoder = _seconds(lambda: encode_sentences(ready.clauses))
        words = _seconds(lambda: prepare(told, encoder=lambda _: (ready.whole, ready.parts)), best_of=3)
        links = [link_recipe(one, index) for one in told]
        linking = _seconds(lambda: [link_recipe(one, index) for one in told], best_of=3)
        after = _seconds(lambda: model.read_prepared(ready, links), best_of=3)
        bare = words + _seconds(lambda: model.score_only(ready), best_of=3)
    without = words + linking + after
    each = 1e6 / len(told)
    print(f"\n{len(told)} messages, {len(index.recipes)} recipes; microseconds a message on one core:")
    print(f"  encoder {encoder * each:.0f}, words and cues {words * each:.0f}, recipe {linking * each:.0f},")
    print(f"  all after these {after * each:.0f}; bare vectorise-and-predict of words {bare * each:.0f}")
    print(f"messages a second on two cores, without the encoder: {2 * len(told) / without:.0f} (bound 2000)")
    print(f"messages a second on two cores, with the encoder:    {2 * len(told) / (without + encoder):.0f}")
    print(
        f"ratio to the bare vectorise-and-predict: {(without + encoder) / (bare + encoder):.2f} (bound 1.5)"
    )
    print(f"the same where neither has the encoder:  {without / bare:.2f}")
    wall = time.perf_counter()
    processor = _seconds(lambda: bench.model(range(len(bench.messages))))
    wall = time.perf_counter() - wall
    print(
        f"training on {len(bench.messages)} messages, rows kept: {processor:.1f} s of the processor, ", end=""
    )
    print(f"{wall:.1f} s by the clock (bound 20)")


def _seconds(do: Callable[[], Any], *, best_of: int = 1) -> float:
    """Processor time of all threads; of several runs the shortest, since a disturbed one is no measure."""
    taken = []
    for _ in range(best_of):
        start = time.process_time()
        do()
        taken.append(time.process_time() - start)
    return min(taken)


def take(corpus: Path) -> None:
    """Copy a corpus into `seed_data/messages`, without the demo site, and encode what is new."""
    target = seed_folder() / "messages"
    for path in sorted([*corpus.glob("*.jsonl"), *corpus.glob("*_recipes.json")]):
        if not path.name.startswith(DEMO):
            load_labelled(path) if path.suffix == ".jsonl" else load_catalogue(path)
            shutil.copyfile(path, target / path.name)
            print(f"took {path.name}")
    messages = [message for path in sorted(target.glob("*.jsonl")) for message in load_labelled(path)]
    kept_rows.keep(
        seed_folder() / "encoder" / "rows.npz", cut_clauses([message.told for message in messages])
    )
    print(f"encoded {len(messages)} messages")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--corpus", type=Path, metavar="FOLDER")
    parser.add_argument("--site", action="append", help="only this site; may be given more than once")
    parser.add_argument("--confusions", action="store_true")
    parser.add_argument("--curve", action="store_true")
    parser.add_argument("--speed", action="store_true")
    parser.add_argument("--take", type=Path, metavar="FOLDER")
    given = parser.parse_args()
    if given.take:
        return take(given.take)
    bench = Bench(sites_of(given.corpus))
    names = given.site or [name for name in bench.sites if name != ENRICHED]
    if given.curve:
        curve(bench, names)
    elif given.confusions:
        confusions(bench, names)
    elif given.speed:
        speed(bench)
    else:
        protocol(bench, names)
    return None


if __name__ == "__main__":
    main()
