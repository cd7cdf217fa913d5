"""Questions that readers ask about a recipe again and again, and whether a note in the recipe stops them.

How alike two questions are comes from outside; nothing here reads words. Start at `repeated`.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial.distance import squareform

from inbox.ranking import wording
from inbox.ranking.stats import Floats, compare_poisson

FEWEST_READERS = 2
"""Readers from which a question is called repeated."""

SURE = 0.05
"""Level of the test whether a question has stopped."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One question about a recipe."""

    message_id: int
    reader: str
    received_on: date


@dataclass(frozen=True, slots=True)
class RepeatedQuestion:
    """One question of several readers.

    Attributes
    ----------
    message_ids : tuple of int
        The most typical first.
    """

    message_ids: tuple[int, ...]
    reader_count: int
    first_on: date
    last_on: date
    in_words: str


def repeated(questions: Sequence[Asked], similarity: Floats, *, alike_from: float) -> list[RepeatedQuestion]:
    """Group the questions of one recipe by average linkage, those of most readers first.

    Parameters
    ----------
    similarity : ndarray of shape (n_questions, n_questions)
        Symmetric, 1 for the same.
    alike_from : float
        Mean similarity between two groups from which they are one.
    """
    if len(questions) < FEWEST_READERS:
        return []
    distance = np.clip(1.0 - np.asarray(similarity, float), 0.0, None)
    np.fill_diagonal(distance, 0.0)
    tree = linkage(squareform(distance, checks=False), method="average")
    group_of = fcluster(tree, 1.0 - alike_from, criterion="distance")
    found = []
    for group in np.unique(group_of):
        rows = np.flatnonzero(group_of == group)
        members = [questions[int(row)] for row in rows]
        readers = {one.reader for one in members}
        if len(readers) < FEWEST_READERS:
            continue
        typical = np.argsort(distance[np.ix_(rows, rows)].mean(axis=1), kind="stable")
        days = [one.received_on for one in members]
        found.append(
            RepeatedQuestion(
                tuple(members[place].message_id for place in typical.tolist()),
                len(readers),
                min(days),
                max(days),
                f"{wording.number(len(readers)).capitalize()} readers ask this.",
            )
        )
    return sorted(found, key=lambda one: (-one.reader_count, one.message_ids))


@dataclass(frozen=True, slots=True)
class Stopped:
    """Whether a question stopped after a note was added; `p_value` is of "it comes as often as before"."""

    before_count: int
    after_count: int
    p_value: float
    in_words: str


def has_stopped(questions: Sequence[Asked], *, noted_on: date, asked_since: date, on: date) -> Stopped:
    """Compare how often a question came before and since a note was added to the recipe.

    Parameters
    ----------
    noted_on : date
        Day of the note; it counts as after.
    asked_since, on : date
        First and last day that are counted.
    """
    before = sum(asked_since <= one.received_on < noted_on for one in questions)
    after = sum(noted_on <= one.received_on <= on for one in questions)
    before_days, after_days = max((noted_on - asked_since).days, 1), max((on - noted_on).days + 1, 1)
    p_value = float(compare_poisson([after], [before], exposure_ratio=after_days / before_days)[0])
    fewer = after * before_days < before * after_days
    direction = "less" if fewer else "more"
    verdict = "still too few days to tell" if p_value > SURE else f"it comes {direction} often"
    in_words = f"Asked {wording.times(before)} before, {wording.times(after)} since: {verdict}."
    return Stopped(before, after, p_value, in_words)


def known_again(answered_ids: Collection[int], groups: Sequence[Collection[int]]) -> int | None:
    """Which of the groups is the question that was answered, by the messages that had asked it by then.

    Returns
    -------
    int or None
        Place of the group that shares most messages; None where none shares any.
    """
    shared = [len(set(answered_ids).intersection(group)) for group in groups]
    best = max(range(len(groups)), key=lambda at: shared[at], default=None)
    return best if best is not None and shared[best] else None
