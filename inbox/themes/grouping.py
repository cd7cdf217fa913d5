"""Requests become themes, and themes keep what they are.

Members of a settled theme stay where they are. Requests that are not settled
(new ones, and those whose place was doubtful, which the caller hands in again)
join the nearest settled theme above the threshold, or form new themes by
average linkage among themselves. What a person decided comes first. Start with
`group`.
"""

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial.distance import squareform

from inbox.themes.facets import Facets
from inbox.themes.likeness import Likeness, Table
from inbox.themes.naming import common_facets, name_of
from inbox.themes.sketches import Sketch

TYPICAL = 12
"""Chosen: members that stand for a theme when a request is compared with it; more changed nothing."""

DOUBT = 0.1
"""Chosen: a place is doubtful when another theme, or none at all, would have done within this margin."""


@dataclass(frozen=True, slots=True)
class SettledTheme:
    """A theme that exists: its id, its name, and sketches of its members (the most typical suffice)."""

    id: int
    name: str
    members: tuple[Sketch, ...]
    open: bool = True


@dataclass(frozen=True, slots=True)
class Placed:
    """Where one request went: a settled theme's id, or the number of a new theme (an index into `new`)."""

    request: str
    theme: int | None
    new: int | None
    similarity: float
    doubtful: bool


@dataclass(frozen=True, slots=True)
class NewTheme:
    """A theme that the grouping found: members most typical first."""

    name: str
    facets: Facets
    members: tuple[str, ...]
    typical: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Grouping:
    """What became of every request that was handed in, in the order handed in."""

    placed: tuple[Placed, ...]
    new: tuple[NewTheme, ...]


def group(
    requests: Sequence[Sketch],
    likeness: Likeness,
    *,
    settled: Sequence[SettledTheme] = (),
    pinned: Mapping[str, int] | None = None,
    apart: Collection[tuple[str, int]] = (),
) -> Grouping:
    """Give each request a theme.

    Parameters
    ----------
    pinned : mapping of request id to settled theme id
        Where a person put a request; nothing else decides it.
    apart : collection of (request id, settled theme id)
        Requests that a person took out of a theme; they never return to it.
    """
    pinned = pinned or {}
    placed = {id: Placed(id, theme, None, 1.0, False) for id, theme in pinned.items()}
    free = sorted((one for one in requests if one.id not in pinned), key=_arrival_free_key)
    joined = _join(free, likeness, settled, frozenset(apart))
    placed |= joined
    rest = [one for one in free if one.id not in joined]
    new = []
    for number, members in enumerate(_form(rest, likeness)):
        themes, places = _describe(members, likeness, number)
        new.append(themes)
        placed |= places
    return Grouping(tuple(placed[one.id] for one in requests), tuple(new))


def _arrival_free_key(one: Sketch) -> tuple[str, str]:
    """Sort by content: the order of arrival then decides nothing."""
    return hashlib.sha256(one.text.encode()).hexdigest(), one.id


def _join(
    free: Sequence[Sketch],
    likeness: Likeness,
    settled: Sequence[SettledTheme],
    apart: frozenset[tuple[str, int]],
) -> dict[str, Placed]:
    if not free or not settled:
        return {}
    requests = likeness.table(free)
    scores = np.column_stack([_mean_likeness(requests, likeness, theme) for theme in settled])
    joined = {}
    for row, one in enumerate(free):
        for column, theme in enumerate(settled):
            if (one.id, theme.id) in apart:
                scores[row, column] = -1.0
        order = np.argsort(-scores[row], kind="stable")
        best = scores[row, order[0]]
        second = max(scores[row, order[1]] if len(order) > 1 else 0.0, likeness.threshold_)
        if best >= likeness.threshold_:
            theme_id = settled[order[0]].id
            joined[one.id] = Placed(one.id, theme_id, None, float(best), bool(best - second < DOUBT))
    return joined


def _mean_likeness(requests: Table, likeness: Likeness, theme: SettledTheme) -> NDArray[np.float64]:
    members = likeness.table(theme.members[:TYPICAL])
    count = len(members)
    left = requests.take(np.repeat(np.arange(len(requests)), count))
    right = members.take(np.tile(np.arange(count), len(requests)))
    mean: NDArray[np.float64] = likeness.between(left, right).reshape(-1, count).mean(axis=1)
    return mean


def _form(rest: Sequence[Sketch], likeness: Likeness) -> list[list[Sketch]]:
    if len(rest) < 2:
        return [[one] for one in rest]
    similarity = _all_pairs(rest, likeness)
    distance = squareform(1 - similarity, checks=False)
    labels = fcluster(linkage(distance, "average"), 1 - likeness.threshold_, "distance")
    groups: dict[int, list[Sketch]] = {}
    for label, one in zip(labels, rest, strict=True):
        groups.setdefault(int(label), []).append(one)
    return list(groups.values())


def _all_pairs(rest: Sequence[Sketch], likeness: Likeness) -> NDArray[np.float64]:
    table = likeness.table(rest)
    left, right = np.triu_indices(len(rest), 1)
    similarity = np.eye(len(rest))
    similarity[left, right] = similarity[right, left] = likeness.between(table.take(left), table.take(right))
    return similarity


def _describe(
    members: Sequence[Sketch], likeness: Likeness, number: int
) -> tuple[NewTheme, dict[str, Placed]]:
    similarity = _all_pairs(members, likeness)
    mean = (similarity.sum(axis=1) - 1) / (len(members) - 1) if len(members) > 1 else np.ones(1)
    order = np.argsort(-mean, kind="stable")
    typical = tuple(members[at].id for at in order[:3])
    theme = NewTheme(name_of(members), common_facets(members), tuple(members[at].id for at in order), typical)
    doubtful = mean - likeness.threshold_ < DOUBT
    places = {
        one.id: Placed(one.id, None, number, float(mean[at]), bool(doubtful[at]))
        for at, one in enumerate(members)
    }
    return theme, places
