"""The temperatures and lists that cautions give are those of the authorities they name."""

import pytest

from inbox.reading.cautions import caution_for


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [(165, "73.9"), (160, "71.1"), (145, "62.8")],
    ids=["poultry", "minced", "whole cuts"],
)
def test_safe_minimum_internal_temperatures(fahrenheit: int, celsius: str) -> None:
    """USDA FSIS, Safe Minimum Internal Temperature Chart (seen in pages that reproduce it)."""
    words = caution_for("undercooked_risk").words

    assert f"{fahrenheit} °F ({celsius} °C)" in words
    assert f"{(fahrenheit - 32) / 1.8:.1f}" == celsius


def test_low_acid_limit() -> None:
    """USDA Complete Guide to Home Canning (2015), Guide 1: pH 4.6 (from memory)."""
    assert "pH above 4.6" in caution_for("preserving_risk").words


def test_nine_major_allergens() -> None:
    """FALCPA 2004 and FASTER Act 2021: the nine major allergens of the United States."""
    named = caution_for("allergen").sources[0].title

    for food in ("milk", "egg", "fish", "shellfish", "tree nuts", "peanuts", "wheat", "soybeans", "sesame"):
        assert food in named


def test_foods_that_harm_dogs_and_cats() -> None:
    """ASPCA Animal Poison Control, people foods to avoid (seen in a reprint)."""
    words = caution_for("pet").words.lower()

    for food in (
        "chocolate",
        "xylitol",
        "grapes",
        "raisins",
        "onion",
        "garlic",
        "macadamia",
        "alcohol",
        "avocado",
    ):
        assert food in words


def test_no_time_limit_for_garlic_in_oil() -> None:
    """Bodies differ between four and ten days, so that only the rule they share is given."""
    assert "day" not in caution_for("preserving_risk").words
