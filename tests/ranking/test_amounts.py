import pytest
from hypothesis import given
from hypothesis import strategies as st

from inbox.ranking.amounts import (
    Amount,
    find_amounts,
    find_minutes,
    find_temperatures,
    parse_line,
    parse_lines,
)


@pytest.mark.parametrize(
    ("text", "grams", "name"),
    [
        ("500 g (4 cups) strong white bread flour", 500, "strong white bread flour"),
        ("1 1/2 cups flour", 187.5, "flour"),
        ("1½ cups flour", 187.5, "flour"),
        ("2 x 400 g tins tomatoes", 800, "tins tomatoes"),
        ("2-3 tbsp honey", 53, "honey"),
        ("half a tsp bicarbonate of soda", 2.3, "bicarbonate of soda"),
        ("1.5 litres water", 1502.6, "water"),
        ("2,5 dl milk", 250.4, "milk"),
        ("4 large eggs, separated", 200, "large eggs, separated"),
        ("1 stick butter", 113, "stick butter"),
        ("pinch of salt", 0.375, "of salt"),
        ("8 oz butter", 226.8, "butter"),
        ("a knob of butter", None, "a knob of butter"),
        ("juice of half a lemon", None, "juice of lemon"),
        ("salt and pepper", None, "salt and pepper"),
        ("", None, ""),
    ],
)
def test_weight_and_name_of_a_line(text: str, grams: float | None, name: str) -> None:
    line = parse_line(text)
    assert line.name == name
    assert line.grams() == (None if grams is None else pytest.approx(grams, rel=0.003))


def test_a_range_keeps_both_ends() -> None:
    assert find_amounts("100-150 g") == [Amount(100, 150, "g")]
    assert find_amounts("2 to 3 eggs") == [Amount(2, 3, None)]


def test_a_line_of_several_ingredients_is_split() -> None:
    lines = parse_lines(
        ["For the icing: 150 g cream cheese, 200 g icing sugar", "3 eggs and 1 yolk", "2 leeks"]
    )
    assert [(line.name, line.grams()) for line in lines] == [
        ("cream cheese", 150), ("icing sugar", 200), ("eggs", 150), ("yolk", 17), ("leeks", None)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "celsius", "fans"),
    [
        ("Heat the oven to 180 C / 160 C fan", [180, 160], [False, True]),
        ("Bake at 200C (400F)", [200, 204], [False, False]),
        ("350°F or gas mark 4", [177, 177], [False, False]),
        ("to 63 degrees C inside", [63], [False]),
        ("bake 20 minutes in 4 C batches of 180", [], []),
    ],
)
def test_temperatures(text: str, celsius: list[int], fans: list[bool]) -> None:
    found = find_temperatures(text)
    assert [round(one.celsius) for one in found] == celsius
    assert [one.fan for one in found] == fans


def test_durations_in_minutes() -> None:
    assert find_minutes("45 to 50 minutes, then an hour, half an hour and 2 days") == [
        (45, 50), (60, 60), (30, 30), (2880, 2880)
    ]  # fmt: skip
    assert find_minutes("90 secs") == [(1.5, 1.5)]


@given(st.text(max_size=60))
def test_any_text_is_read_without_trouble(text: str) -> None:
    parse_line(text).grams()
    find_temperatures(text)
    find_minutes(text)
