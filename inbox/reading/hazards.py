"""Whether somebody could be or was hurt, and the words that say so.

A pass of its own that favours recall: signs of `seed_data/hazard_signs.json`, first-stage scores, and a
threshold set so low that only a share of the alarms need be right. Start with `HazardModel`.
"""

import json
from collections.abc import Sequence
from functools import cache
from typing import Final

import numpy as np

from inbox.places import seed_folder
from inbox.reading.calibrated import Calibrated, Table, Truth, out_of_site, recall_first_threshold
from inbox.reading.findings import HazardFound
from inbox.reading.labels import COLUMN_OF, COLUMNS, HAZARD_COLUMNS, SENSE_COLUMNS
from inbox.reading.prepared import Prepared
from inbox.reading.signs import Found, SignTable
from inbox.words import HAZARDS

LEAST_PRECISION: Final = 0.65
"""Share of the alarms in training, out of site, that are right: to miss one costs more than a false one."""

MOST_WORDS: Final = 4
_IDIOM: Final = "idiom"


class HazardModel:
    """Judges whether a message has a hazard, then which.

    Attributes
    ----------
    threshold_ : float
        Probability from which a hazard holds.
    """

    def fit(self, features: "HazardFeatures", truth: Truth, sites: Sequence[str]) -> None:
        """Learn from out-of-site features; `truth` is of shape (n_messages, n_hazards)."""
        anything = np.asarray(truth.any(axis=1))
        self.threshold_ = recall_first_threshold(
            anything,
            out_of_site(Calibrated, features.table, anything, sites),
            least_precision=LEAST_PRECISION,
        )
        self._model = Calibrated().fit(features.table, anything)
        self._which = [
            Calibrated().fit(features.of(column), truth[:, column]) for column in range(len(HAZARDS))
        ]

    def judge(self, features: "HazardFeatures") -> list[HazardFound | None]:
        """The hazard of each message, with the words that triggered it."""
        anything = self._model.probabilities(features.table)
        which = np.column_stack(
            [model.probabilities(features.of(column)) for column, model in enumerate(self._which)]
        )
        answer: list[HazardFound | None] = []
        for row, probability in enumerate(anything):
            code = HAZARDS[int(which[row].argmax())]
            found = probability >= self.threshold_
            answer.append(HazardFound(code, float(probability), features.words(row, code)) if found else None)
        return answer


class HazardFeatures:
    """What the model knows of each message.

    Attributes
    ----------
    table : ndarray of shape (n_messages, n_features)
    """

    def __init__(self, prepared: Prepared, scores: Table, pooled: Table) -> None:
        self._prepared = prepared
        self._found = [hazard_signs().find(cut) for cut in prepared.clauses]
        counts = np.array([[_count(found, code) for code in (*HAZARDS, _IDIOM)] for found in self._found])
        counts = counts.reshape(-1, len(HAZARDS) + 1)
        self._signs = np.log1p(counts[:, :-1])
        self._scores, self._parts = scores[:, HAZARD_COLUMNS], pooled[:, HAZARD_COLUMNS]
        any_column = COLUMN_OF["any_hazard"]
        self.table = np.column_stack(
            [
                np.log1p(counts),
                np.minimum(counts[:, :-1].sum(axis=1), 1),
                self._scores.max(axis=1),
                self._parts.max(axis=1),
                scores[:, any_column],
                pooled[:, any_column],
                pooled[:, len(COLUMNS) + any_column],
                scores[:, SENSE_COLUMNS],
            ]
        )

    def of(self, column: int) -> Table:
        """Features of one hazard, of shape (n_messages, 3)."""
        return np.column_stack([self._signs[:, column], self._scores[:, column], self._parts[:, column]])

    def words(self, row: int, code: str) -> tuple[str, ...]:
        """The reader's words that are signs of `code`; without any, the clause that sounds most like it."""
        signs = dict.fromkeys(
            sign.words for sign in self._found[row] if sign.code == code and not sign.negated
        )
        if signs:
            return tuple(signs)[:MOST_WORDS]
        others = dict.fromkeys(sign.words for sign in self._found[row] if sign.code not in (code, _IDIOM))
        return tuple(others)[:MOST_WORDS] or (self._prepared.clauses[row][0],)


@cache
def hazard_signs() -> SignTable:
    """The signs of all hazards, and of turns of phrase that only sound dangerous."""
    table = json.loads((seed_folder() / "hazard_signs.json").read_text(encoding="utf-8"))
    listed = {code: table["hazards"][code]["signs"] for code in HAZARDS}
    return SignTable({**listed, _IDIOM: table["idioms"]})


def _count(found: Sequence[Found], code: str) -> int:
    return sum(sign.code == code and not sign.negated for sign in found)
