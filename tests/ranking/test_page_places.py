"""Where a complaint about a recipe's page points; the recipe and the words are invented."""

import pytest

from inbox.ranking.page_places import find_place
from inbox.words import RECIPE_PAGE_FAULTS

INGREDIENTS = (
    "250 g plain flour",
    "1 tbsp bicarbonate of soda",
    "180 g soft brown sugar",
    "2 eggs",
    "120 ml whole milk",
    "60 g stem ginger, chopped",
)
STEPS = (
    "Whisk the eggs and the sugar for 5 minutes until pale.",
    "Fold in the flour and the bicarbonate of soda.",
    "Pour into a lined tin and bake at 170C for 40 minutes.",
    "Rest for 10 minutes, then turn out.",
)


@pytest.mark.parametrize(
    ("fault", "words", "part", "number"),
    [
        ("wrong_amount", "A tablespoon of bicarb?? Surely a teaspoon. Tasted of soap.", "ingredient", 2),
        ("wrong_amount", "180g is a lot of sugar, far too sweet for us", "ingredient", 3),
        ("missing_step", "The ginger is in the list and never goes in.", "ingredient", 6),
        ("missing_step", "Step 2 uses up everything but the milk.", "ingredient", 5),
        ("wrong_time", "Took 65 mins at 170, not forty minutes.", "step", 3),
        ("wrong_time", "Five minutes of whisking the eggs did nothing.", "step", 1),
        ("unclear_step", "“A lined tin” - which size?", "step", 3),
        ("unclear_step", "What does the fourth step mean by turn out?", "step", 4),
        ("page_fault", "The print view stops after step two.", "step", 2),
    ],
)
def test_the_words_lead_to_the_line(fault: str, words: str, part: str, number: int) -> None:
    place = find_place(fault, words, INGREDIENTS, STEPS)

    assert place is not None
    assert (place.part, place.number) == (part, number)
    assert place.text == (INGREDIENTS if part == "ingredient" else STEPS)[number - 1]


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("page_fault", "The photos do not load, just grey squares."),
        ("page_fault", "The badge says nut free but I doubt it."),
        ("wrong_yield", "Serves two? There is enough for six."),
        ("wrong_amount", "Something is off with the amounts."),
        ("wrong_amount", "Is it the flour or the sugar that is wrong?"),
        ("unclear_step", "Step 9 makes no sense."),
        ("missing_step", ""),
    ],
)
def test_where_the_words_do_not_tell_nothing_is_guessed(fault: str, words: str) -> None:
    assert find_place(fault, words, INGREDIENTS, STEPS) is None


def test_a_wrong_time_is_the_only_one_that_is_given() -> None:
    steps = ("Mix everything.", "Put it into the oven for 25 minutes.", "Leave to cool.")

    place = find_place("wrong_time", "Still raw when I cut into it!", (), steps)

    assert place is not None
    assert (place.number, place.why) == (2, "the only step that gives a time")
    assert (
        find_place("wrong_time", "Still raw when I cut into it!", (), (*steps, "Chill for 1 hour.")) is None
    )


@pytest.mark.parametrize("fault", RECIPE_PAGE_FAULTS)
def test_a_recipe_without_lines_has_no_place(fault: str) -> None:
    assert find_place(fault, "Step 1 takes 20 minutes and 3 eggs", (), ()) is None
