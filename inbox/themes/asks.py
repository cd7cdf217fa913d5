"""Reading between the lines: what a message asks for when it never says the word.

"I live on my own and half goes in the bin" asks for a small batch. A ridge
regression from a message's words and meaning to the entries of the vocabulary,
and to the meaning of the wish put plainly, is fitted on paraphrases written
for the vocabulary and on labelled requests. Start with `AskReader`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from sklearn.feature_extraction.text import TfidfVectorizer

from inbox.themes.vocabulary import tokens

Floats = NDArray[np.float32]

PENALTY: Final = 0.7
"""Ridge penalty. On the training sites 0.3 to 2 grouped alike (within 0.01 of B-cubed F1)."""

MAX_SHARE: Final = 0.12
"""Words in more of the texts than this say nothing of what is asked for."""


@dataclass(frozen=True, slots=True)
class Example:
    """A text whose meaning is known.

    Attributes
    ----------
    text : str
    vector : ndarray of shape (512,)
        Its place in the space of meanings.
    entries : mapping of str to float
        Entries of the vocabulary that it asks for, with their weight.
    wish : ndarray of shape (512,)
        Place of the wish put plainly.
    weight : float
        How much the example counts.
    """

    text: str
    vector: Floats
    entries: Mapping[str, float]
    wish: Floats
    weight: float = 1.0


class AskReader:
    """Fitted on examples; reads entries and wish from words and meaning together."""

    def __init__(self, examples: Sequence[Example]) -> None:
        self._words = TfidfVectorizer(
            tokenizer=tokens, token_pattern=None, sublinear_tf=True, max_df=MAX_SHARE, dtype=np.float32
        )
        words = csr_matrix(self._words.fit_transform([one.text for one in examples]))
        vectors = np.array([one.vector for one in examples])
        self._centre = vectors.mean(axis=0)
        meaning = self.centred(vectors)
        self.entries_ = sorted({id for one in examples for id in one.entries})
        targets = self._targets(examples)
        weights = np.sqrt(np.array([one.weight for one in examples], dtype=np.float64))[:, None]
        kernel = 0.5 * (meaning @ meaning.T) + 0.5 * (words @ words.T).toarray()
        kernel = kernel * weights * weights.T + PENALTY * np.eye(len(examples))
        dual = (weights * np.linalg.solve(kernel, weights * targets)).astype(np.float32)
        self._from_meaning = 0.5 * meaning.T @ dual
        self._from_words = (0.5 * words.T @ dual).astype(np.float32)

    def centred(self, vectors: Floats) -> Floats:
        """Vectors seen from the middle of all examples, as unit rows."""
        return unit_rows(vectors - self._centre)

    def words(self, texts: Sequence[str]) -> csr_matrix:
        """Weighted words of texts as sparse unit rows."""
        return csr_matrix(self._words.transform(texts))

    def read(self, words: csr_matrix, meaning: Floats) -> tuple[Floats, Floats]:
        """Read what messages ask for.

        Parameters
        ----------
        words, meaning
            As `words` and `centred` give them, a row a message.

        Returns
        -------
        entries : ndarray of shape (n_messages, n_entries)
            How strongly each entry of `entries_` is asked for; 0 for not at all.
        wish : ndarray of shape (n_messages, 512)
            Where the wish lies in the space of meanings, as unit rows.
        """
        found = meaning @ self._from_meaning + np.asarray(words @ self._from_words)
        count = len(self.entries_)
        return np.maximum(found[:, :count], 0.0), unit_rows(found[:, count:])

    def _targets(self, examples: Sequence[Example]) -> NDArray[np.float64]:
        column = {id: at for at, id in enumerate(self.entries_)}
        named = np.zeros((len(examples), len(column)))
        for row, one in enumerate(examples):
            for id, weight in one.entries.items():
                named[row, column[id]] = weight
        targets = np.hstack([named, np.array([one.wish for one in examples], dtype=np.float64)])
        return np.asarray(targets - targets.mean(axis=0))


def unit_rows(rows: Floats) -> Floats:
    """Rows scaled to length 1; rows of zeros stay."""
    lengths = np.linalg.norm(rows, axis=1, keepdims=True)
    return np.asarray(rows / np.maximum(lengths, 1e-9), dtype=np.float32)


def whitening(vectors: Floats, groups: Sequence[object], *, shrinkage: float = 0.6) -> Floats:
    """Turn space so that directions in which like requests differ count for less.

    People who ask for the same thing tell different stories; the spread within groups measures how the
    stories differ, and its inverse root takes that out.

    Parameters
    ----------
    vectors : ndarray of shape (n, 512)
    groups : sequence of length n
        What each row asks for.
    shrinkage : float, default=0.6
        How far the spread is pulled towards a sphere; from 0 to 1.

    Returns
    -------
    ndarray of shape (512, 512)

    References
    ----------
    Hatch A, Kajarekar S, Stolcke A, Within-class covariance normalization for SVM-based speaker recognition,
    Interspeech 2006 (cited from memory).
    """
    members: dict[object, list[int]] = {}
    for row, group in enumerate(groups):
        members.setdefault(group, []).append(row)
    spread = np.vstack([vectors[rows] - vectors[rows].mean(axis=0) for rows in members.values()])
    count = sum(len(rows) for rows in members.values() if len(rows) > 1)
    covariance = (spread.T @ spread).astype(np.float64) / max(count, 1)
    size = covariance.shape[0]
    sphere = (np.trace(covariance) / size + 1e-9) * np.eye(size)
    values, directions = np.linalg.eigh((1 - shrinkage) * covariance + shrinkage * sphere)
    return np.asarray(directions / np.sqrt(values), dtype=np.float32)
