"""Why a message was read as it was, in the reader's own words.

Start with `what_weighed`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from inbox.reading.cues import EXTRAS, NAMES, words_of_cue
from inbox.reading.faults import fault_signs
from inbox.reading.findings import Told
from inbox.reading.labels import COLUMN_OF
from inbox.reading.linear import Scorer
from inbox.reading.prepared import Prepared
from inbox.words import FAULTS, KINDS, OUTCOMES

MOST: Final = 4
SMALLEST: Final = 0.01
"""Weights below this are noise: leave them out."""

SAY_NOTHING: Final = frozenset(
    "a an and are as at be been for had has have i in is it its my of on or out so such that the there these "
    "this to was we were with ! you your".split()
)
"""Words that weigh a little wherever they stand: alone they are counted, and not named."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """What weighed in reading one label into a message; weights are parts of a score from about 0 to 1.

    Attributes
    ----------
    words : tuple of (str, float)
        The reader's own words, heaviest first; above 0 they speak for the label. "(not)" stands before a word
        that a negation turns round.
    signs : tuple of (str, float)
        What came with the words, such as the stars, in plain English; heaviest first.
    share_in_words : float
        From 0 to 1: how much of the whole weight words and signs have. The rest is the sense of whole
        sentences, and what the message does not say, and cannot be told in words.
    """

    words: tuple[tuple[str, float], ...] = ()
    signs: tuple[tuple[str, float], ...] = ()
    share_in_words: float = 0.0


def what_weighed(scorer: Scorer, told: Told, prepared: Prepared) -> dict[str, Weighed]:
    """For each kind, outcome and fault what weighed most in reading it into one message.

    The words are those of the first stage, from whose scores the second makes probabilities; for a fault the
    signs of it that were found come first, since its second stage looks at them before all.
    """
    features = scorer.features(prepared)
    terms, cues = features.words, features.cues[0]
    scores = scorer.score(prepared, features)[0][0] - scorer.mean_values()
    names = _present(told, prepared)
    found = _fault_words(prepared)
    answer = {}
    for label in (*KINDS, *OUTCOMES, *FAULTS):
        column = COLUMN_OF[label]
        words: dict[str, float] = {}
        signs: dict[str, float] = {}
        for at, value in zip(terms.indices, terms.data, strict=True):
            _add(words, readable(str(scorer.terms_[at])), value * scorer.term_weights_[at, column])
        for at, (name, is_words) in names.items():
            _add(words if is_words else signs, name, cues[at] * scorer.cue_weights_[at, column])
        weights = [*words.values(), *signs.values()]
        told_in_words = sum(map(abs, weights))
        rest = abs(float(scores[column]) - sum(weights))
        for phrase in found.get(label, ()):
            words[phrase] = max(1.0, words.get(phrase, 0.0))
        answer[label] = Weighed(
            words=_heaviest(words),
            signs=_heaviest(signs),
            share_in_words=told_in_words / (told_in_words + rest) if told_in_words + rest else 0.0,
        )
    return answer


def _add(weights: dict[str, float], name: str, weight: float) -> None:
    weights[name] = weights.get(name, 0.0) + float(weight)


def _present(told: Told, prepared: Prepared) -> Mapping[int, tuple[str, bool]]:
    """What cues are in the message, by their places: how to name each, and whether in the reader's words."""
    found: dict[int, tuple[str, bool]] = {}
    for at in map(int, np.flatnonzero(prepared.cues[0])):
        name = NAMES[at]
        words = words_of_cue(name, prepared.texts[0])
        if words:
            found[at] = (words.lower(), True)
        elif name in EXTRAS and (plain := _plain_name(name, told)):
            found[at] = (plain, False)
    return found


def _plain_name(name: str, told: Told) -> str:
    """A sign that is no phrase, as a person would say it."""
    stars = "the one star" if told.stars == 1 else f"the {told.stars or 0:g} stars"
    return {
        "form": "sent by a form",
        "email": "sent by mail",
        "comment": "written as a comment",
        "social": "written on another site",
        "has_subject": "it has a subject",
        "on_a_page": "written on a recipe's page",
        "log_length": "its length",
        "short": "so short",
        "rated": stars,
        "stars_low": stars,
        "stars_high": stars,
    }.get(name, "")


def _fault_words(prepared: Prepared) -> dict[str, list[str]]:
    """The signs of each fault that stand in the message and are not negated, in the reader's words."""
    found: dict[str, list[str]] = {}
    for sign in fault_signs().find(prepared.clauses[0]):
        if not sign.negated:
            found.setdefault(sign.code, []).append(" ".join(sign.words.lower().split()))
    return found


def _heaviest(weights: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    """The heaviest, each at most once: words that lie within others already named are not said again."""
    chosen: list[tuple[str, float]] = []
    for name, weight in sorted(weights.items(), key=lambda pair: (-abs(pair[1]), pair[0])):
        if abs(weight) < SMALLEST or len(chosen) == MOST:
            break
        if SAY_NOTHING.issuperset(name.replace("(not) ", "").split()):
            continue
        if not any(f" {name} " in f" {other} " or f" {other} " in f" {name} " for other, _ in chosen):
            chosen.append((name, weight))
    return tuple(chosen)


def readable(term: str) -> str:
    """A marked term as a person would say it: "sink_not" is "(not) sink"."""
    return " ".join(f"(not) {word[:-4]}" if word.endswith("_not") else word for word in term.split())
