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


def _phrases() -> dict[str, re.Pattern[str]]:
    table = json.loads((seed_folder() / "cues.json").read_text(encoding="utf-8"))["phrases"]
    return {name: re.compile(pattern, re.IGNORECASE) for name, pattern in table.items()}


_CUES: Final = _phrases()

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
        table[row, : len(_CUES)] = [len(cue.findall(text)) for cue in _CUES.values()]
        table[row, len(_CUES) :] = _how_it_came(one, text)
    table[:, : len(_CUES)] = np.log1p(table[:, : len(_CUES)])
    return table


def words_of_cue(name: str, text: str) -> str:
    """The words of `text` that a cue found first; empty for the cues that are not phrases."""
    found = _CUES[name].search(text) if name in _CUES else None
    return " ".join(found.group().split()) if found else ""


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
