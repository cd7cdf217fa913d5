"""Requests as arrays, and what can be compared between any two of them.

Start with `Table` and `comparisons`.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

Floats = NDArray[np.float32]
Rows = NDArray[np.int64] | slice

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
class Block:
    """A few columns of a table, with the length of each row in them."""

    rows: Floats
    lengths: Floats

    @classmethod
    def of(cls, rows: Floats) -> "Block":
        """Measure the rows once, since each is compared with many."""
        return cls(rows, np.sqrt(np.einsum("ij,ij->i", rows, rows)))

    def take(self, rows: Rows) -> "Block":
        """Take the given rows, in their order."""
        return Block(self.rows[rows], self.lengths[rows])


@dataclass(frozen=True, slots=True)
class Table:
    """Requests as arrays, one row each.

    Attributes
    ----------
    words : csr_matrix of shape (n, n_words)
        Weighted words, unit rows.
    meaning, wish, asked : ndarray of shape (n, 512)
        The message, the wish in it, and the message with the stories taken out; unit rows.
    entries : tuple of Block
        How strongly entries of the vocabulary are asked for, in four blocks: dishes, diets, methods, others.
    named : tuple of Block
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
    entries: tuple[Block, ...]
    named: tuple[Block, ...]
    dishes: Floats
    page: NDArray[np.int64]
    title: Floats

    def __len__(self) -> int:
        return int(self.meaning.shape[0])

    def take(self, rows: Rows) -> "Table":
        """Take the given rows, in their order; a slice copies nothing but words."""
        return Table(
            self.words[rows],
            self.meaning[rows],
            self.wish[rows],
            self.asked[rows],
            tuple(block.take(rows) for block in self.entries),
            tuple(block.take(rows) for block in self.named),
            self.dishes[rows],
            self.page[rows],
            self.title[rows],
        )


Compared = Callable[[], Floats]


def comparisons(left: Table, right: Table) -> Iterator[Compared]:
    """What is compared between each row of `left` and each of `right`, as matrices (n_left, n_right).

    The number and order of the matrices is always the same; each is computed when it is called, so that
    only one is held at a time, and none that weighs nothing is worked out.
    """
    yield lambda: np.asarray((left.words @ right.words.T).toarray(), dtype=np.float32)
    yield lambda: left.meaning @ right.meaning.T
    yield lambda: left.wish @ right.wish.T
    yield lambda: left.asked @ right.asked.T
    yield from _entries(left.entries, right.entries)
    yield from _named(left.named, right.named)
    yield partial(_pages, left, right, np.equal)
    yield partial(_pages, left, right, np.not_equal)
    yield lambda: left.title @ right.title.T


def other_dish(left: Table, right: Table) -> NDArray[np.bool_]:
    """Whether both wishes name their dish, and not the same; matrix (n_left, n_right)."""
    told = np.logical_and.outer(left.dishes.any(axis=1), right.dishes.any(axis=1))
    return np.asarray(told & (left.dishes @ right.dishes.T == 0))


def _pages(left: Table, right: Table, alike: np.ufunc) -> Floats:
    told = np.logical_and.outer(left.page >= 0, right.page >= 0)
    return np.asarray(told & alike.outer(left.page, right.page), dtype=np.float32)


def _entries(left: Sequence[Block], right: Sequence[Block]) -> Iterator[Compared]:
    """Agreement in what is read between the lines: block by block, then all together."""
    every = []
    for one, other in zip(left, right, strict=True):
        shared = cache(partial(np.matmul, one.rows, other.rows.T))
        every.append(shared)
        yield partial(_root, [shared])
        yield partial(_cosine, [shared], [one], [other])
    yield partial(_cosine, every, left, right)


def _named(left: Sequence[Block], right: Sequence[Block]) -> Iterator[Compared]:
    """Agreement in what is named outright: facet by facet, then all together."""
    every = []
    for one, other in zip(left, right, strict=True):
        shared = cache(partial(np.matmul, one.rows, other.rows.T))
        cosine = cache(partial(_cosine, [shared], [one], [other]))
        every.append(shared)
        yield cosine
        yield partial(_conflict, one, other, cosine)
        yield partial(_by_one_alone, one, other)
    yield partial(_cosine, every, left, right)
    yield partial(_root, every)


def _conflict(one: Block, other: Block, cosine: Compared) -> Floats:
    both = np.logical_and.outer(one.lengths > 0, other.lengths > 0)
    return np.asarray(both & (cosine() < CONFLICT), dtype=np.float32)


def _by_one_alone(one: Block, other: Block) -> Floats:
    return np.asarray(np.not_equal.outer(one.lengths > 0, other.lengths > 0), dtype=np.float32)


def _root(shared: Sequence[Compared]) -> Floats:
    return np.asarray(np.sqrt(sum(matrix() for matrix in shared)), dtype=np.float32)


def _cosine(shared: Sequence[Compared], left: Sequence[Block], right: Sequence[Block]) -> Floats:
    lengths = np.outer(_lengths(left), _lengths(right))
    return np.asarray(sum(matrix() for matrix in shared) / np.maximum(lengths, 1e-9), dtype=np.float32)


def _lengths(blocks: Sequence[Block]) -> Floats:
    if len(blocks) == 1:
        return blocks[0].lengths
    return np.asarray(np.sqrt(sum(block.lengths**2 for block in blocks)), dtype=np.float32)
