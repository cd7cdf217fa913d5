"""How far a published recipe already answers a theme.

Start with `coverage`.
"""

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from inbox.reading.findings import CatalogueRecipe
from inbox.themes.facets import Facets, blend, read_facets
from inbox.themes.vocabulary import FACETS, vocabulary

_SHARE_OF: Final = {
    "dish": 0.5, "ingredient": 0.2, "diet": 0.5, "method": 0.2, "occasion": 0.1, "audience": 0.1, "size": 0.1
}  # fmt: skip
"""Chosen: how much of a theme each facet is; a dish and a diet make most of it."""

MEETS: Final = {
    "vegan": ("dairy_free", "egg_free", "vegetarian", "gelatine_free", "fish_free"),
    "paleo": ("gluten_free", "dairy_free"),
    "sugar_free": ("low_sugar",),
}
"""Diets that a recipe of the given diet meets as well, by the meaning of the words."""


class Coverage(NamedTuple):
    """How far the nearest recipe answers a theme.

    Attributes
    ----------
    share : float
        0 where nothing comes near, 1 where a recipe answers the theme whole.
    slug : str or None
        The nearest recipe; None where the share is 0.
    reason : str
        One plain sentence.
    """

    share: float
    slug: str | None
    reason: str


def coverage(theme: Facets, catalogue: Sequence[CatalogueRecipe]) -> Coverage:
    """Find the recipe that answers `theme` best, and how far.

    A diet that the recipe does not say it meets brings the share to 0: a reader who must leave out gluten
    is not helped by a loaf with wheat. So does another dish, and where no dish is named another main
    ingredient: two that are both vegetarian have nothing else in common.
    """
    best = Coverage(0.0, None, "No recipe of yours comes near it.")
    for recipe in catalogue:
        share, reason = _answer(theme, recipe)
        if share > best.share:
            best = Coverage(share, recipe.slug, reason)
    return best


def _answer(theme: Facets, recipe: CatalogueRecipe) -> tuple[float, str]:
    offered = recipe_facets(recipe)
    diets = _met(offered.diet)
    lacking = [id for id in theme.diet if id not in diets]
    named = theme.dish or theme.ingredient
    if lacking or not named or not set(named) & _widened(offered.dish if theme.dish else offered.ingredient):
        return 0.0, ""
    total = got = 0.0
    for facet in FACETS:
        wanted = getattr(theme, facet)
        if wanted:
            has = diets if facet == "diet" else _widened(getattr(offered, facet))
            total += _SHARE_OF[facet]
            got += _SHARE_OF[facet] * sum(id in has for id in wanted) / len(wanted)
    shown = [vocabulary().shown(id) for facet in FACETS for id in getattr(theme, facet)]
    return got / total, f"“{recipe.title}” answers it: {', '.join(shown)}."


def recipe_facets(recipe: CatalogueRecipe) -> Facets:
    """Facets of a published recipe, from its title and tags."""
    tags = " . ".join(_tag_words(recipe.tags.values()))
    return blend([(read_facets(recipe.title), 1.0), (read_facets(tags), 1.0)])


def _tag_words(values: Iterable[object]) -> list[str]:
    words: list[str] = []
    for value in values:
        words.extend(str(item) for item in value) if isinstance(value, list | tuple) else words.append(
            str(value)
        )
    return words


def _met(diets: Iterable[str]) -> set[str]:
    met = set(diets)
    return met | {also for id in met for also in MEETS.get(id, ())}


def _widened(entries: Iterable[str]) -> set[str]:
    return {wide for id in entries for wide in vocabulary().lineage(id)}
