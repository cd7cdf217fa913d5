"""How much each sign tells: how often it was right where people labelled messages that have it.

"Hot" says little of a dish that is too spicy, "set my mouth on fire" nearly all. Of a rare sign the share is
drawn towards that of all signs. Start with `SignWorth`.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from inbox.reading.calibrated import Table, Truth
from inbox.reading.linear import site_folds
from inbox.reading.signs import Found, SignTable

DOUBT: Final = 4.0
"""Finds of a sign as likely as all signs are that are added to those seen."""


class SignWorth:
    """Learns what the signs of a table are worth.

    Parameters
    ----------
    table : SignTable
    """

    def __init__(self, table: SignTable) -> None:
        column = {code: at for at, code in enumerate(table.codes)}
        self._column_of = np.array([column[code] for code in table.code_of])
        self._firsts = np.searchsorted(self._column_of, np.arange(len(table.codes)))

    def fit(self, found: Sequence[Sequence[Found]], truth: Truth, sites: Sequence[str]) -> Table:
        """Learn, and say what would have been said of each message had its site been left out.

        Parameters
        ----------
        found : sequence of sequences of Found
            The signs in each message.
        truth : ndarray of shape (n_messages, n_codes)
        sites : sequence of str

        Returns
        -------
        ndarray of shape (n_messages, n_codes, 2)
            As from `of`.
        """
        has = self._has(found)
        right = has & truth[:, self._column_of]
        unseen = np.zeros((*truth.shape, 2))
        for left_out in site_folds(sites):
            unseen[left_out] = self._spread(has[left_out], _shares(has[~left_out], right[~left_out]))
        self._worth = _shares(has, right)
        return unseen

    def of(self, found: Sequence[Sequence[Found]]) -> Table:
        """What the signs in each message are worth for each code.

        Returns
        -------
        ndarray of shape (n_messages, n_codes, 2)
            The worth of the best sign, and the chance that one of them is right were they independent.
        """
        return self._spread(self._has(found), self._worth)

    def _has(self, found: Sequence[Sequence[Found]]) -> NDArray[np.bool_]:
        has = np.zeros((len(found), len(self._column_of)), dtype=bool)
        for row, signs in enumerate(found):
            has[row, [sign.sign for sign in signs if not sign.negated]] = True
        return has

    def _spread(self, has: NDArray[np.bool_], worth: Table) -> Table:
        each = has * worth
        best = np.maximum.reduceat(each, self._firsts, axis=1)
        return np.stack([best, 1 - np.multiply.reduceat(1 - each, self._firsts, axis=1)], axis=2)


def _shares(has: NDArray[np.bool_], right: NDArray[np.bool_]) -> Table:
    seen, hits = has.sum(axis=0), right.sum(axis=0)
    usual = hits.sum() / max(1, seen.sum())
    shares: Table = (hits + DOUBT * usual) / (seen + DOUBT)
    return shares
