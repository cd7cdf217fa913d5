"""Putting labelled requests into themes, for measuring how right that is."""

from collections.abc import Sequence

from inbox.reading.findings import CatalogueRecipe, Labelled
from inbox.themes.grouping import group
from inbox.themes.likeness import Likeness
from inbox.themes.sketches import sketch
from inbox.themes.trained import requests_of


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
    requests = requests_of([one.told for one in labelled], catalogue)
    found = group(sketch(requests), likeness)
    return [f"settled {one.theme}" if one.theme is not None else f"new {one.new}" for one in found.placed]
