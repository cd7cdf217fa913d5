"""Charts say the same in shapes, in words and in a table, on a page and in a picture."""

from io import BytesIO
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from inbox.digest.charts import (
    DoorRow,
    OutcomeWeek,
    ReliabilityBin,
    ShareRow,
    bars,
    by_door,
    reliability,
    shares_with_intervals,
    weekly_outcomes,
)
from inbox.digest.drawing import INKS, Box, Drawing, as_plain_table, as_png, as_svg, shortened

WEEKS = [f"W{number}" for number in range(40, 48)]
ALL = [
    bars("Requests", WEEKS, [3, 0, 1, 5, 2, 8, 1, 14], unit="requests"),
    bars("Nothing", [], []),
    shares_with_intervals("Shares", [ShareRow("Rye <loaf>", 0.34, 0.2, 0.5, 21)], limit=0.16),
    shares_with_intervals("None", []),
    by_door("Doors", [DoorRow("form", 12, 4.25), DoorRow("mailbox", 0, 1.5)]),
    by_door("No doors", []),
    weekly_outcomes("Rye", [OutcomeWeek(week, 3, 1, 2) for week in WEEKS], revisions=[(3, "less water")]),
    reliability("Right", [ReliabilityBin(0.1, 0.12, 0.05, 0.2, 100), ReliabilityBin(0.9, 1.0, 0.9, 1.0, 40)]),
]


@pytest.mark.parametrize("drawing", ALL, ids=lambda drawing: drawing.title)
def test_on_paper_both_ways(drawing: Drawing) -> None:
    svg = ElementTree.fromstring(as_svg(drawing))
    assert svg.attrib["role"] == "img"
    assert svg.attrib["aria-label"] == f"{drawing.title}. {drawing.in_words}"

    picture = Image.open(BytesIO(as_png(drawing)))
    assert picture.size == (drawing.width * 2, drawing.height * 2)
    assert as_png(drawing) == as_png(drawing)
    assert all(len(row) == len(drawing.heads) for row in drawing.rows)


def test_a_bar_is_as_high_as_its_count() -> None:
    drawing = bars("Requests", ["W1", "W2", "W3"], [2, 4, 1])

    heights = [shape.height for shape in drawing.shapes if isinstance(shape, Box)]

    assert heights[1] == pytest.approx(2 * heights[0])
    assert heights[0] == pytest.approx(2 * heights[2])
    assert drawing.in_words == "1 messages in the last week (W3); in the 2 weeks before between 2 and 4."
    assert drawing.rows == (("W1", "2"), ("W2", "4"), ("W3", "1"))


def test_outcomes_are_told_before_and_after_a_change() -> None:
    weeks = [OutcomeWeek("W1", 5, 0, 0), OutcomeWeek("W2", 1, 0, 3)]

    drawing = weekly_outcomes("Rye", weeks, revisions=[(1, "less water")])

    assert drawing.in_words == (
        "3 of 9 reports failed in 2 weeks. "
        "Change 1 (less water) before W2: 0 of 5 failed before, 3 of 4 since."
    )


@given(st.lists(st.integers(0, 10**6), min_size=1, max_size=60))
def test_bars_stay_on_the_paper(counts: list[int]) -> None:
    drawing = bars("Messages", [f"W{place}" for place in range(len(counts))], counts)

    for shape in drawing.shapes:
        if isinstance(shape, Box):
            assert shape.x >= 0
            assert shape.x + shape.width <= drawing.width
            assert 0 <= shape.y <= shape.y + shape.height <= drawing.height


def luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.2."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize(("ink", "least"), [("ink", 4.5), ("soft", 4.5), ("accent", 3.0), ("edge", 3.0)])
def test_inks_can_be_told_from_the_paper(ink: str, least: float) -> None:
    """WCAG 2.2, success criteria 1.4.3 (text, 4.5) and 1.4.11 (graphics, 3)."""
    light, dark = luminance(INKS["paper"]), luminance(INKS[ink])
    assert (light + 0.05) / (dark + 0.05) >= least


def test_plain_table_stands_in_columns() -> None:
    assert as_plain_table(("Week", "Reports"), (("W1", "12"), ("W12", "3"))) == (
        "Week  Reports\nW1         12\nW12         3"
    )


def test_long_names_are_cut_at_a_word() -> None:
    assert shortened("Overnight seeded rye loaf", 20) == "Overnight seeded…"
    assert shortened("Rye", 20) == "Rye"
