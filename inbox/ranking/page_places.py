"""Where in a recipe a reader's complaint about its page points: the ingredient line or the step.

Words that few lines of the recipe share tell most; amounts and times count like words. Start at `find_place`.
"""

import math
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from sklearn.feature_extraction.text import ENGLISH_STOP_WORDS

from inbox.reading.recipe_words import bare_number, is_amount, stem_of, words_of

LEAST = 1.6
"""Weight of shared words from which a line is meant; a word of no other line weighs some 2. Chosen."""

LEAST_OF_PAGE = 3.5
"""The same for faults that mostly lie outside the recipe: a dead link, a wrong badge. Chosen."""

MARGIN = 0.5
"""By how much the best line must lead the next one; below it the page does not tell. Chosen."""

_SAYS_NOTHING = ENGLISH_STOP_WORDS | {"time", "times", "recipe", "step", "minute", "minutes"}

_FIRST_LOOKED_AT = {
    "wrong_amount": "ingredient",
    "missing_step": "ingredient",
    "wrong_time": "step",
    "unclear_step": "step",
}
"""Which lines a fault is looked for in before the others."""

_CARDINALS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
_COUNTS = {word: at for words in (_CARDINALS, _ORDINALS) for at, word in enumerate(words, start=1)}
_STEP = re.compile(
    rf"\bstep\s+(?:no\.?\s*|number\s+|#)?(\d{{1,2}}|{'|'.join(_CARDINALS)})\b"
    rf"|\b(\d{{1,2}})(?:st|nd|rd|th)\s+step\b|\b({'|'.join(_ORDINALS)})\s+step\b",
    re.IGNORECASE,
)
_DURATION = re.compile(r"\d+(?:min|hour|day)$|^(?:half|quarter)hour$")


@dataclass(frozen=True, slots=True)
class Place:
    """One line of a recipe.

    Attributes
    ----------
    part : str
        "ingredient" or "step".
    number : int
        From 1.
    text : str
        The line as it stands in the recipe.
    why : str
        What it was found by.
    """

    part: str
    number: int
    text: str
    why: str


def find_place(fault: str, words: str, ingredients: Sequence[str], steps: Sequence[str]) -> Place | None:
    """The line that a reader means, or None where their words do not tell.

    Parameters
    ----------
    fault : str
        One of `words.RECIPE_PAGE_FAULTS`.
    words : str
        What the reader wrote.
    """
    named = _named_step(words, steps)
    # What a step leaves out stands among the ingredients; its number says less.
    if named is not None and fault != "missing_step":
        return named
    lines = [("ingredient", at, text) for at, text in enumerate(ingredients, start=1)]
    lines += [("step", at, text) for at, text in enumerate(steps, start=1)]
    signs = [_signs_of_line(text) for _, _, text in lines]
    scores = _scores(_signs(words), signs)
    found = _clearest(fault, [part for part, _, _ in lines], scores)
    if found is not None:
        return Place(*lines[found], "it shares their words")
    return named or _only_time(fault, lines, signs)


def _named_step(words: str, steps: Sequence[str]) -> Place | None:
    """The step that the reader gives the number of."""
    for match in _STEP.finditer(words):
        said = next(filter(None, match.groups())).lower()
        number = _COUNTS.get(said) or int(said)
        if 1 <= number <= len(steps):
            return Place("step", number, steps[number - 1], "the reader gives its number")
    return None


def _signs(text: str) -> dict[str, float]:
    """What of a text can be found again in a line, and how much each counts: words, pairs, numbers."""
    said = words_of(text)
    stems = [word if is_amount(word) else stem_of(word) for word in said if word not in _SAYS_NOTHING]
    signs = {stem: 1.0 for stem in stems if len(stem) > 1 and not stem.isdigit()}
    signs |= {f"{one} {two}": 0.5 for one, two in pairwise(stems)}
    for word in said:
        number = bare_number(word)
        if number[:1].isdigit():
            # A number up to twelve is often said by chance.
            signs[f"#{number}"] = 1.0 if float(number) > 12 else 0.3
    return signs


@lru_cache(4096)
def _signs_of_line(text: str) -> Mapping[str, float]:
    """As `_signs`; kept, as every complaint about a recipe's page is held against the same lines."""
    return _signs(text)


def _scores(reader: Mapping[str, float], lines: Sequence[Mapping[str, float]]) -> list[float]:
    """Weight of what each line shares with the reader's words; rare in the recipe weighs more."""
    spread = Counter(sign for line in lines for sign in line)
    worth = {sign: math.log((len(lines) + 1) / (count + 0.5)) for sign, count in spread.items()}
    return [sum(line[sign] * worth[sign] for sign in line.keys() & reader.keys()) for line in lines]


def _clearest(fault: str, parts: Sequence[str], scores: Sequence[float]) -> int | None:
    first = _FIRST_LOOKED_AT.get(fault)
    least = LEAST if first else LEAST_OF_PAGE
    groups: list[Iterable[int]] = [range(len(parts))]
    if first:
        groups = [
            [at for at, part in enumerate(parts) if (part == first) is wanted] for wanted in (True, False)
        ]
    for group in groups:
        best, *rest = [*sorted(group, key=lambda at: -scores[at]), None]
        if best is None or scores[best] < least:
            continue
        runner_up = scores[rest[0]] if rest[0] is not None else 0.0
        return best if scores[best] - runner_up >= MARGIN else None
    return None


def _only_time(
    fault: str, lines: Sequence[tuple[str, int, str]], signs: Sequence[Mapping[str, float]]
) -> Place | None:
    """Where a time is wrong and one step alone gives one."""
    if fault != "wrong_time":
        return None
    timed = [
        line
        for line, found in zip(lines, signs, strict=True)
        if line[0] == "step" and any(_DURATION.search(sign) for sign in found)
    ]
    return Place(*timed[0], "the only step that gives a time") if len(timed) == 1 else None
