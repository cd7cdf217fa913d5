"""Contrast of two colours, by the formulas of WCAG 2.2 (relative luminance, contrast ratio)."""

import re

_HEX = re.compile(r"#([0-9a-fA-F]{6})")
KNEE = 0.04045
TEXT_RATIO, GRAPHIC_RATIO = 4.5, 3.0
"""Least ratios for text (WCAG 2.2 SC 1.4.3) and for edges and graphics (SC 1.4.11)."""


def is_colour(text: str) -> bool:
    """Whether `text` is a colour such as #8c1d40."""
    return _HEX.fullmatch(text) is not None


def luminance(colour: str) -> float:
    """Relative luminance of a colour written as #rrggbb, from 0 (black) to 1 (white)."""
    found = _HEX.fullmatch(colour)
    if found is None:
        raise ValueError(f"{colour!r} is no colour such as #8c1d40")
    channels = [int(found[1][at : at + 2], 16) / 255 for at in (0, 2, 4)]
    red, green, blue = (
        value / 12.92 if value <= KNEE else ((value + 0.055) / 1.055) ** 2.4 for value in channels
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, from 1 to 21."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def readable_on(colour: str) -> str:
    """Black or white, whichever can be read better on `colour`."""
    return max(("#ffffff", "#000000"), key=lambda ink: contrast(ink, colour))
