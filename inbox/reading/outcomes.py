"""How a made-it report ended.

The mean of two readings: one from the words and the encoder rows, one from the first-stage scores of the
whole message, its most telling clause and its last clause, where the verdict usually stands. Whether
anything is said of the ending at all is a question of its own. Start with `OutcomeModel`.
"""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import softmax
from sklearn.linear_model import LogisticRegression

from inbox.reading.calibrated import CLIP, Calibrated, Table
from inbox.reading.labels import UNSAID
from inbox.reading.linear import Features
from inbox.words import OUTCOMES

ENDINGS: Final = (*OUTCOMES, UNSAID)
UNSAID_FROM: Final = 0.5


class OutcomeModel:
    """Probabilities over worked, mixed, failed and unsaid."""

    def fit(self, words: Any, senses: Table, endings: NDArray[np.str_]) -> None:
        """Learn from made-it reports.

        Parameters
        ----------
        words : sparse array of shape (n_messages, n_features)
        senses : ndarray of shape (n_messages, n_senses)
            Out-of-site scores.
        endings : ndarray of shape (n_messages,)
            Out of `ENDINGS`.
        """
        self._mean, self._spread = senses.mean(axis=0), senses.std(axis=0) + 1e-9
        said = endings != UNSAID
        self._unsaid = Calibrated().fit(senses, ~said)
        self._by_words = _fitted(4.0, words[said], endings[said])
        self._by_senses = _fitted(0.3, self._scaled(senses[said]), endings[said])
        counts = np.array([(endings == ending).sum() for ending in OUTCOMES]) + 1.0
        self._shares = counts / counts.sum()

    def probabilities(self, features: Features, senses: Table) -> Table:
        """Of shape (n_messages, 4), in the order of `ENDINGS`; rows sum to 1."""
        nothing = sparse.csr_array((len(senses), 0))
        both = _ask(self._by_words, features) + _ask(self._by_senses, Features(nothing, self._scaled(senses)))
        unsaid = self._unsaid.probabilities(senses)[:, None]
        return np.hstack([(1 - unsaid) * both / both.sum(axis=1, keepdims=True), unsaid])

    def decide(self, probabilities: Table) -> list[str | None]:
        """The ending to show for each message.

        Probabilities are divided by the shares in training, so that a rare ending is not crowded out by the
        common one; None where it probably is not said.
        """
        likeliest = (probabilities[:, : len(OUTCOMES)] / self._shares).argmax(axis=1)
        unsaid = probabilities[:, len(OUTCOMES)] > UNSAID_FROM
        return [None if silent else OUTCOMES[at] for at, silent in zip(likeliest, unsaid, strict=True)]

    def _scaled(self, senses: Table) -> Table:
        scaled: Table = ((senses - self._mean) / self._spread).clip(-CLIP, CLIP)
        return scaled


def _fitted(strength: float, features: Any, endings: NDArray[np.str_]) -> LogisticRegression | None:
    if len(set(endings)) < 2:
        return None
    return LogisticRegression(C=strength, max_iter=1000).fit(features, endings)


def _ask(model: LogisticRegression | None, features: Features) -> Table:
    """As `predict_proba`, without making one sparse array of words and dense columns."""
    answer = np.full((len(features.dense), len(OUTCOMES)), 1e-6)
    if model is not None:
        weights, n_terms = model.coef_.T, features.words.shape[1]
        logits = features.words @ weights[:n_terms] + features.dense @ weights[n_terms:] + model.intercept_
        if len(model.classes_) == 2:
            logits = np.hstack([np.zeros_like(logits), logits])
        answer[:, [OUTCOMES.index(str(ending)) for ending in model.classes_]] = softmax(logits, axis=1)
    return answer
