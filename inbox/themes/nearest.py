"""The few themes that a request may belong to, out of many.

A coarse product with one profile a theme finds candidates; only those are
compared member by member. Start with `nearest_themes`.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from inbox.themes.likeness import Likeness
from inbox.themes.pairs import Floats, Table
from inbox.themes.sketches import Sketch

CANDIDATES: Final = 8
"""Themes that are compared member by member; further ones never won on the training sites."""

ROWS_AT_ONCE: Final = 10000
"""Requests laid out at a time, so that memory does not grow with their number."""


def nearest_themes(
    requests: Sequence[Sketch], themes: Sequence[Sequence[Sketch]], likeness: Likeness
) -> list[list[tuple[float, int]]]:
    """Find for each request the themes most like it.

    Parameters
    ----------
    themes : sequence of sequences of Sketch
        Members that stand for each theme; none empty.

    Returns
    -------
    list of list of (float, int)
        For each request, mean likeness to the members and the theme's index, best first, ties in the order
        of `themes`.
    """
    if not themes or not requests:
        return [[] for _ in requests]
    owners = np.repeat(np.arange(len(themes)), [len(members) for members in themes])
    members = likeness.table([one for theme in themes for one in theme])
    profiles = _profiles(members, owners, len(themes))
    found: list[list[tuple[float, int]]] = []
    for start in range(0, len(requests), ROWS_AT_ONCE):
        table = likeness.table(requests[start : start + ROWS_AT_ONCE])
        found += _nearest(table, members, owners, profiles, likeness)
    return found


def _nearest(
    table: Table, members: Table, owners: NDArray[np.int64], profiles: Floats, likeness: Likeness
) -> list[list[tuple[float, int]]]:
    coarse = _coarse(table) @ profiles.T
    count = min(CANDIDATES, profiles.shape[0])
    candidates = np.argpartition(-coarse, count - 1, axis=1)[:, :count]
    found: list[list[tuple[float, int]]] = [[] for _ in range(len(table))]
    rows_of: dict[int, list[int]] = {}
    for row, themes in enumerate(candidates):
        for theme in themes:
            rows_of.setdefault(int(theme), []).append(row)
    for theme, rows in sorted(rows_of.items()):
        start, end = np.searchsorted(owners, [theme, theme + 1])
        likely = likeness.between(table.take(np.array(rows)), members.take(slice(start, end)))
        for row, score in zip(rows, likely.mean(axis=1), strict=True):
            found[row].append((float(score), theme))
    return [sorted(near, key=lambda pair: (-pair[0], pair[1])) for near in found]


def _coarse(table: Table) -> Floats:
    """One row a request whose products come near to the likeness: wish, story-free meaning and entries."""
    entries = np.hstack([block.rows for block in table.entries])
    entries = entries / np.maximum(np.linalg.norm(entries, axis=1, keepdims=True), 1e-9)
    return np.hstack([2 * entries, table.wish, table.asked])


def _profiles(members: Table, owners: NDArray[np.int64], count: int) -> Floats:
    rows = _coarse(members)
    starts = np.searchsorted(owners, np.arange(count))
    sums = np.add.reduceat(rows, starts, axis=0)
    return np.asarray(sums / np.bincount(owners, minlength=count)[:, None], dtype=np.float32)
