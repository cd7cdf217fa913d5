"""Contrast of every pair of colours that stand on each other, light and dark (WCAG 2.2).

Source: WCAG 2.2 (W3C Recommendation), SC 1.4.3 text at least 4.5:1, SC 1.4.11 controls and
graphics at least 3:1; definitions of relative luminance and contrast ratio (sources X5, X6).
The check values on white are computed from the same formula and agree with those that are
commonly quoted (#767676 passes, #777777 does not).
"""

import re

import pytest

from inbox.web.contrast import GRAPHIC_RATIO, TEXT_RATIO, contrast, readable_on
from inbox.web.still import load_still

TEXT_PAIRS = (
    ("ink", "paper"), ("ink", "tint"), ("soft", "paper"), ("soft", "tint"), ("accent", "paper"),
    ("accent", "tint"), ("on-accent", "accent"), ("ink", "mark"), ("soft", "mark"), ("accent", "mark"),
    ("paper", "accent"),
)  # fmt: skip
GRAPHIC_PAIRS = (("edge", "paper"), ("edge", "tint"), ("accent", "paper"), ("ink", "paper"))


@pytest.mark.parametrize(
    ("colour", "ratio"),
    [
        ("#000000", 21.0), ("#767676", 4.5422), ("#777777", 4.4781), ("#595959", 7.0047),
        ("#5a5a5a", 6.8969), ("#949494", 3.0335), ("#959595", 2.9953), ("#0000ff", 8.5925),
        ("#ff0000", 3.9985),
    ],
)  # fmt: skip
def test_ratios_on_white(colour: str, ratio: float) -> None:
    assert contrast(colour, "#ffffff") == pytest.approx(ratio, abs=5e-5)
    assert contrast("#ffffff", colour) == contrast(colour, "#ffffff")


def _colours(dark: bool) -> dict[str, str]:
    """The colours that the style sheet declares, as they count in the light or in the dark."""
    sheet = load_still("second-batch.css")
    assert sheet is not None
    blocks = re.findall(r":root \{(.*?)\}", sheet.body.decode(), re.DOTALL)
    found = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", blocks[0]))
    return {**found, **dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", blocks[1]))} if dark else found


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_all_pairs_of_the_pages(dark: bool) -> None:
    colours = _colours(dark)
    assert len(colours) == 9

    for pairs, least in ((TEXT_PAIRS, TEXT_RATIO), (GRAPHIC_PAIRS, GRAPHIC_RATIO)):
        for front, back in pairs:
            ratio = contrast(colours[front], colours[back])
            assert ratio >= least, f"{front} on {back}: {ratio:.2f}"


def test_the_dark_really_differs() -> None:
    assert _colours(True) != _colours(False)


@pytest.mark.parametrize("colour", ["#000000", "#ffffff", "#9c3d24", "#ffee00", "#808080", "#3366cc"])
def test_a_button_of_any_colour_can_be_read(colour: str) -> None:
    """Readers' forms take the owner's colour; black or white on it always reaches the ratio for text."""
    assert contrast(readable_on(colour), colour) >= TEXT_RATIO
