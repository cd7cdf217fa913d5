"""How far a published recipe already answers a theme.

Start with `offer` for each recipe, then `coverage` for each theme.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from typing import Final, NamedTuple

from inbox.reading.findings import CatalogueRecipe
from inbox.themes.facets import Facets, blend, read_facets
from inbox.themes.vocabulary import vocabulary

_SHARE_OF: Final = {
    "dish": 0.5, "ingredient": 0.2, "diet": 0.5, "method": 0.5, "occasion": 0.1, "audience": 0.1, "size": 0.1
}  # fmt: skip
"""Chosen: how much of a theme each facet is; a dish, a diet and a method make most of it."""

_VAGUE: Final = 0.5
"""Chosen: the most that a recipe can have of a wish that names nothing but "a soup" or "a cake"."""

MEETS: Final = {
    "vegan": ("dairy_free", "egg_free", "vegetarian", "gelatine_free", "fish_free"),
    "paleo": ("gluten_free", "dairy_free"),
    "sugar_free": ("low_sugar",),
}
"""Diets that a recipe of the given diet meets as well, by the meaning of the words."""


class Offer(NamedTuple):
    """What a published recipe has to offer: of each facet the entries, the wider ones and met diets too."""

    slug: str
    title: str
    has: Mapping[str, AbstractSet[str]]


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


def offer(recipe: CatalogueRecipe) -> Offer:
    """Read what a recipe offers, from its title and tags."""
    facets = recipe_facets(recipe)
    has = {name: _widened(entries) for name, entries in facets.each()} | {"diet": _met(facets.diet)}
    return Offer(recipe.slug, recipe.title, has)


def coverage(theme: Facets, offers: Sequence[Offer], in_hand: Collection[str] = ()) -> Coverage:
    """Find the recipe that answers `theme` best, and how far.

    A diet that the recipe does not say it meets brings the share to 0: a reader who must leave out gluten
    is not helped by a loaf with wheat. So does a dish other than the one that most ask for, and where no dish
    is named another main ingredient: two that are both vegetarian have nothing else in common.

    Parameters
    ----------
    theme : Facets
        What is asked for, with how many of the members ask for it (0 to 1).
    in_hand : collection of str
        Slugs of recipes on whose pages the readers ask. They know these, and want something else.
    """
    best = Coverage(0.0, None, "No recipe of yours comes near it.")
    for one in offers:
        share, met = (0.0, []) if one.slug in in_hand else _answer(theme, one.has)
        if share > best.share:
            reason = f"“{one.title}” has of it: {', '.join(map(vocabulary().shown, met))}."
            best = Coverage(share, one.slug, reason)
    return best


def _answer(theme: Facets, has: Mapping[str, AbstractSet[str]]) -> tuple[float, list[str]]:
    """How much of `theme` is there, and what."""
    facet = "dish" if theme.dish else "ingredient"
    if not _strongest(getattr(theme, facet)) & has[facet] or not theme.diet.keys() <= has["diet"]:
        return 0.0, []
    total = got = 0.0
    met: list[str] = []
    for name, wanted in theme.each():
        if wanted:
            here = [id for id in wanted if id in has[name]]
            total += _SHARE_OF[name]
            got += _SHARE_OF[name] * sum(wanted[id] for id in here) / sum(wanted.values())
            met += here
    return min(got / total, _VAGUE if _is_vague(theme) else 1.0), met


def _is_vague(theme: Facets) -> bool:
    named = [id for _, entries in theme.each() for id in entries]
    return len(named) == 1 and named[0] in vocabulary().wide


def _strongest(entries: Mapping[str, float]) -> set[str]:
    return {id for id, value in entries.items() if value == max(entries.values())}


def recipe_facets(recipe: CatalogueRecipe) -> Facets:
    """Facets of a published recipe, from its title and tags; a method's tag names no dish."""
    methods = read_facets(_tag_words(recipe.tags.get("method")))
    others = read_facets(_tag_words([value for name, value in recipe.tags.items() if name != "method"]))
    return blend([(read_facets(recipe.title), 1.0), (Facets(method=methods.method), 1.0), (others, 1.0)])


def _tag_words(value: object) -> str:
    """Words of a tag, or of a list of them however deep, as sentences."""
    if isinstance(value, list | tuple):
        return " . ".join(_tag_words(item) for item in value)
    return "" if value is None else str(value)


def _met(diets: Iterable[str]) -> set[str]:
    met = set(diets)
    return met | {also for id in met for also in MEETS.get(id, ())}


def _widened(entries: Iterable[str]) -> set[str]:
    return {wide for id in entries for wide in vocabulary().lineage(id)}
