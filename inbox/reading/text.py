"""Gets a message's words ready to be read: plain signs, clauses, words, and what a negation reaches.

Start with `plain_text` and `clauses`.
"""

import re
from collections.abc import Sequence
from typing import Final

from inbox.reading.findings import Told

MAX_CHARACTERS: Final = 20_000
"""Of a longer message only the beginning is read."""

MAX_CLAUSES: Final = 60

_SIGNS: Final = str.maketrans({"’": "'", "‘": "'", "“": '"', "”": '"', "–": "-", "—": "-", "…": "..."})
_CLAUSE_END: Final = re.compile(
    r"(?<=[.!?])[\"')\]]*\s+|\n+|\s*;\s+|\s+-+\s+"
    r"|[,.]?\s+(?=(?:but|although|though|however|except|otherwise|sadly|unfortunately|luckily|still)\b)",
    re.IGNORECASE,
)
_LONG_BLANKS: Final = re.compile(r"\s{8,}")
"""Runs of blanks that no sentence has; looking for the ends of clauses in them grows with their square."""
_WORD: Final = re.compile(r"[a-z0-9]+(?:'[a-z]+)?|[?!]")

NEGATIONS: Final = frozenset(
    "not no never without none nothing nobody hardly barely cannot cant dont didnt doesnt isnt wasnt wont "
    "wouldnt couldnt arent havent hasnt hadnt zero neither nor nowhere".split()
)
NEGATION_REACH: Final = 4
"""Words after a negation that it is taken to reach, within one clause.

Pang, Lee and Vaithyanathan (2002) mark to the next punctuation; four words is our own limit, chosen because
readers punctuate little.
"""


def plain_text(told: Told) -> str:
    """Subject and text with typographic signs made plain."""
    whole = f"{told.subject}. {told.text}" if told.subject else told.text
    return whole[:MAX_CHARACTERS].translate(_SIGNS)


def clauses(text: str) -> list[str]:
    """The clauses of a plain text, cut at sentence ends and at words of contrast; at least one."""
    found = [
        clause.strip() for clause in _CLAUSE_END.split(shorten_blanks(text)) if clause and clause.strip()
    ]
    return found[:MAX_CLAUSES] or [text]


def shorten_blanks(text: str) -> str:
    """Text whose long runs of blanks keep their ends, and a line end if one is in them: enough to part it."""
    return _LONG_BLANKS.sub(lambda run: run[0][0] + ("\n" if "\n" in run[0] else "") + run[0][-1], text)


def words(clause: str) -> list[str]:
    """Lower-case words of a clause; question and exclamation marks count as words."""
    return _WORD.findall(clause.lower())


def negated(clause_words: Sequence[str]) -> list[bool]:
    """For each word whether a negation before it, within reach, turns it round."""
    reach = 0
    out = []
    for word in clause_words:
        out.append(reach > 0)
        if is_negation(word):
            reach = NEGATION_REACH
        elif reach:
            reach -= 1
    return out


def is_negation(word: str) -> bool:
    """Whether a lower-case word turns round what follows it."""
    if "'" not in word:
        return word in NEGATIONS
    return word.endswith("n't") or word.replace("'", "") in NEGATIONS
