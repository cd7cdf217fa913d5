"""Why a message was read as it was, in the reader's own words.

Start with `words_that_weighed`.
"""

from typing import Final

import numpy as np

from inbox.reading.cues import NAMES, words_of_cue
from inbox.reading.linear import Scorer
from inbox.reading.prepared import Prepared
from inbox.words import KINDS

MOST: Final = 5
SMALLEST: Final = 0.01
"""Weights below this are noise: leave them out."""


def words_that_weighed(scorer: Scorer, prepared: Prepared) -> dict[str, list[tuple[str, float]]]:
    """Words, pairs of words and turns of phrase of one message, by kind, heaviest first.

    A weight is the term's part of the first-stage score, which is near 0 for no and 1 for yes.
    """
    terms = scorer.term_values(prepared.clauses[0])
    cues = scorer.cue_values(prepared)[0]
    present = np.flatnonzero(prepared.cues[0])
    phrases = {int(at): words_of_cue(NAMES[at], prepared.texts[0]) for at in present}
    answer: dict[str, list[tuple[str, float]]] = {}
    for column, kind in enumerate(KINDS):
        weights: dict[str, float] = {}
        for at, value in zip(terms.indices, terms.data, strict=True):
            words = readable(str(scorer.terms_[at]))
            weights[words] = weights.get(words, 0.0) + float(value * scorer.term_weights_[at, column])
        for at, words in phrases.items():
            if words:
                weights[words] = weights.get(words, 0.0) + float(cues[at] * scorer.cue_weights_[at, column])
        ranked = sorted(weights.items(), key=lambda pair: (-abs(pair[1]), pair[0]))
        answer[kind] = [pair for pair in ranked[:MOST] if abs(pair[1]) >= SMALLEST]
    return answer


def readable(term: str) -> str:
    """A marked term as a person would say it: "sink_not" is "(not) sink"."""
    return " ".join(f"(not) {word[:-4]}" if word.endswith("_not") else word for word in term.split())
