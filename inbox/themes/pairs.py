"""Requests as arrays, and what can be compared between any two of them.

Start with `Table` and `comparisons`.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

Floats = NDArray[np.float32]

CONFLICT: Final = 0.05
"""Two requests that both name a diet, and share less than this of it, ask for different ones."""


DIRECTIONS: Final = (
    *[1] * 4,  # words, message, wish, message without its story
    *[1] * 9,  # entries read between the lines
    *[1, -1, -1] * 7,  # entries named outright, facet by facet: agreement, conflict, named by one alone
    *[1] * 2,  # the same, all facets together
    *[1, -1, 1],  # same recipe, another recipe, likeness of their titles
)
"""For each of the `comparisons`, whether more of it speaks for (1) or against (-1) the same wish."""


@dataclass(frozen=True, slots=True)
class Table:
    """Requests as arrays, one row each.

    Attributes
    ----------
    words : csr_matrix of shape (n, n_words)
        Weighted words, unit rows.
    meaning, wish, asked : ndarray of shape (n, 512)
        The message, the wish in it, and the message with the stories taken out; unit rows.
    entries : tuple of ndarray of shape (n, n_entries)
        How strongly entries of the vocabulary are asked for, in four blocks: dishes, diets, methods, others.
    named : tuple of ndarray of shape (n, n_named)
        Entries named outright, weighted by rarity, a block for each facet.
    dishes : ndarray of shape (n, n_dishes)
        1 for each dish, and each wider one, that the wish itself names; else 0.
    page : ndarray of shape (n,)
        A number that stands for the recipe it is about; -1 for none.
    title : ndarray of shape (n, 512)
        Meaning of that recipe's title, unit rows; zeros for none.
    """

    words: csr_matrix
    meaning: Floats
    wish: Floats
    asked: Floats
    entries: tuple[Floats, ...]
    named: tuple[Floats, ...]
    dishes: Floats
    page: NDArray[np.int64]
    title: Floats

    def __len__(self) -> int:
        return int(self.meaning.shape[0])

    def take(self, rows: NDArray[np.int64]) -> "Table":
        """Take the given rows, in their order."""
        return Table(
            self.words[rows],
            self.meaning[rows],
            self.wish[rows],
            self.asked[rows],
            tuple(block[rows] for block in self.entries),
            tuple(block[rows] for block in self.named),
            self.dishes[rows],
            self.page[rows],
            self.title[rows],
        )


def comparisons(left: Table, right: Table) -> Iterator[Floats]:
    """What is compared between each row of `left` and each of `right`, as matrices (n_left, n_right).

    The number and order of the matrices is always the same; each is computed when it is taken, so that
    only one is held at a time.
    """
    yield np.asarray((left.words @ right.words.T).toarray(), dtype=np.float32)
    yield left.meaning @ right.meaning.T
    yield left.wish @ right.wish.T
    yield left.asked @ right.asked.T
    yield from _entries(left, right)
    yield from _named(left, right)
    told = np.logical_and.outer(left.page >= 0, right.page >= 0)
    same = np.equal.outer(left.page, right.page)
    yield (told & same).astype(np.float32)
    yield (told & ~same).astype(np.float32)
    yield left.title @ right.title.T


def other_dish(left: Table, right: Table) -> NDArray[np.bool_]:
    """Whether both wishes name their dish, and not the same; matrix (n_left, n_right)."""
    told = np.logical_and.outer(left.dishes.any(axis=1), right.dishes.any(axis=1))
    return np.asarray(told & (left.dishes @ right.dishes.T == 0))


def _entries(left: Table, right: Table) -> Iterator[Floats]:
    """Agreement in what is read between the lines: all together, then block by block."""
    total = np.zeros((len(left), len(right)), dtype=np.float32)
    for one, other in zip(left.entries, right.entries, strict=True):
        shared = one @ other.T
        total += shared
        yield np.sqrt(shared)
        yield _cosine(shared, [one], [other])
    yield _cosine(total, left.entries, right.entries)


def _named(left: Table, right: Table) -> Iterator[Floats]:
    """Agreement in what is named outright: facet by facet, then all together."""
    total = np.zeros((len(left), len(right)), dtype=np.float32)
    for one, other in zip(left.named, right.named, strict=True):
        shared = one @ other.T
        total += shared
        cosine = _cosine(shared, [one], [other])
        has, other_has = one.any(axis=1), other.any(axis=1)
        yield cosine
        yield (np.logical_and.outer(has, other_has) & (cosine < CONFLICT)).astype(np.float32)
        yield np.logical_xor.outer(has, other_has).astype(np.float32)
    yield _cosine(total, left.named, right.named)
    yield np.sqrt(total)


def _cosine(
    shared: Floats, left: tuple[Floats, ...] | list[Floats], right: tuple[Floats, ...] | list[Floats]
) -> Floats:
    lengths = np.outer(_lengths(left), _lengths(right))
    return np.asarray(shared / np.maximum(lengths, 1e-9), dtype=np.float32)


def _lengths(blocks: tuple[Floats, ...] | list[Floats]) -> Floats:
    squares = [np.einsum("ij,ij->i", block, block) for block in blocks]
    return np.asarray(np.sqrt(np.sum(squares, axis=0)), dtype=np.float32)
