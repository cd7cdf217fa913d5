"""Signs: the trade's turns of phrase for a fault or a hazard, as the tables in `seed_data` list them.

A sign only says that something may be meant. In a sign `*` stands for the rest of a word, `_` for up to three
words between, and a bar parts alternatives in brackets. Start with `SignTable.find`.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from inbox.reading.text import NEGATIONS

_GAP: Final = r"(?:\W+[\w']+){0,3}?\W+"
_BEFORE: Final = re.compile(r"[\w']+")
NEGATED_BEFORE: Final = 3
"""Words before a sign in which a negation turns it round."""


@dataclass(frozen=True, slots=True)
class Found:
    """One sign in one clause: whose it is, the reader's words, and whether they are negated."""

    code: str
    clause: int
    words: str
    negated: bool


class SignTable:
    """Signs by code, ready to be looked for.

    Parameters
    ----------
    signs : mapping of str to sequence of str
        By code, in the notation of the module's description.
    """

    def __init__(self, signs: Mapping[str, Sequence[str]]) -> None:
        self.codes = tuple(signs)
        self._patterns = [(code, re.compile(_alternatives(listed))) for code, listed in signs.items()]

    def find(self, clauses: Sequence[str]) -> list[Found]:
        """Every sign in the clauses of one message, at most one a code and place."""
        found = []
        for number, clause in enumerate(clauses):
            lowered = clause.lower()
            for code, pattern in self._patterns:
                for match in pattern.finditer(lowered):
                    words = clause[match.start() : match.end()].strip()
                    found.append(Found(code, number, words, _negated(lowered[: match.start()])))
        return found


def _alternatives(signs: Sequence[str]) -> str:
    return rf"\b(?:{'|'.join(_expression(sign) for sign in signs)})"


def _expression(sign: str) -> str:
    """A regular expression for one sign; a sign that ends in a whole word ends at a word's end."""
    expression = sign.strip().replace(" _ ", _GAP).replace("*", r"\w*").replace(" ", r"\W+")
    return expression + (r"\b" if expression[-1].isalnum() or expression.endswith(")") else "")


def _negated(before: str) -> bool:
    words = _BEFORE.findall(before)[-NEGATED_BEFORE:]
    return any(word.replace("'", "") in NEGATIONS or word.endswith("n't") for word in words)
