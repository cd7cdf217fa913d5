"""Which faults a message tells of.

One model judges every pair of message and fault by the same features (signs found, first-stage scores, how
sure a problem is), so what it learns of "the sign is there but negated" from one fault serves the rare ones
too. Start with `FaultModel`.
"""

import json
from collections.abc import Sequence
from functools import cache
from typing import Final

import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier
from threadpoolctl import threadpool_limits

from inbox.places import seed_folder
from inbox.reading.calibrated import Table, Truth, best_f1_threshold
from inbox.reading.labels import COLUMN_OF, FAULT_COLUMNS
from inbox.reading.linear import site_folds
from inbox.reading.signs import Found, SignTable
from inbox.words import FAULTS, RECIPE_PAGE_FAULTS

LIKELIEST: Final = 3
"""Faults with the highest first-stage scores are judged even where no sign of them is found."""

_ON_PAGE: Final = np.array([fault in RECIPE_PAGE_FAULTS for fault in FAULTS], dtype=np.float64)


class FaultModel:
    """Judges pairs of message and fault.

    Attributes
    ----------
    threshold_ : float
        Probability from which a fault holds, chosen out of site for the F1 over all faults.
    """

    def __init__(self, seed: int) -> None:
        self._seed = seed

    def fit(self, features: "FaultFeatures", truth: Truth, sites: Sequence[str]) -> Table:
        """Learn from out-of-site features and what people said, of shape (n_messages, n_faults).

        Returns
        -------
        ndarray of shape (n_messages, n_faults)
            Probabilities from models that saw nothing of a message's site.
        """
        self._shares = np.log(truth.mean(axis=0) + 1e-3)
        self._mean, self._spread = features.scores.mean(axis=0), features.scores.std(axis=0) + 1e-9
        self._part_mean, self._part_spread = features.parts.mean(axis=0), features.parts.std(axis=0) + 1e-9
        table, likely = self._pairs(features)
        unseen = np.zeros(truth.shape)
        for left_out in site_folds(sites):
            model = self._fitted(table[~left_out], truth[~left_out], likely[~left_out])
            unseen[left_out] = _judge(model, table[left_out], likely[left_out])
        self.threshold_ = best_f1_threshold(truth.ravel(), unseen.ravel())
        self._model = self._fitted(table, truth, likely)
        return unseen

    def probabilities(self, features: "FaultFeatures") -> Table:
        """Probability of each fault, of shape (n_messages, n_faults); 0 for those that nothing speaks for."""
        return _judge(self._model, *self._pairs(features))

    def _fitted(self, table: Table, truth: Truth, likely: Truth) -> HistGradientBoostingClassifier | None:
        if not truth[likely].any():
            return None
        model = HistGradientBoostingClassifier(
            max_iter=100, max_depth=4, learning_rate=0.06, min_samples_leaf=20, l2_regularization=1.0,
            random_state=self._seed,
        )  # fmt: skip
        return model.fit(table[likely], truth[likely])

    def _pairs(self, features: "FaultFeatures") -> tuple[Table, Truth]:
        """Features of each pair, and which pairs are worth judging.

        Of shape (n_messages, n_faults, n_features) and (n_messages, n_faults).
        """
        standing = (features.scores - self._mean) / self._spread
        part_standing = (features.parts - self._part_mean) / self._part_spread
        rank = np.argsort(np.argsort(-standing, axis=1, kind="stable"), axis=1, kind="stable")
        per_message = [
            *features.senses.T, features.plain.sum(axis=1), (features.plain > 0).sum(axis=1),
            standing.max(axis=1), features.scores.sum(axis=1),
        ]  # fmt: skip
        shape = features.plain.shape
        likely = (features.plain > 0) | (features.negated > 0) | (rank < LIKELIEST)
        table = np.stack(
            [
                features.plain, features.negated, features.longest, features.scores, standing, features.parts,
                part_standing, rank, standing - standing.max(axis=1, keepdims=True),
                np.broadcast_to(self._shares, shape), np.broadcast_to(_ON_PAGE, shape),
                features.worth[:, :, 0], features.worth[:, :, 1],
                *(np.broadcast_to(column[:, None], shape) for column in per_message),
            ],
            axis=2,
        )  # fmt: skip
        return table, likely


class FaultFeatures:
    """What the model knows of each message; the arrays are of shape (n_messages, n_faults).

    Attributes
    ----------
    plain, negated : counts of signs found, and found under a negation
    longest : length of the longest sign found, in characters
    scores, parts : first-stage scores of the message and of its best clause
    worth : what the signs found are worth, of shape (n_messages, n_faults, 2), as from `SignWorth.of`
    senses : ndarray of shape (n_messages, 6)
        First-stage scores of made_it, problem, question, comment, failed and mixed.
    """

    def __init__(self, found: Sequence[Sequence[Found]], worth: Table, scores: Table, pooled: Table) -> None:
        self.plain, self.negated, self.longest = (np.zeros((len(found), len(FAULTS))) for _ in range(3))
        for row, signs in enumerate(found):
            self._count(row, signs)
        self.worth = worth
        self.scores = scores[:, FAULT_COLUMNS]
        self.parts = pooled[:, FAULT_COLUMNS]
        names = ("made_it", "problem", "question", "comment", "failed", "mixed")
        self.senses = scores[:, [COLUMN_OF[name] for name in names]]

    def _count(self, row: int, signs: Sequence[Found]) -> None:
        for found in signs:
            column = FAULTS.index(found.code)
            if found.negated:
                self.negated[row, column] += 1
            else:
                self.plain[row, column] += 1
                self.longest[row, column] = max(self.longest[row, column], len(found.words))


@cache
def fault_signs() -> SignTable:
    """The signs of `seed_data/fault_signs.json`, in the order of `words.FAULTS`."""
    table = json.loads((seed_folder() / "fault_signs.json").read_text(encoding="utf-8"))["faults"]
    return SignTable({fault: table[fault]["signs"] for fault in FAULTS})


def find_fault_signs(clauses: Sequence[Sequence[str]]) -> list[list[Found]]:
    """The signs in the clauses of each message."""
    return [fault_signs().find(cut) for cut in clauses]


def _judge(model: HistGradientBoostingClassifier | None, table: Table, likely: Truth) -> Table:
    answer = np.zeros(likely.shape)
    if model is not None and likely.any():
        with threadpool_limits(limits=1):
            answer[likely] = model.predict_proba(table[likely])[:, 1]
    return answer
