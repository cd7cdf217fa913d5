"""Second stages: from scores to probabilities, and the probability from which a label holds.

Start with `Calibrated`.
"""

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression

from inbox.reading.linear import site_folds

Table = NDArray[np.float64]
Truth = NDArray[np.bool_]
CLIP: Final = 6.0


class Calibrated:
    """Logistic regression on standardised features (Platt 1999 with more than one score).

    Where the training messages are all of one class, that class's share is the answer.
    """

    def __init__(self, *, strength: float = 0.3, balanced: bool = False) -> None:
        self._model = LogisticRegression(
            C=strength, max_iter=2000, class_weight="balanced" if balanced else None
        )
        self._constant: float | None = None

    def fit(self, features: Table, truth: NDArray[np.bool_]) -> "Calibrated":
        """Learn from features of shape (n_messages, n_features) which messages have the label."""
        self._mean, self._spread = features.mean(axis=0), features.std(axis=0) + 1e-9
        if truth.all() or not truth.any():
            self._constant = float(truth.mean()) if len(truth) else 0.0
        else:
            self._model.fit(self._scaled(features), truth)
        return self

    def probabilities(self, features: Table) -> Table:
        """Probability of the label for each message."""
        if self._constant is not None:
            return np.full(len(features), self._constant)
        table: Table = self._model.predict_proba(self._scaled(features))[:, 1]
        return table

    def _scaled(self, features: Table) -> Table:
        scaled: Table = ((features - self._mean) / self._spread).clip(-CLIP, CLIP)
        return scaled


def out_of_site(make: Callable[[], Calibrated], features: Table, truth: Truth, sites: Sequence[str]) -> Table:
    """Probability for each message from a model that saw nothing of its site."""
    answer = np.zeros(len(features))
    for left_out in site_folds(sites):
        answer[left_out] = make().fit(features[~left_out], truth[~left_out]).probabilities(features[left_out])
    return answer


def best_f1_threshold(truth: Truth, probabilities: Table, sites: Sequence[str] = ()) -> float:
    """The probability from which saying yes gives the highest F1; 0.5 where no message has the label.

    With `sites` it is the mean of the sites' F1, so that a large or one-sided site does not decide alone.

    Of the thresholds whose F1 is within 0.005 of the best, the middle one: the best alone is luck.
    """
    if not truth.any():
        return 0.5
    candidates = np.arange(0.1, 0.81, 0.01)
    folds = [fold for fold in site_folds(sites) if truth[fold].any()] if sites else [np.ones_like(truth)]
    scores = np.array(
        [
            np.mean([_f1(truth[fold], probabilities[fold] >= threshold) for fold in folds])
            for threshold in candidates
        ]
    )
    return float(np.median(candidates[scores >= scores.max() - 0.005]))


def recall_first_threshold(truth: Truth, probabilities: Table, *, least_precision: float) -> float:
    """The lowest probability from which at least `least_precision` of the alarms are right."""
    order = np.argsort(-probabilities, kind="stable")
    precision = np.cumsum(truth[order]) / np.arange(1, len(order) + 1)
    good = np.flatnonzero(precision >= least_precision)
    return float(probabilities[order[good[-1]]]) if len(good) else 0.5


def _f1(truth: Truth, said: Truth) -> float:
    both = int((truth & said).sum())
    return 2 * both / (int(truth.sum()) + int(said.sum())) if both else 0.0
