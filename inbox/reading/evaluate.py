"""How right a model is on messages that people have labelled.

The program is told the page that a message was sent from, never the recipe. Start with `evaluate`.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sklearn.metrics import adjusted_rand_score, v_measure_score

from inbox.reading.findings import CatalogueRecipe, Labelled, Reading
from inbox.reading.model import ReadingModel
from inbox.words import FAULTS, KINDS, OUTCOMES

BINS: Final = 10
"""Equal bins of the calibration error (Guo et al. 2017 use 15, on sets a hundred times larger)."""

Group = Callable[[Sequence[Labelled]], Sequence[object]]
"""Puts requests into themes: one theme's key for each request."""


def evaluate(
    model: ReadingModel,
    labelled: Sequence[Labelled],
    catalogue: Sequence[CatalogueRecipe],
    *,
    group: Group | None = None,
) -> dict[str, Any]:
    """Read `labelled` and compare with what people said.

    Parameters
    ----------
    model : ReadingModel
        Not trained on these messages.
    labelled : sequence of Labelled
    catalogue : sequence of CatalogueRecipe
        The recipes that the messages speak of.
    group : callable, optional
        Themes stand a floor above, so the caller brings the grouping; without it that part is None.

    Returns
    -------
    dict
        Keys as described in DEVELOPERS.md, "evaluate"; all figures from 0 to 1, None where nothing can be
        counted. Outcome is judged on the messages whose label has one; where the program says none, its
        likeliest one counts, since whether the message is a made-it report is judged under kinds.
    """
    return compare(labelled, model.read([message.told for message in labelled], catalogue), group=group)


def compare(
    labelled: Sequence[Labelled], readings: Sequence[Reading], *, group: Group | None = None
) -> dict[str, Any]:
    """As `evaluate`, of messages that were read before."""
    return {
        "messages": len(labelled),
        "kinds": _kinds(labelled, readings),
        "outcome": _outcome(labelled, readings),
        "faults": _faults(labelled, readings),
        "hazards": _hazards(labelled, readings),
        "recipe": _recipe(labelled, readings),
        "themes": _themes(labelled, group),
        "calibration": _calibration(labelled, readings),
    }


def precision_recall_f1(truth: NDArray[np.bool_], said: NDArray[np.bool_]) -> dict[str, Any]:
    """Precision, recall and F1 of one label, and how many have it; 0 where a denominator is 0."""
    both = int((truth & said).sum())
    precision = both / int(said.sum()) if said.any() else 0.0
    recall = both / int(truth.sum()) if truth.any() else 0.0
    f1 = 2 * precision * recall / (precision + recall) if both else 0.0
    return {"precision": precision, "recall": recall, "f1": f1, "support": int(truth.sum())}


def brier(truth: NDArray[np.bool_], probabilities: NDArray[np.float64]) -> float:
    """Mean squared difference between probability and event, one class (half of Brier's 1950 sum)."""
    return float(np.mean((probabilities - truth) ** 2))


def calibration_error(
    truth: NDArray[np.bool_], probabilities: NDArray[np.float64], *, bins: int = BINS
) -> float:
    """Expected calibration error over equal bins (Guo, Pleiss, Sun, Weinberger 2017, eq. 3), one class."""
    places = np.minimum((probabilities * bins).astype(int), bins - 1)
    total = 0.0
    for place in range(bins):
        inside = places == place
        if inside.any():
            total += inside.mean() * abs(truth[inside].mean() - probabilities[inside].mean())
    return float(total)


def bcubed_f1(truth: Sequence[object], said: Sequence[object]) -> float:
    """Harmonic mean of B-cubed precision and recall (Bagga and Baldwin 1998), each item weighing the same."""
    same_truth = np.array([[a == b for b in truth] for a in truth])
    same_said = np.array([[a == b for b in said] for a in said])
    both = (same_truth & same_said).sum(axis=1)
    precision = float(np.mean(both / same_said.sum(axis=1)))
    recall = float(np.mean(both / same_truth.sum(axis=1)))
    return 2 * precision * recall / (precision + recall)


def macro_f1(truth: Sequence[object], said: Sequence[object], labels: Iterable[object]) -> float:
    """Mean F1 over `labels` that occur in the truth or were said."""
    scores = []
    for label in labels:
        has = np.array([entry == label for entry in truth])
        gets = np.array([entry == label for entry in said])
        if has.any() or gets.any():
            scores.append(precision_recall_f1(has, gets)["f1"])
    return float(np.mean(scores)) if scores else 0.0


def _kinds(labelled: Sequence[Labelled], readings: Sequence[Reading]) -> dict[str, Any]:
    per_kind = {
        kind: precision_recall_f1(
            np.array([kind in message.kinds for message in labelled]),
            np.array([kind in reading.kinds for reading in readings]),
        )
        for kind in KINDS
    }
    present = [scores["f1"] for scores in per_kind.values() if scores["support"]]
    return {"macro_f1": float(np.mean(present)), "per_kind": per_kind}


def _outcome(labelled: Sequence[Labelled], readings: Sequence[Reading]) -> dict[str, Any]:
    pairs = [
        (message.outcome, reading.outcome or _likeliest(reading))
        for message, reading in zip(labelled, readings, strict=True)
        if message.outcome
    ]
    if not pairs:
        return {"accuracy": None, "macro_f1": None}
    truth, said = zip(*pairs, strict=True)
    return {
        "accuracy": float(np.mean([a == b for a, b in pairs])),
        "macro_f1": macro_f1(truth, said, OUTCOMES),
    }


def _likeliest(reading: Reading) -> str:
    return max(OUTCOMES, key=lambda outcome: reading.outcome_probabilities[outcome])


def _faults(labelled: Sequence[Labelled], readings: Sequence[Reading]) -> dict[str, Any]:
    truth = np.array([[fault in message.faults for fault in FAULTS] for message in labelled])
    said = np.array([[fault in reading.faults for fault in FAULTS] for reading in readings])
    if not truth.any():
        return {"micro_f1": None, "macro_f1": None}
    present = [at for at in range(len(FAULTS)) if truth[:, at].any()]
    return {
        "micro_f1": precision_recall_f1(truth.ravel(), said.ravel())["f1"],
        "macro_f1": float(np.mean([precision_recall_f1(truth[:, at], said[:, at])["f1"] for at in present])),
    }


def _hazards(labelled: Sequence[Labelled], readings: Sequence[Reading]) -> dict[str, Any]:
    """Whether a message with a hazard is put on top; which hazard is a matter for the person who opens it."""
    scores = precision_recall_f1(
        np.array([message.hazard is not None for message in labelled]),
        np.array([reading.hazard is not None for reading in readings]),
    )
    return {"precision": scores["precision"], "recall": scores["recall"]}


def _recipe(labelled: Sequence[Labelled], readings: Sequence[Reading]) -> dict[str, Any]:
    """Share right among the answers, and share answered, of the messages that are about a recipe."""
    about = [(m.recipe, r.recipe.slug) for m, r in zip(labelled, readings, strict=True) if m.recipe]
    answers = [(truth, said) for truth, said in about if said]
    return {
        "accuracy": sum(truth == said for truth, said in answers) / len(answers) if answers else None,
        "answered": len(answers) / len(about) if about else None,
    }


def _themes(labelled: Sequence[Labelled], group: Group | None) -> dict[str, Any]:
    asked = [message for message in labelled if message.theme]
    if group is None or not asked:
        return {"v_measure": None, "bcubed_f1": None, "ari": None}
    truth = [message.theme for message in asked]
    hidden = [replace(message, theme=None, wants=None, recipe=None) for message in asked]
    said = [str(key) for key in group(hidden)]
    return {
        "v_measure": float(v_measure_score(truth, said)),
        "bcubed_f1": bcubed_f1(truth, said),
        "ari": float(adjusted_rand_score(truth, said)),
    }


def _calibration(labelled: Sequence[Labelled], readings: Sequence[Reading]) -> dict[str, Any]:
    out = {}
    for kind in KINDS:
        truth = np.array([kind in message.kinds for message in labelled])
        probabilities = np.array([reading.kind_probabilities[kind] for reading in readings])
        out[kind] = {"brier": brier(truth, probabilities), "ece": calibration_error(truth, probabilities)}
    return out
