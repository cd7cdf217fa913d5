"""Messages made ready for the models: words, clauses, cues, signs and encoder rows, worked out once.

Start with `prepare`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from inbox.reading.contextual import encode_sentences
from inbox.reading.cues import count_cues
from inbox.reading.findings import Told
from inbox.reading.text import clauses, negated, plain_text, words


@dataclass(frozen=True, slots=True)
class Prepared:
    """Messages in one order; `firsts[i]:firsts[i + 1]` are the clauses of message i.

    Attributes
    ----------
    texts : list of str
    clauses : list of lists of str
    cues : ndarray of shape (n_messages, n_cues)
    whole : ndarray of shape (n_messages, 768)
    parts : ndarray of shape (n_clauses, 768)
    firsts : ndarray of shape (n_messages + 1,)
    """

    texts: list[str]
    clauses: list[list[str]]
    cues: NDArray[np.float64]
    whole: NDArray[np.float32]
    parts: NDArray[np.float32]
    firsts: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.texts)

    def take(self, rows: Sequence[int]) -> "Prepared":
        """Some of the messages, in the order of `rows`."""
        spans = [np.arange(self.firsts[row], self.firsts[row + 1]) for row in rows]
        return Prepared(
            texts=[self.texts[row] for row in rows],
            clauses=[self.clauses[row] for row in rows],
            cues=self.cues[rows],
            whole=self.whole[rows],
            parts=self.parts[np.concatenate(spans)] if spans else self.parts[:0],
            firsts=np.cumsum([0, *map(len, spans)]),
        )


Encoder = Callable[[Sequence[Sequence[str]]], tuple[NDArray[np.float32], NDArray[np.float32]]]


def prepare(told: Sequence[Told], *, encoder: Encoder = encode_sentences) -> Prepared:
    """Everything that the models look at, for each message."""
    texts = [plain_text(one) for one in told]
    cut = cut_clauses(told)
    whole, parts = encoder(cut)
    return Prepared(
        texts=texts,
        clauses=cut,
        cues=count_cues(told, texts),
        whole=whole,
        parts=parts,
        firsts=np.cumsum([0, *map(len, cut)]),
    )


def cut_clauses(told: Sequence[Told]) -> list[list[str]]:
    """The clauses of each message."""
    return [clauses(plain_text(one)) for one in told]


def marked_terms(cut: Sequence[str]) -> list[str]:
    """Words and pairs of neighbours in the clauses of one message; negated words end in `_not`."""
    terms: list[str] = []
    for clause in cut:
        found = words(clause)
        for place, is_not in enumerate(negated(found)):
            if is_not:
                found[place] += "_not"
        terms += found
        terms += [f"{one} {two}" for one, two in pairwise(found)]
    return terms
