"""What a published recipe answers, and what it only seems to."""

import pytest

from inbox.reading.findings import CatalogueRecipe
from inbox.themes.coverage import coverage, offer
from inbox.themes.facets import Facets

CHILLI = offer(
    CatalogueRecipe(
        "bean-chilli", "Slow Cooker Bean Chilli", tags={"diet": ["vegan"], "method": ["slow cooker"]}
    )
)
NOODLES = offer(CatalogueRecipe("noodles", "Peanut Noodles", tags={"method": ["no-cook sauce"]}))


def test_a_shared_diet_alone_answers_nothing() -> None:
    """A wish for a meat-free Christmas dinner is not met by any vegetarian pudding."""
    pots = offer(CatalogueRecipe("lemon-pots", "Lemon Pots", tags={"diet": ["vegetarian"]}))

    found = coverage(Facets(diet={"vegetarian": 1.0}, occasion={"christmas": 1.0}), [pots])

    assert (found.share, found.slug) == (0.0, None)


def test_a_recipe_that_has_everything_answers_whole_and_is_said_to_have_it() -> None:
    found = coverage(
        Facets(dish={"chilli": 0.9}, diet={"vegetarian": 0.6}, method={"slow_cooker": 0.5}), [CHILLI]
    )

    assert (found.share, found.slug) == (pytest.approx(1.0), "bean-chilli")
    assert found.reason == "“Slow Cooker Bean Chilli” has of it: chilli, vegetarian, slow cooker."


def test_another_method_is_part_of_the_way_and_only_what_is_there_is_said() -> None:
    found = coverage(Facets(dish={"chilli": 1.0}, method={"pressure_cooker": 1.0}), [CHILLI])

    assert found.share == pytest.approx(0.5)
    assert found.reason == "“Slow Cooker Bean Chilli” has of it: chilli."


def test_who_asks_on_the_page_of_a_recipe_is_not_pointed_to_it() -> None:
    """They have it before their eyes; what they ask for is something that it is not."""
    found = coverage(Facets(dish={"chilli": 1.0}), [CHILLI], in_hand={"bean-chilli"})

    assert (found.share, found.slug) == (0.0, None)


def test_a_dish_that_few_of_the_members_name_brings_no_recipe_near() -> None:
    found = coverage(Facets(dish={"curry": 1.0, "chilli": 0.5}), [CHILLI])

    assert (found.share, found.slug) == (0.0, None)


def test_how_a_sauce_is_made_makes_no_sauce_of_noodles() -> None:
    found = coverage(Facets(dish={"sauce": 1.0}), [NOODLES])

    assert (found.share, found.slug) == (0.0, None)


def test_a_wish_for_any_soup_is_answered_half_by_one() -> None:
    lentil = offer(CatalogueRecipe("lentil-soup", "Red Lentil Soup"))

    assert coverage(Facets(dish={"soup": 1.0}), [lentil]).share == pytest.approx(0.5)
    assert coverage(Facets(dish={"soup": 1.0}, ingredient={"lentil": 1.0}), [lentil]).share == pytest.approx(
        1.0
    )
