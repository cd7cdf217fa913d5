"""A recipe answers a theme only where they share more than a diet."""

from inbox.reading.findings import CatalogueRecipe
from inbox.themes.coverage import coverage
from inbox.themes.facets import Facets


def test_a_shared_diet_alone_answers_nothing() -> None:
    """A wish for a meat-free Christmas dinner is not met by any vegetarian pudding."""
    pots = CatalogueRecipe("lemon-pots", "Lemon Pots", tags={"diet": ["vegetarian"]})

    found = coverage(Facets(diet={"vegetarian": 1.0}, occasion={"christmas": 1.0}), [pots])

    assert (found.share, found.slug) == (0.0, None)
