"""Putting labelled requests into themes, for measuring how right that is."""

from collections.abc import Sequence

from inbox.reading.catalogue_index import CatalogueIndex
from inbox.reading.findings import CatalogueRecipe, Labelled
from inbox.reading.recipe_link import link_recipe
from inbox.themes.grouping import group
from inbox.themes.likeness import Likeness
from inbox.themes.requests import Request
from inbox.themes.sketches import sketch


def group_labelled(
    labelled: Sequence[Labelled], catalogue: Sequence[CatalogueRecipe], likeness: Likeness
) -> list[str]:
    """Theme of each request, as a key; what the labels say of recipe, wish and theme is not looked at.

    Parameters
    ----------
    labelled : sequence of Labelled
        Requests; the page that each was sent from may be told.
    catalogue : sequence of CatalogueRecipe
        Recipes that a request may be about; which one it is, is read as it is for every message.
    """
    recipes, index = {recipe.slug: recipe for recipe in catalogue}, CatalogueIndex(catalogue)
    linked = [link_recipe(one.told, index).slug for one in labelled]
    requests = [
        Request(str(number), one.told.text, one.told.subject, recipes.get(slug or ""))
        for number, (one, slug) in enumerate(zip(labelled, linked, strict=True))
    ]
    found = group(sketch(requests), likeness)
    return [f"settled {one.theme}" if one.theme is not None else f"new {one.new}" for one in found.placed]
