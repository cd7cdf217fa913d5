"""Amounts, temperatures and times out of recipe lines: grams, cups and spoons, fractions and ranges.

A parser for the lines that cooks write ("1 1/2 cups (190 g) flour", "2-3 tbsp", "½ tsp"), because the
well-kept ingredient parser brings a language model and downloads its data when it runs. Start at
`parse_line`.
"""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from inbox.places import seed_folder

ML_PER_CUP = 236.588
"""US customary cup, 16 tablespoons of 3 teaspoons."""

_UNITS = {
    "g": ("g", 1.0), "gram": ("g", 1.0), "gramme": ("g", 1.0), "gr": ("g", 1.0), "kg": ("g", 1000.0),
    "oz": ("g", 28.3495), "ounce": ("g", 28.3495), "lb": ("g", 453.592), "pound": ("g", 453.592),
    "ml": ("ml", 1.0), "millilitre": ("ml", 1.0), "milliliter": ("ml", 1.0), "cl": ("ml", 10.0),
    "dl": ("ml", 100.0), "l": ("ml", 1000.0), "litre": ("ml", 1000.0), "liter": ("ml", 1000.0),
    "pint": ("ml", 473.176), "quart": ("ml", 946.353),
    "fl oz": ("ml", 29.5735), "fluid ounce": ("ml", 29.5735),
    "cup": ("ml", ML_PER_CUP), "tbsp": ("ml", ML_PER_CUP / 16), "tablespoon": ("ml", ML_PER_CUP / 16),
    "tbs": ("ml", ML_PER_CUP / 16), "dessertspoon": ("ml", ML_PER_CUP / 24), "tsp": ("ml", ML_PER_CUP / 48),
    "teaspoon": ("ml", ML_PER_CUP / 48), "pinch": ("ml", ML_PER_CUP / 768),
}  # fmt: skip
"""What each unit is in grams or millilitres; a pinch is 1/16 teaspoon (common practice, no source)."""

_SIGNS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8",
          "⅞": "7/8", "⅕": "1/5", "⁄": "/"}  # fmt: skip
_WORDS = {
    "a half": 0.5, "half a": 0.5, "half": 0.5, "quarter of a": 0.25, "quarter": 0.25, "one": 1.0, "two": 2.0,
    "three": 3.0, "four": 4.0, "five": 5.0, "six": 6.0, "a": 1.0, "an": 1.0,
}  # fmt: skip

_NUMBER = r"(?:\d+\s+\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?)"
_UNIT = "|".join(sorted(map(re.escape, _UNITS), key=len, reverse=True))
_AMOUNT = re.compile(
    rf"(?<![\w./])(?P<low>{_NUMBER}|\b(?:{'|'.join(sorted(_WORDS, key=len, reverse=True))})\b)"
    rf"(?:\s*(?:-|–|to)\s*(?P<high>{_NUMBER}))?\s*(?:-\s*)?(?:(?P<unit>{_UNIT})s?\b\.?)?",
    re.IGNORECASE,
)
_BARE_PINCH = re.compile(r"(?<!\w)(?<!\d )pinch(?=\s)", re.IGNORECASE)
_TIMES = re.compile(rf"(?P<times>\d+)\s*(?:x|×)\s*(?={_NUMBER})", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Amount:
    """A quantity as written.

    Attributes
    ----------
    low, high : float
        The two ends of a range; the same for a single number.
    unit : str or None
        "g", "ml", or None for a count.
    """

    low: float
    high: float
    unit: str | None

    @property
    def middle(self) -> float:
        """Half-way between the two ends."""
        return (self.low + self.high) / 2


@dataclass(frozen=True, slots=True)
class Line:
    """One line of an ingredient list; `name` is what is left without the amounts, in small letters."""

    text: str
    amounts: tuple[Amount, ...]
    name: str

    def grams(self) -> float | None:
        """Weight of the line, from a weight written in it, a volume, or a count of eggs; None if unknown."""
        for unit in ("g", "ml", None):
            for amount in self.amounts:
                if amount.unit == unit:
                    weight = _weigh(amount, self.name)
                    if weight is not None:
                        return weight
        return None


def _weigh(amount: Amount, name: str) -> float | None:
    if amount.unit == "g":
        return amount.middle
    table = kitchen_weights()
    if amount.unit == "ml":
        per_cup = _row_for(table["rows"], name, "grams_per_cup")
        return None if per_cup is None else amount.middle * per_cup / ML_PER_CUP
    each = _row_for(table["pieces"], name, "grams")
    return None if each is None else amount.middle * each


def _row_for(rows: Sequence[dict[str, Any]], name: str, field: str) -> float | None:
    """Value of the first row with a word that stands in `name`; longer words stand first in the table."""
    for row in rows:
        if any(re.search(rf"\b{re.escape(word)}(?:s|es)?\b", name) for word in row["words"]):
            return float(row[field])
    return None


@lru_cache(maxsize=1)
def kitchen_weights() -> dict[str, Any]:
    """Weights of cups and pieces, with their sources, from the data that ships."""
    loaded: dict[str, Any] = json.loads((seed_folder() / "kitchen_weights.json").read_text(encoding="utf-8"))
    return loaded


def _plain(text: str) -> str:
    """Text in which fractions are written with a slash and numbers stand apart from what follows them."""
    for sign, written in _SIGNS.items():
        text = re.sub(rf"(\d)\s*{sign}", rf"\1 {written}", text) if sign != "⁄" else text
        text = text.replace(sign, written)
    return _BARE_PINCH.sub("1 pinch", text)


def number_of(text: str) -> float:
    """Value of "1 1/2", "3/4", "2,5" or "half a"."""
    lowered = text.strip().lower()
    if lowered in _WORDS:
        return _WORDS[lowered]
    total = 0.0
    for part in lowered.replace(",", ".").split():
        above, _, below = part.partition("/")
        total += float(above) / float(below) if below and float(below) else float(above)
    return total


def find_amounts(text: str) -> list[Amount]:
    """All quantities of a text, in order; "2 x 400 g" is 800 g."""
    return [amount for amount, _, _ in _amounts_with_place(_plain(text))]


def _amounts_with_place(text: str) -> list[tuple[Amount, int, int]]:
    factors = {match.end(): (int(match["times"]), match.start()) for match in _TIMES.finditer(text)}
    found: list[tuple[Amount, int, int]] = []
    for match in _AMOUNT.finditer(text):
        unit, scale = _UNITS[match["unit"].lower()] if match["unit"] else (None, 1.0)
        if unit is None and match["low"].lower() in ("a", "an"):
            continue
        times, start = factors.get(match.start(), (1, match.start()))
        low = number_of(match["low"]) * scale * times
        high = number_of(match["high"]) * scale * times if match["high"] else low
        found = [one for one in found if one[2] <= start]
        found.append((Amount(low, max(low, high), unit), start, match.end()))
    return found


def parse_line(text: str) -> Line:
    """Read one line of an ingredient list."""
    plain = _plain(text)
    placed = _amounts_with_place(plain)
    name = plain
    for _, start, end in reversed(placed):
        name = f"{name[:start]} {name[end:]}"
    name = re.sub(r"[()]", " ", re.sub(r"\(\s*\)", " ", name)).lower()
    return Line(text, tuple(amount for amount, _, _ in placed), re.sub(r"\s+", " ", name).strip(" ,.;:"))


def parse_lines(lines: Sequence[str]) -> list[Line]:
    """Read an ingredient list; a line of several ("for the icing: 150 g cheese, 200 g sugar") is split."""
    parts: list[str] = []
    for line in lines:
        head, colon, rest = line.partition(":")
        body = rest if colon and not re.search(r"\d", head) else line
        parts += re.split(r",\s*(?=\d|[½¼¾⅓⅔⅛])|;\s*|\s+and\s+(?=\d)", body)
    return [parse_line(part) for part in parts if part.strip()]


_TEMPERATURE = re.compile(
    r"(?<![\d.])(?P<number>\d{2,3})(?:\s*(?:-|–|to)\s*(?P<high>\d{2,3}))?\s*(?:°|º|degrees?\s*)?\s*"
    r"(?P<scale>C|F|celsius|fahrenheit)\b(?P<fan>\s*\(?(?:fan|convection))?",
)
_GAS = re.compile(r"\bgas(?: mark)?\s*(\d{1,2})\b", re.IGNORECASE)
_DURATION = re.compile(
    r"(?P<low>\d+(?:\.\d+)?|an?|half an)(?:\s*(?:-|–|to)\s*(?P<high>\d+(?:\.\d+)?))?\s*"
    r"(?P<unit>seconds?|secs?|minutes?|mins?|hours?|hrs?|days?)\b",
    re.IGNORECASE,
)
_MINUTES = {"s": 1 / 60, "m": 1.0, "h": 60.0, "d": 1440.0}


@dataclass(frozen=True, slots=True)
class Temperature:
    """A temperature as written, in degrees Celsius; `fan` where it is said to be for a fan oven."""

    celsius: float
    fan: bool


def find_temperatures(text: str) -> list[Temperature]:
    """All temperatures with a scale, and gas marks, in order of the text; a range gives its middle."""
    found = []
    for match in _TEMPERATURE.finditer(text):
        value = (float(match["number"]) + float(match["high"] or match["number"])) / 2
        celsius = (value - 32) / 1.8 if match["scale"].lower().startswith("f") else value
        found.append((match.start(), Temperature(celsius, match["fan"] is not None)))
    for match in _GAS.finditer(text):
        found.append((match.start(), Temperature(121.0 + 14.0 * int(match[1]), False)))
    return [temperature for _, temperature in sorted(found, key=lambda one: one[0])]


def find_minutes(text: str) -> list[tuple[float, float]]:
    """Ends of all durations, in minutes."""
    found = []
    for match in _DURATION.finditer(text):
        scale = _MINUTES[match["unit"][0].lower()]
        low = {"a": 1.0, "an": 1.0, "half an": 0.5}.get(match["low"].lower())
        first = float(match["low"]) if low is None else low
        found.append((first * scale, float(match["high"] or first) * scale))
    return found
