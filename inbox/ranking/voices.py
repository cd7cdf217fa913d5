"""Who asked for a theme: one reader is one voice, however often they write.

Thumbs under a request count for less than a request, and never for more than a small crowd.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from inbox.ranking.stats import Floats

THUMBS_UP_WEIGHT = 0.2
"""Share of a voice that one thumb counts for. Chosen: it costs one tap, says no words that could be read, and
may come from somebody who also wrote."""

MOST_VOICES_BY_THUMBS = 5.0
"""Most voices that the thumbs under one request add up to. Chosen: what stands on top gets thumbs."""


@dataclass(frozen=True, slots=True)
class Voice:
    """One request.

    Attributes
    ----------
    reader : str
        Key of the reader; a request of nobody known has a key of its own.
    weight : float
        Probability that it asks for this theme; 1 where a person said so.
    thumbs_up_count : int
        How many others tapped a thumb under it.
    """

    reader: str
    received_on: date
    weight: float = 1.0
    thumbs_up_count: int = 0


@dataclass(frozen=True, slots=True)
class VoiceTable:
    """The distinct voices of all themes as columns.

    Attributes
    ----------
    theme : ndarray of int
        Place of the theme in the list that was handed in.
    age_days, first_age_days : ndarray of int
        Days since the reader's newest request, and since their first one.
    weight : ndarray of float
        The reader's own voice, at most 1.
    thumbs : ndarray of float
        What thumbs add to it, in voices.
    """

    theme: np.ndarray
    age_days: np.ndarray
    first_age_days: np.ndarray
    weight: Floats
    thumbs: Floats


def tabulate(voices_of_themes: Sequence[Sequence[Voice]], on: date) -> VoiceTable:
    """Gather each theme's requests by reader; requests dated after `on` are left out."""
    today = on.toordinal()
    columns: list[tuple[int, int, int, float, float]] = []
    for place, voices in enumerate(voices_of_themes):
        by_reader: dict[str, tuple[int, int, float, float]] = {}
        for voice in voices:
            age = today - voice.received_on.toordinal()
            if age < 0:
                continue
            thumbs = min(THUMBS_UP_WEIGHT * voice.thumbs_up_count, MOST_VOICES_BY_THUMBS)
            newest, oldest, weight, added = by_reader.get(voice.reader, (age, age, 0.0, 0.0))
            by_reader[voice.reader] = (
                min(newest, age), max(oldest, age), max(weight, voice.weight), max(added, thumbs),
            )  # fmt: skip
        columns += [(place, *row) for row in by_reader.values()]
    theme, newest_age, oldest_age, weight_of, thumbs_of = (
        zip(*columns, strict=True) if columns else ((), (), (), (), ())
    )
    return VoiceTable(
        np.asarray(theme, int),
        np.asarray(newest_age, int),
        np.asarray(oldest_age, int),
        np.asarray(weight_of, float),
        np.asarray(thumbs_of, float),
    )
