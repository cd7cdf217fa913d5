"""A handful of invented requests, and the measure of likeness that the program starts with."""

from collections.abc import Callable

import pytest

from inbox.themes.likeness import Likeness
from inbox.themes.requests import Request
from inbox.themes.sketches import Sketch, sketch

ASKS = {
    "gluten-free sandwich bread": (
        "Any chance of a gluten-free sandwich loaf, please?",
        "My wife is coeliac and misses toast. Could you do a sandwich bread for her?",
        "A sliced loaf without wheat would make my year.",
    ),
    "dairy-free lasagne": (
        "Please make a dairy-free lasagne!",
        "A lasagne without milk or butter would be lovely for my lactose intolerant son.",
        "Could you do a lasagna with no dairy in the white sauce?",
    ),
    "slow cooker beef stew": (
        "I'd love to see a slow cooker beef stew.",
        "A beef casserole to leave in the crockpot all day, please.",
    ),
    "vegan birthday cake": (
        "Would you develop a vegan birthday cake?",
        "She turns six and has gone plant based: a birthday cake with no eggs or dairy?",
    ),
    "falafel in the air fryer": (
        "Falafel in the air fryer, when?",
        "Could you give times for doing the falafel in an airfryer?",
    ),
}
"""Invented."""


@pytest.fixture(scope="session")
def make_sketches() -> Callable[[dict[str, str]], list[Sketch]]:
    """Sketches of texts by id."""
    return lambda texts: sketch([Request(id, text) for id, text in texts.items()])


@pytest.fixture(scope="session")
def asked() -> list[tuple[Sketch, str]]:
    """The invented requests, each with what it asks for."""
    texts = [
        (f"{at}-{n}", text, wish) for at, (wish, all) in enumerate(ASKS.items()) for n, text in enumerate(all)
    ]
    made = sketch([Request(id, text) for id, text, _ in texts])
    return [(one, wish) for one, (_, _, wish) in zip(made, texts, strict=True)]


@pytest.fixture(scope="session")
def likeness(seed_likeness: Likeness) -> Likeness:
    """The measure that the program starts with."""
    return seed_likeness
