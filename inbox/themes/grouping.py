"""Requests become themes, and themes keep what they are.

Members of a settled theme stay where they are. Requests that are not settled
(new ones, and those whose place was doubtful, which the caller hands in again)
join the nearest settled theme above the threshold, or form new themes by
average linkage among themselves. Who would be left alone joins the nearest
theme above a lower one, and is looked at again the next time, since so low a
place is doubtful. What a person decided comes first. Start with
`group`.

So that the cost grows about linearly, linkage looks at a batch at a time: what
it finds attracts the requests that are left, and only what no theme attracts
goes into the next batch. Up to `BATCH` requests this is plain average linkage.
"""

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from inbox.themes.facets import Facets
from inbox.themes.likeness import Likeness
from inbox.themes.linkage import average_linkage
from inbox.themes.naming import common_facets, name_of
from inbox.themes.nearest import nearest_themes
from inbox.themes.sketches import Sketch

TYPICAL: Final = 12
"""Chosen: members that stand for a theme when a request is compared with it."""

DOUBT: Final = 0.1
"""Chosen: a place is doubtful when another theme, or none at all, would have done within this margin."""

BATCH: Final = 1000
"""Requests that linkage looks at together; its cost is the square of this."""


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
    if not requests:
        return Grouping((), ())
    pinned = pinned or {}
    placed = {id: Placed(id, theme, None, 1.0, False) for id, theme in pinned.items()}
    free = sorted((one for one in requests if one.id not in pinned), key=_arrival_free_key)
    with threadpool_limits(limits=1):  # the products are small: threads would mostly wait for each other
        joined = _join(free, likeness, likeness.threshold_, settled, frozenset(apart))
        formed = _form([one for one in free if one.id not in joined], likeness)
        alone = [theme.members[0] for theme in formed if len(theme.members) == 1]
        joined |= _join(alone, likeness, likeness.lone_threshold_, settled, frozenset(apart))
        formed = [theme for theme in formed if theme.members[0].id not in joined]
        new = _new_themes(formed, likeness, {theme.name for theme in settled})
    placed |= joined
    for number, theme in enumerate(formed):
        placed |= _places(theme, likeness.threshold_, number)
    return Grouping(tuple(placed[one.id] for one in requests), new)


def _arrival_free_key(one: Sketch) -> tuple[str, str]:
    """Sort by content: the order of arrival then decides nothing."""
    return hashlib.sha256(one.text.encode()).hexdigest(), one.id


def _join(
    free: Sequence[Sketch],
    likeness: Likeness,
    threshold: float,
    settled: Sequence[SettledTheme],
    apart: frozenset[tuple[str, int]] = frozenset(),
) -> dict[str, Placed]:
    """Requests that a settled theme attracts from `threshold` on, each with its place."""
    joined = {}
    themes = [theme.members[:TYPICAL] for theme in settled]
    for one, near in zip(free, nearest_themes(free, themes, likeness), strict=True):
        allowed = [(score, settled[at].id) for score, at in near if (one.id, settled[at].id) not in apart]
        if allowed and allowed[0][0] >= threshold:
            score, theme_id = allowed[0]
            rival = max(allowed[1][0] if len(allowed) > 1 else 0.0, likeness.threshold_)
            joined[one.id] = Placed(one.id, theme_id, None, score, score - rival < DOUBT)
    return joined


@dataclass(frozen=True, slots=True)
class _Formed:
    """Members of a new theme, those that founded it most typical first, and how alike each is to them."""

    members: list[Sketch]
    similarity: list[float]


def _form(rest: Sequence[Sketch], likeness: Likeness) -> list[_Formed]:
    """Put all of `rest` into new themes."""
    formed: list[_Formed] = []
    while rest:
        founded = _link(rest[:BATCH], likeness)
        formed += founded
        rest = rest[BATCH:]
        if rest:
            themes = [SettledTheme(at, "", tuple(one.members)) for at, one in enumerate(founded)]
            joined = _join(rest, likeness, likeness.threshold_, themes)
            for one in rest:
                if one.id in joined:
                    theme = founded[joined[one.id].theme or 0]
                    theme.members.append(one)
                    theme.similarity.append(joined[one.id].similarity)
            rest = [one for one in rest if one.id not in joined]
    return formed


def _link(batch: Sequence[Sketch], likeness: Likeness) -> list[_Formed]:
    """Average linkage among the requests of one batch."""
    table = likeness.table(batch)
    likely = likeness.between(table, table)
    upper = likely[np.triu_indices(len(batch), 1)]
    labels = average_linkage(upper, len(batch), likeness.threshold_, likeness.lone_threshold_)
    groups: dict[int, list[int]] = {}
    for row, label in enumerate(labels):
        groups.setdefault(label, []).append(row)
    return [_ordered(batch, rows, likely) for rows in groups.values()]


def _ordered(batch: Sequence[Sketch], rows: list[int], likely: NDArray[np.float32]) -> _Formed:
    inside = likely[np.ix_(rows, rows)]
    mean = (inside.sum(axis=1) - np.diag(inside)) / max(len(rows) - 1, 1) if len(rows) > 1 else np.ones(1)
    order = np.argsort(-mean, kind="stable")
    return _Formed([batch[rows[at]] for at in order], [float(mean[at]) for at in order])


def _places(theme: _Formed, threshold: float, number: int) -> dict[str, Placed]:
    return {
        one.id: Placed(one.id, None, number, similarity, similarity - threshold < DOUBT)
        for one, similarity in zip(theme.members, theme.similarity, strict=True)
    }


def _new_themes(formed: Sequence[_Formed], likeness: Likeness, taken: set[str]) -> tuple[NewTheme, ...]:
    """Formed themes with their names; where two would have the same one, the larger theme has it."""
    if not formed:
        return ()
    typical = [theme.members[:TYPICAL] for theme in formed]
    asked = likeness.asked(typical)
    names = [""] * len(formed)
    for at in sorted(range(len(formed)), key=lambda at: -len(formed[at].members)):
        names[at] = name_of(typical[at], asked[at], taken)
        taken.add(names[at])
    ids = [tuple(one.id for one in theme.members) for theme in formed]
    return tuple(
        NewTheme(names[at], common_facets(typical[at]), ids[at], ids[at][:3]) for at in range(len(formed))
    )
