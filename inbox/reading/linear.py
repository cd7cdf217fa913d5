"""Kernel ridge regression on words, cues and encoder rows, for all labels at once; scores on unseen sites.

Words and cues add up. Encoder rows count by nearness to those of the messages learned from (a radial basis
function, Saunders, Gammerman, Vovk 1998): what a sentence means is no sum of its 768 numbers.

The first of two stages: its scores on messages of sites that it was not trained on are what the second stages
learn from, so that they know how far to trust it on a new site (stacking, Wolpert 1992). Start with `Scorer`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import linalg
from sklearn.feature_extraction.text import TfidfVectorizer

from inbox.reading.contextual import DIMENSIONS, ROW
from inbox.reading.prepared import Prepared, marked_terms

CUE_WEIGHT: Final = 0.7
NEAR_WEIGHT: Final = 3.0
NEARNESS: Final = 0.75
PENALTY: Final = 1.0
PART_PENALTY: Final = 3.0
"""Chosen on bread, plant, sweets and world, leaving out one at a time."""

Scores = NDArray[np.float64]


class Scorer:
    """Scores messages, and their clauses, for every label.

    Attributes
    ----------
    terms_ : ndarray of shape (n_terms,)
        Words and pairs of words, negated words marked.
    term_weights_, cue_weights_ : ndarrays of shape (n_terms, n_labels) and (n_cues, n_labels)
    """

    def __init__(self) -> None:
        self._vectorizer = TfidfVectorizer(
            analyzer=marked_terms, min_df=2, sublinear_tf=True, dtype=np.float64
        )

    def fit(self, prepared: Prepared, truth: Scores, sites: Sequence[str]) -> tuple[Scores, Scores]:
        """Learn, and say what would have been said of each message had its site been left out.

        Parameters
        ----------
        prepared : Prepared
        truth : ndarray of shape (n_messages, n_labels), of 0 and 1
        sites : sequence of str

        Returns
        -------
        scores, pooled : ndarrays as from `score`
            Out of site: none was scored by a model that saw its site.
        """
        self._vectorizer.fit(prepared.clauses)
        self.terms_ = self._vectorizer.get_feature_names_out()
        self._cue_mean = prepared.cues.mean(axis=0)
        self._cue_spread = prepared.cues.std(axis=0) + 1e-9
        self._row_mean = prepared.whole.mean(axis=0)
        features = self.features(prepared)
        words, cues = features.words, features.cues
        rows, parts = self._unit(prepared.whole), self._unit(prepared.parts)
        gram = (words @ words.T).toarray() + cues @ cues.T + _near(rows, rows)
        scores = np.zeros_like(truth)
        pooled = np.zeros((len(truth), 2 * truth.shape[1]))
        for left_out in site_folds(sites):
            kept = ~left_out
            mean = truth[kept].mean(axis=0)
            dual = _solve(gram[np.ix_(kept, kept)], truth[kept] - mean, PENALTY)
            scores[left_out] = gram[np.ix_(left_out, kept)] @ dual + mean
            part_weights = _primal(rows[kept], truth[kept] - mean)
            pooled[left_out] = _pooled(parts @ part_weights + mean, prepared.firsts)[left_out]
        self._mean = truth.mean(axis=0)
        dual = _solve(gram, truth - self._mean, PENALTY)
        self.term_weights_, self.cue_weights_ = words.T @ dual, cues.T @ dual
        self._known_rows, self._known_weights = rows, dual
        self._part_weights = _primal(rows, truth - self._mean)
        return scores, pooled

    def score(self, prepared: Prepared, features: "Features") -> tuple[Scores, Scores]:
        """Scores, near 0 for no and 1 for yes.

        Parameters
        ----------
        prepared : Prepared
        features : Features
            Of the same messages.

        Returns
        -------
        scores : ndarray of shape (n_messages, n_labels)
        pooled : ndarray of shape (n_messages, 2 * n_labels)
            The largest score of any clause, then the score of the last clause.
        """
        scores = features.words @ self.term_weights_ + features.cues @ self.cue_weights_ + self._mean
        scores += _near(self._unit(prepared.whole), self._known_rows) @ self._known_weights
        parts = self._unit(prepared.parts) @ self._part_weights + self._mean
        return scores, _pooled(parts, prepared.firsts)

    def mean_values(self) -> Scores:
        """The scores of a message of which nothing is known, of shape (n_labels,)."""
        mean: Scores = self._mean
        return mean

    def features(self, prepared: Prepared) -> "Features":
        """What messages are scored by, beside the encoder's rows."""
        return Features(self._vectorizer.transform(prepared.clauses), self._cues(prepared))

    def _cues(self, prepared: Prepared) -> Scores:
        table = (prepared.cues - self._cue_mean) / self._cue_spread
        cues: Scores = CUE_WEIGHT * table.clip(-3, 3) / np.sqrt(table.shape[1])
        return cues

    def _unit(self, rows: NDArray[np.float32]) -> Scores:
        """Rows about their mean, the part of each of the encoder's layers with the same length."""
        centred = (rows - self._row_mean).astype(np.float64).reshape(-1, ROW // DIMENSIONS, DIMENSIONS)
        length = np.sqrt(np.einsum("ijk,ijk->ij", centred, centred))[:, :, None] + 1e-9
        centred /= length * np.sqrt(ROW / DIMENSIONS)
        unit: Scores = centred.reshape(-1, ROW)
        return unit


@dataclass(frozen=True, slots=True)
class Features:
    """What messages are scored by, beside the encoder's rows.

    Attributes
    ----------
    words : sparse array of shape (n_messages, n_terms)
    cues : ndarray of shape (n_messages, n_cues)
    """

    words: Any
    cues: Scores


def _pooled(parts: Scores, firsts: NDArray[np.int64]) -> Scores:
    """The largest score of any clause of a message, then the score of its last clause."""
    return np.hstack([np.maximum.reduceat(parts, firsts[:-1], axis=0), parts[firsts[1:] - 1]])


def _near(rows: Scores, known: Scores) -> Scores:
    """How near each of `rows` is to each of `known`, both of length 1 (radial basis function)."""
    near = rows @ known.T
    near -= 1.0
    near *= NEARNESS
    np.exp(near, out=near)
    near *= NEAR_WEIGHT
    return near


FEWEST_SITES: Final = 3
FOLDS: Final = 5


def site_folds(sites: Sequence[str]) -> list[NDArray[np.bool_]]:
    """Which messages to leave out together: each site in turn, or every fifth message where sites are few.

    Each mask marks the messages left out; every message is left out once.
    """
    names = np.array(sites)
    distinct = sorted(set(sites))
    if len(distinct) >= FEWEST_SITES:
        return [names == name for name in distinct]
    places = np.arange(len(names))
    return [places % FOLDS == fold for fold in range(min(FOLDS, len(names)))]


def _solve(gram: Scores, target: Scores, penalty: float) -> Scores:
    ridged = gram + penalty * np.eye(len(gram))
    solved: Scores = linalg.cho_solve(linalg.cho_factor(ridged, lower=True, overwrite_a=True), target)
    return solved


def _primal(rows: Scores, target: Scores) -> Scores:
    return _solve(rows.T @ rows, rows.T @ target, PART_PENALTY)
