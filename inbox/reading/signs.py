"""Signs: the trade's turns of phrase for a fault or a hazard, as the tables in `seed_data` list them.

A sign only says that something may be meant. In a sign `*` stands for the rest of a word, `_` for up to three
words between, and a bar parts alternatives in brackets. Start with `SignTable.find`.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from inbox.reading.key_words import KeyWords
from inbox.reading.text import is_negation

_GAP: Final = r"(?:\W+[\w']+){0,3}?\W+"
_BEFORE: Final = re.compile(r"[\w']+")
NEGATED_BEFORE: Final = 3
"""Words before a sign in which a negation turns it round."""


@dataclass(frozen=True, slots=True)
class Found:
    """One sign in one clause: whose it is, which one, the reader's words, whether negated."""

    code: str
    sign: int
    clause: int
    words: str
    negated: bool


class SignTable:
    """Signs by code, ready to be looked for.

    Parameters
    ----------
    signs : mapping of str to sequence of str
        By code, in the notation of the module's description.

    Attributes
    ----------
    codes : tuple of str
    code_of : list of str
        Of each sign.
    patterns : list of re.Pattern
        One a sign, in the order of `signs`.
    """

    def __init__(self, signs: Mapping[str, Sequence[str]]) -> None:
        self.codes = tuple(signs)
        self.code_of = [code for code, listed in signs.items() for _ in listed]
        expressions = [_expression(sign) for listed in signs.values() for sign in listed]
        self.patterns = [re.compile(expression) for expression in expressions]
        self._key_words = KeyWords(expressions)

    def find(self, clauses: Sequence[str]) -> list[Found]:
        """Every sign in the clauses of one message, at most one a code and place."""
        found = []
        for number, clause in enumerate(clauses):
            lowered = clause.lower()
            wanted = self._key_words.worth_trying(lowered)
            for code, numbers in groupby(wanted, self.code_of.__getitem__):
                sign_of = {self.patterns[one]: one for one in numbers}
                for match in _leftmost(list(sign_of), lowered):
                    words = clause[match.start() : match.end()].strip()
                    negated = _negated(lowered[: match.start()])
                    found.append(Found(code, sign_of[match.re], number, words, negated))
        return found


def _leftmost(patterns: Sequence[re.Pattern[str]], text: str) -> Iterator[re.Match[str]]:
    """Matches in order, none within another; where two begin together, that of the earlier pattern."""
    ahead = [pattern.search(text) for pattern in patterns]
    while any(ahead):
        first = min((match for match in ahead if match), key=re.Match.start)
        yield first
        ahead = [
            match.re.search(text, first.end()) if match and match.start() < first.end() else match
            for match in ahead
        ]


def _expression(sign: str) -> str:
    """A regular expression for one sign; a sign that ends in a whole word ends at a word's end."""
    expression = sign.strip().replace(" _ ", _GAP).replace("*", r"\w*").replace(" ", r"\W+")
    end = r"\b" if expression[-1].isalnum() or expression.endswith(")") else ""
    return rf"\b(?:{expression}{end})"


def _negated(before: str) -> bool:
    return any(map(is_negation, _BEFORE.findall(before)[-NEGATED_BEFORE:]))
