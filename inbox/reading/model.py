"""The model that reads messages: trained on labelled ones, then asked about new ones.

Start with `ReadingModel.train` and `ReadingModel.read`.
"""

import hashlib
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from sklearn.feature_extraction.text import TfidfVectorizer
from sklearn.linear_model import LogisticRegression

from inbox.reading.encoder import encode
from inbox.reading.findings import CatalogueRecipe, HazardFound, Labelled, Reading, RecipeLink, Told
from inbox.reading.recipe_link import CatalogueIndex, link_recipe
from inbox.words import FAULTS, KINDS, OUTCOMES

ENCODER_WEIGHT = 1.5
UNSAID = "unsaid"


class ReadingModel:
    """What was learned from labelled messages."""

    def __init__(self, version: str) -> None:
        self.version = version
        self._words = TfidfVectorizer(ngram_range=(1, 2), min_df=2, sublinear_tf=True)
        self._pieces = TfidfVectorizer(analyzer="char_wb", ngram_range=(2, 5), min_df=3, sublinear_tf=True)
        self._models: dict[str, Any] = {}

    @classmethod
    def train(cls, labelled: Sequence[Labelled], *, seed: int = 0) -> "ReadingModel":
        """Learn from `labelled`; the same messages and seed give the same model."""
        digest = hashlib.sha256(repr([(m.told, sorted(m.kinds), m.outcome) for m in labelled]).encode())
        self = cls(digest.hexdigest()[:12])
        texts = [_text_of(message.told) for message in labelled]
        features = sparse.hstack(
            [
                self._words.fit_transform(texts),
                self._pieces.fit_transform(texts),
                sparse.csr_matrix(ENCODER_WEIGHT * encode(texts)),
            ]
        ).tocsr()

        def fit(name: str, truth: Sequence[object]) -> None:
            if len(set(truth)) > 1:
                self._models[name] = LogisticRegression(
                    C=4, max_iter=1000, class_weight="balanced", random_state=seed
                ).fit(features, truth)

        for kind in KINDS:
            fit(kind, [kind in message.kinds for message in labelled])
        for fault in FAULTS:
            fit(fault, [fault in message.faults for message in labelled])
        fit("outcome", [message.outcome or UNSAID for message in labelled])
        fit("hazard", [message.hazard or "" for message in labelled])
        return self

    def read(self, told: Sequence[Told], catalogue: Sequence[CatalogueRecipe]) -> list[Reading]:
        """Read each message; the readings come in the order of `told`."""
        if not told:
            return []
        texts = [_text_of(one) for one in told]
        features = sparse.hstack(
            [
                self._words.transform(texts),
                self._pieces.transform(texts),
                sparse.csr_matrix(ENCODER_WEIGHT * encode(texts)),
            ]
        ).tocsr()
        tables = {name: self._probabilities(name, features) for name in self._models}
        index = CatalogueIndex(catalogue)
        return [
            self._reading({name: table[at] for name, table in tables.items()}, link_recipe(one, index))
            for at, one in enumerate(told)
        ]

    def explain(self, told: Told) -> Mapping[str, list[tuple[str, float]]]:
        """For each kind the reader's own words that weighed most, with their weight."""
        row = self._words.transform([_text_of(told)])
        names = self._words.get_feature_names_out()
        out: dict[str, list[tuple[str, float]]] = {}
        for kind in KINDS:
            if kind in self._models:
                weights = self._models[kind].coef_[0]
                pairs = [(str(names[at]), float(row[0, at] * weights[at])) for at in row.indices]
                out[kind] = sorted(pairs, key=lambda pair: -abs(pair[1]))[:5]
        return out

    def _probabilities(self, name: str, features: Any) -> NDArray[np.float64]:
        table: NDArray[np.float64] = self._models[name].predict_proba(features)
        return table

    def _reading(self, rows: Mapping[str, NDArray[np.float64]], recipe: RecipeLink) -> Reading:
        kinds = {kind: float(rows[kind][1]) if kind in rows else 0.0 for kind in KINDS}
        held = tuple(kind for kind in KINDS if kinds[kind] >= 0.5) or (max(kinds, key=lambda k: kinds[k]),)
        classes = [str(label) for label in self._models["outcome"].classes_]
        outcomes = dict.fromkeys((*OUTCOMES, UNSAID), 0.0)
        outcomes |= dict(zip(classes, map(float, rows["outcome"]), strict=True))
        best = max(outcomes, key=lambda label: outcomes[label])
        faults = {fault: float(rows[fault][1]) for fault in FAULTS if fault in rows}
        hazard = None
        if "hazard" in rows:
            labels = [str(label) for label in self._models["hazard"].classes_]
            at = int(np.argmax(rows["hazard"]))
            if labels[at]:
                hazard = HazardFound(labels[at], float(rows["hazard"][at]))
        return Reading(
            kind_probabilities=kinds,
            kinds=held,
            outcome_probabilities=outcomes,
            outcome=best if best != UNSAID and "made_it" in held else None,
            fault_probabilities={fault: share for fault, share in faults.items() if share >= 0.05},
            faults=tuple(fault for fault in FAULTS if faults.get(fault, 0) >= 0.5 and "problem" in held),
            hazard=hazard,
            recipe=recipe,
        )


def _text_of(told: Told) -> str:
    return f"{told.subject}. {told.text}" if told.subject else told.text
