"""How a made-it report ended.

Read from the first-stage scores of the whole message, its most telling clause and its last clause, where the
verdict usually stands, and from how many faults are to be expected. Whether anything is said of the ending at
all is a question of its own. Start with `OutcomeModel`.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression

from inbox.reading.calibrated import CLIP, Calibrated, Table
from inbox.reading.labels import UNSAID
from inbox.words import OUTCOMES

ENDINGS: Final = (*OUTCOMES, UNSAID)
UNSAID_FROM: Final = 0.5
STRENGTH: Final = 0.02
"""Chosen on bread, plant, sweets and world, leaving out one at a time."""


class OutcomeModel:
    """Probabilities over worked, mixed, failed and unsaid."""

    def fit(self, senses: Table, endings: NDArray[np.str_]) -> None:
        """Learn from made-it reports.

        Parameters
        ----------
        senses : ndarray of shape (n_messages, n_senses)
            Out-of-site scores.
        endings : ndarray of shape (n_messages,)
            Out of `ENDINGS`.
        """
        self._mean, self._spread = senses.mean(axis=0), senses.std(axis=0) + 1e-9
        said = endings != UNSAID
        self._unsaid = Calibrated().fit(senses, ~said)
        self._model = _fitted(self._scaled(senses[said]), endings[said])
        counts = np.array([(endings == ending).sum() for ending in OUTCOMES]) + 1.0
        self._shares = counts / counts.sum()

    def probabilities(self, senses: Table) -> Table:
        """Of shape (n_messages, 4), in the order of `ENDINGS`; rows sum to 1."""
        endings = np.full((len(senses), len(OUTCOMES)), 1e-6)
        if self._model is not None:
            columns = [OUTCOMES.index(str(ending)) for ending in self._model.classes_]
            endings[:, columns] = self._model.predict_proba(self._scaled(senses))
        unsaid = self._unsaid.probabilities(senses)[:, None]
        return np.hstack([(1 - unsaid) * endings / endings.sum(axis=1, keepdims=True), unsaid])

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


def _fitted(senses: Table, endings: NDArray[np.str_]) -> LogisticRegression | None:
    if len(set(endings)) < 2:
        return None
    return LogisticRegression(C=STRENGTH, max_iter=1000).fit(senses, endings)
