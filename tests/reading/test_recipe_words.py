"""One form for the many ways of writing a word or an amount."""

import pytest

from inbox.reading.dish_words import DISHES, FOODS
from inbox.reading.recipe_words import STOP_WORDS, is_amount, stem_of, words_of


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("doughnuts", "donut"),
        ("yoghurt", "yog"),
        ("courgettes", "zucchini"),
        ("lemony", "lemons"),
        ("loaves", "loaf"),
        ("cherries", "cherry"),
        ("dahl", "dal"),
        ("tomatoes", "tomato"),
        ("prawns", "shrimp"),
    ],
)
def test_spellings_of_one_thing_have_one_stem(first: str, second: str) -> None:
    assert stem_of(first) == stem_of(second)


@pytest.mark.parametrize(("first", "second"), [("butter", "batter"), ("flour", "flower"), ("cream", "crab")])
def test_different_things_keep_apart(first: str, second: str) -> None:
    assert stem_of(first) != stem_of(second)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("20 minutes at 140C", ["20min", "at", "140c"]),
        ("twenty mins", ["20min"]),
        ("1/4 tsp salt", ["quartertsp", "salt"]),
        ("½ cup", ["halfcup"]),
        ("Maren’s crème brûlée & tea", ["maren", "creme", "brulee", "and", "tea"]),
        ("🍩 please", ["doughnut", "please"]),
    ],
)
def test_words_of_a_text(text: str, words: list[str]) -> None:
    assert words_of(text) == words


@pytest.mark.parametrize(
    ("word", "holds"), [("20min", True), ("140", True), ("12", False), ("half", False), ("ten", False)]
)
def test_small_bare_numbers_are_said_by_chance(word: str, holds: bool) -> None:
    assert is_amount(word) is holds


def test_no_word_that_brings_a_dish_to_mind_is_passed_over() -> None:
    listed = {word for table in (DISHES, FOODS) for words in table.values() for word in words}
    assert listed & STOP_WORDS == set()
