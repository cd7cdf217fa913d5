"""Weights, units and temperatures of the kitchen against published tables."""

import pytest

from inbox.ranking.amounts import find_temperatures, parse_line


@pytest.mark.parametrize(
    ("line", "grams"),
    [
        # USDA FoodData Central, SR Legacy portions (second-hand); bakers' tables differ, hence 5 %.
        ("1 cup all-purpose flour", 125), ("1 cup granulated sugar", 200), ("1 cup butter", 227),
        ("1 tbsp butter", 14.2), ("1 cup honey", 339), ("1 cup water", 237),
        ("1 cup packed brown sugar", 210),
        # Other publishers' weights of a cup of flour: 120 and 128 g.
        ("1 cup flour", 120), ("1 cup flour", 128),
    ],
)  # fmt: skip
def test_weight_of_a_cup(line: str, grams: float) -> None:
    assert parse_line(line).grams() == pytest.approx(grams, rel=0.05)


def test_sixteen_tablespoons_and_forty_eight_teaspoons_make_a_cup() -> None:
    # US customary measures (NIST Handbook 44, appendix C; from memory).
    cup = parse_line("1 cup water").grams()
    assert parse_line("16 tbsp water").grams() == pytest.approx(cup)
    assert parse_line("48 tsp water").grams() == pytest.approx(cup)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [(145, 62.8), (160, 71.1), (165, 73.9), (40, 4.4), (140, 60.0)]
)
def test_fahrenheit_of_the_safe_temperature_chart(fahrenheit: int, celsius: float) -> None:
    # USDA FSIS, Safe Minimum Internal Temperature Chart, which prints both scales.
    (found,) = find_temperatures(f"cook to {fahrenheit} °F")
    assert found.celsius == pytest.approx(celsius, abs=0.05)
