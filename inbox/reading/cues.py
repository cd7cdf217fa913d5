"""Turns of phrase that a person would go by: cooked in the past, a wish, a question, a verdict, a complaint.

They stand in `seed_data/cues.json`; what each is worth is learned from labelled messages.
Start with `count_cues`.
"""

import json
import re
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from inbox.places import seed_folder
from inbox.reading.findings import Told
from inbox.reading.key_words import KeyWords


def _phrases() -> dict[str, str]:
    phrases: dict[str, str] = json.loads((seed_folder() / "cues.json").read_text(encoding="utf-8"))["phrases"]
    return phrases


_CUES: Final = {name: re.compile(expression) for name, expression in _phrases().items()}
_PATTERNS: Final = tuple(_CUES.values())
_KEY_WORDS: Final = KeyWords(list(_phrases().values()))
_ONE_CASE: Final = str.maketrans({"İ": "i", "ı": "i", "ſ": "s"})
"""Letters that are another one where case is ignored; each stays one sign, so that places stay the same."""

CHANNELS_SEEN: Final = ("form", "email", "comment", "social")
EXTRAS: Final = (
    *CHANNELS_SEEN,
    "has_subject",
    "on_a_page",
    "log_length",
    "short",
    "rated",
    "stars_low",
    "stars_high",
)
NAMES: Final = (*_CUES, *EXTRAS)


def count_cues(told: Sequence[Told], texts: Sequence[str]) -> NDArray[np.float64]:
    """How often each cue of `NAMES` occurs.

    Returns
    -------
    ndarray of shape (n_messages, n_cues)
        ln(1 + count) for phrases; the last columns say how the message came, how long it is and its stars.
    """
    table = np.zeros((len(texts), len(NAMES)))
    for row, (one, text) in enumerate(zip(told, texts, strict=True)):
        lowered = _lower(text)
        for place in _KEY_WORDS.worth_trying(lowered):
            table[row, place] = len(_PATTERNS[place].findall(lowered))
        table[row, len(_CUES) :] = _how_it_came(one, text)
    table[:, : len(_CUES)] = np.log1p(table[:, : len(_CUES)])
    return table


def words_of_cue(name: str, text: str) -> str:
    """The words of `text` that a cue found first; empty for the cues that are not phrases."""
    found = _CUES[name].search(_lower(text)) if name in _CUES else None
    return " ".join(text[found.start() : found.end()].split()) if found else ""


def _lower(text: str) -> str:
    return text.lower() if text.isascii() else text.translate(_ONE_CASE).lower()


def _how_it_came(told: Told, text: str) -> list[float]:
    stars = told.stars
    return [
        *(float(told.channel == channel) for channel in CHANNELS_SEEN),
        float(told.subject is not None),
        float(told.page is not None),
        float(np.log1p(len(text)) / 5),
        float(len(text) < 60),
        float(stars is not None),
        float(stars is not None and stars <= 2),
        float(stars is not None and stars >= 4),
    ]
