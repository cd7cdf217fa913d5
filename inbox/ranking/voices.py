"""Who asked for a theme: one reader is one voice, however often they write.

Thumbs under a request count for less than a request, and never for more than a small crowd.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np

from inbox.ranking.stats import Floats

THUMBS_UP_WEIGHT = 0.2
"""Share of a voice that one thumb counts for. Chosen: it costs one tap, says no words that could be read, and
may come from somebody who also wrote."""

MOST_VOICES_BY_THUMBS = 5.0
"""Most voices that the thumbs under one request add up to. Chosen: what stands on top gets thumbs."""

SILENCE_DAYS = 120
"""Silence after which a reader who asks again counts as asking anew (chosen: two half-lives). Until then the
voice stays as old as it is: one who keeps asking is no younger demand than one who asked once."""


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
    age_days : ndarray of int
        Days since the reader began to ask; who comes back after a long silence begins anew.
    newest_age_days : ndarray of int
        Days since their newest request.
    weight : ndarray of float
        The reader's own voice, at most 1.
    thumbs : ndarray of float
        What thumbs add to it, in voices.
    """

    theme: np.ndarray
    age_days: np.ndarray
    newest_age_days: np.ndarray
    weight: Floats
    thumbs: Floats

    @property
    def whole(self) -> Floats:
        """Reader and thumbs together."""
        return self.weight + self.thumbs


def tabulate(voices_of_themes: Sequence[Sequence[Voice]], on: date) -> VoiceTable:
    """Gather each theme's requests by reader; requests dated after `on` are left out."""
    today = on.toordinal()
    columns: list[tuple[int, int, int, float, float]] = []
    for place, voices in enumerate(voices_of_themes):
        by_reader: dict[str, list[tuple[int, Voice]]] = {}
        for voice in voices:
            age = today - voice.received_on.toordinal()
            if age >= 0:
                by_reader.setdefault(voice.reader, []).append((age, voice))
        for requests in by_reader.values():
            ages = sorted(age for age, _ in requests)
            thumbs = max(voice.thumbs_up_count for _, voice in requests) * THUMBS_UP_WEIGHT
            weight = max(voice.weight for _, voice in requests)
            columns.append((place, _began(ages), ages[0], weight, min(thumbs, MOST_VOICES_BY_THUMBS)))
    theme, age_days, newest, weights, thumb_voices = zip(*columns, strict=True) if columns else ((),) * 5
    return VoiceTable(
        np.asarray(theme, int),
        np.asarray(age_days, int),
        np.asarray(newest, int),
        np.asarray(weights, float),
        np.asarray(thumb_voices, float),
    )


def _began(ages: Sequence[int]) -> int:
    """Age of the first request after the last long silence; `ages` are in ascending order."""
    for younger, older in pairwise(ages):
        if older - younger > SILENCE_DAYS:
            return younger
    return ages[-1]
