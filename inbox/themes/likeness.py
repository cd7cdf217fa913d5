"""How likely two requests ask for the same thing.

A pair is described by a few similarities (facets, words, meaning), and a
logistic regression, fitted on labelled requests of other sites, weighs them.
What two requests score never depends on a third: nothing that arrives later
changes it. Start with `Likeness.between`; `fit_likeness` makes one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from sklearn.feature_extraction.text import TfidfVectorizer
from sklearn.linear_model import LogisticRegression

from inbox.themes.sketches import Sketch
from inbox.themes.vocabulary import FACETS, tokens, vocabulary

Floats = NDArray[np.float64]
PARENT_WEIGHT = 0.5
"""Chosen: a wider entry counts half; both asking for some kind of bread is a weak sign."""


@dataclass(frozen=True, slots=True)
class Table:
    """Sketches as arrays, one row each: facets and words as sparse unit rows, meaning as dense ones."""

    facets: tuple[csr_matrix, ...]
    words: csr_matrix
    vectors: NDArray[np.float32]
    pages: NDArray[np.object_]

    def __len__(self) -> int:
        return int(self.vectors.shape[0])

    def take(self, rows: Sequence[int] | NDArray[np.int64]) -> "Table":
        """Take the given rows, in their order."""
        at = np.asarray(rows, dtype=np.int64)
        return Table(tuple(m[at] for m in self.facets), self.words[at], self.vectors[at], self.pages[at])


class Likeness:
    """A fitted measure of how likely two requests ask for the same thing, from 0 to 1."""

    def __init__(self, texts: Sequence[str]) -> None:
        self._words = TfidfVectorizer(tokenizer=tokens, token_pattern=None, sublinear_tf=True, max_df=0.2)
        self._words.fit(texts)
        self._columns = {id: at for at, id in enumerate(vocabulary().entries)}
        self._model = LogisticRegression(C=1.0, max_iter=1000)
        self.threshold_ = 0.5

    def table(self, sketches: Sequence[Sketch]) -> Table:
        """Lay out `sketches` for `between`."""
        return Table(
            facets=tuple(self._facet_rows(sketches, name) for name in FACETS),
            words=csr_matrix(self._words.transform([sketch.text for sketch in sketches])),
            vectors=np.array([sketch.vector for sketch in sketches], dtype=np.float32).reshape(
                len(sketches), -1
            ),
            pages=np.array([sketch.page for sketch in sketches], dtype=object),
        )

    def between(self, left: Table, right: Table) -> Floats:
        """Likeness of row n of `left` and row n of `right`; shape (n_pairs,)."""
        if not len(left):
            return np.zeros(0)
        likely: Floats = self._model.predict_proba(_features(left, right))[:, 1]
        return likely

    def fit(self, table: Table, themes: Sequence[str]) -> "Likeness":
        """Learn the weights from labelled requests, all pairs of one site."""
        left, right = np.array(list(combinations(range(len(table)), 2))).T
        same = np.array([themes[a] == themes[b] for a, b in zip(left, right, strict=True)])
        self._model.fit(_features(table.take(left), table.take(right)), same)
        return self

    def _facet_rows(self, sketches: Sequence[Sketch], facet: str) -> csr_matrix:
        rows, columns, values = [], [], []
        for row, sketch in enumerate(sketches):
            for id, weight in _widened(getattr(sketch.wanted.facets, facet)).items():
                rows.append(row)
                columns.append(self._columns.setdefault(id, hash_column(id)))
                values.append(weight)
        shape = (len(sketches), len(vocabulary().entries) + EXTRA_COLUMNS)
        matrix = csr_matrix((values, (rows, columns)), shape=shape)
        norms = np.sqrt(np.asarray(matrix.multiply(matrix).sum(axis=1)).ravel())
        return csr_matrix(matrix.multiply(1 / np.maximum(norms, 1e-9)[:, None]))


EXTRA_COLUMNS = 64
"""For entries such as "no_raisin" that stand in no table; two that share a column are rare and do no harm."""


def hash_column(id: str) -> int:
    """Column of an entry that is not in the vocabulary; the same in every process."""
    return len(vocabulary().entries) + sum(id.encode()) % EXTRA_COLUMNS


def fit_likeness(sketches: Sequence[Sketch], themes: Sequence[str]) -> Likeness:
    """Fit a likeness on labelled requests.

    Parameters
    ----------
    sketches, themes : sequences of equal length
        Requests of the training sites, with the key that all requests for the same thing share.
    """
    likeness = Likeness([sketch.text for sketch in sketches])
    return likeness.fit(likeness.table(sketches), themes)


def _widened(entries: object) -> dict[str, float]:
    wide: dict[str, float] = {}
    for id, value in dict(entries).items():  # type: ignore[call-overload]
        for step, ancestor in enumerate(vocabulary().lineage(id) or (id,)):
            wide[ancestor] = max(wide.get(ancestor, 0.0), value * PARENT_WEIGHT**step)
    return wide


def _features(left: Table, right: Table) -> Floats:
    columns = []
    for one, other in zip(left.facets, right.facets, strict=True):
        same = np.asarray(one.multiply(other).sum(axis=1)).ravel()
        said = (np.diff(one.indptr) > 0) & (np.diff(other.indptr) > 0)
        columns += [same, said & (same < 0.05)]
    columns.append(np.asarray(left.words.multiply(right.words).sum(axis=1)).ravel())
    columns.append(np.einsum("ij,ij->i", left.vectors, right.vectors))
    return np.column_stack(columns).astype(np.float64)
