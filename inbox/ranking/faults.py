"""Which faults are commoner for one recipe than in the rest of the catalogue.

Among the readers who told of any fault: a tin that leaks stands out even where few people fail. Start at
`stand_out`.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inbox.ranking.health import RecipeReports
from inbox.ranking.stats import adjusted_p_values, fisher_greater

FALSE_FINDINGS = 0.10
"""Expected share of wrong ones among the faults said to be commoner here (chosen)."""

FEWEST_READERS = 3
"""Readers who told of a fault of the recipe, below which nothing is compared (the test depends on it)."""


@dataclass(frozen=True, slots=True)
class FaultHere:
    """One fault of one recipe.

    Attributes
    ----------
    reader_count, of_readers : int
        Distinct readers who told of it here, and all who told of any fault here.
    elsewhere_count, of_elsewhere : int
        The same over the other recipes.
    adjusted_p_value : float or None
        By Fisher's exact test and Benjamini-Hochberg over all recipes and faults; None where too few told.
    stands_out : bool
        Whether it is commoner here than in the catalogue.
    """

    recipe_id: int
    fault: str
    reader_count: int
    of_readers: int
    elsewhere_count: int
    of_elsewhere: int
    adjusted_p_value: float | None
    stands_out: bool


def stand_out(recipes: Sequence[RecipeReports]) -> dict[int, list[FaultHere]]:
    """Faults of every recipe, those that stand out first, then by how many readers told of them.

    Returns
    -------
    dict of int to list of FaultHere
        By recipe; recipes without a fault are left out.
    """
    told = {recipe.recipe_id: faults for recipe in recipes if (faults := _faults_by_reader(recipe))}
    rows = [
        (number, fault, count)
        for number, readers in told.items()
        for fault, count in sorted(Counter(fault for faults in readers.values() for fault in faults).items())
    ]
    everywhere: Counter[str] = Counter()
    for _, fault, count in rows:
        everywhere[fault] += count
    readers_everywhere = sum(len(readers) for readers in told.values())
    p_of = _p_values(rows, told, everywhere, readers_everywhere)
    found: dict[int, list[FaultHere]] = {number: [] for number in told}
    for number, fault, count in rows:
        p_value = p_of.get((number, fault))
        found[number].append(
            FaultHere(
                recipe_id=number,
                fault=fault,
                reader_count=count,
                of_readers=len(told[number]),
                elsewhere_count=everywhere[fault] - count,
                of_elsewhere=readers_everywhere - len(told[number]),
                adjusted_p_value=p_value,
                stands_out=p_value is not None and p_value <= FALSE_FINDINGS,
            )
        )
    for listed in found.values():
        listed.sort(key=lambda one: (not one.stands_out, -one.reader_count, one.fault))
    return found


def _faults_by_reader(recipe: RecipeReports) -> dict[str, set[str]]:
    """What each reader told of; readers without a fault are left out."""
    by_reader: dict[str, set[str]] = {}
    for report in recipe.reports:
        if report.faults:
            by_reader.setdefault(report.reader, set()).update(report.faults)
    return by_reader


def _p_values(
    rows: list[tuple[int, str, int]],
    told: dict[int, dict[str, set[str]]],
    everywhere: Counter[str],
    readers_everywhere: int,
) -> dict[tuple[int, str], float]:
    """Adjusted p-value of each recipe and fault that can be compared with other recipes."""
    tested = [row for row in rows if len(told[row[0]]) >= FEWEST_READERS and len(told) > 1]
    p_values = fisher_greater(
        np.array([count for _, _, count in tested], int),
        np.array([len(told[number]) for number, _, _ in tested], int),
        np.array([everywhere[fault] for _, fault, _ in tested], int),
        readers_everywhere,
    )
    adjusted = adjusted_p_values(p_values)
    return {(number, fault): float(p) for (number, fault, _), p in zip(tested, adjusted, strict=True)}
