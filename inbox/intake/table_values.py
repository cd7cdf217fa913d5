"""Cells of a table as values: moments, stars, counts, yes and no.

Pure. Whether 3/4/2026 is the third of April or the fourth of March is found from the whole column or asked
for; it is never guessed.
"""

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from inbox.intake.headers import parse_date
from inbox.intake.table_rows import Cell

Order = Literal["day_first", "month_first", "mixed", "open", "none"]
"""How days and months are written in a column: found, contradictory, both possible, or no such dates."""

_NUMERIC = re.compile(r"\s*(\d{1,2})[/.\-](\d{1,2})[/.\-](\d{4}|\d{2})\b[,T]?\s*(.*)")
_YEAR_FIRST = re.compile(r"\s*(\d{4})[/.\-](\d{1,2})[/.\-](\d{1,2})(?:[T,\s]+(.*))?$")
_TIME = re.compile(
    r"(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?\s*([ap])?\.?m?\.?\s*(Z|UTC|GMT)?\s*(?:([+-])(\d{2}):?(\d{2})?)?\s*$",
    re.IGNORECASE,
)
_MONTHS = {
    name: number
    for number, names in enumerate(
        ("jan january", "feb february", "mar march", "apr april", "may", "jun june", "jul july", "aug august",
         "sep sept september", "oct october", "nov november", "dec december"),
        start=1,
    )
    for name in names.split()
}  # fmt: skip
_NAMED = re.compile(
    r"\s*(?:[A-Za-z]{3,9},?\s+)?(?:(\d{1,2})(?:st|nd|rd|th)?\.?[\s-]+([A-Za-z]{3,9})\.?|([A-Za-z]{3,9})\.?\s+(\d{1,2})(?:st|nd|rd|th)?)"
    r",?[\s-]+(\d{4})\b(?:,|\s+at)?\s*(.*)$"
)
_STARS = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*(?:(?:/|out of|of)\s*(\d+)|(%)|stars?|\*)?\s*$", re.IGNORECASE)
_STAR_WORDS = {"one": 1, "two": 2, "three": 3, "four": 4, "five": 5}
SCALES = (5, 10, 100)


def date_order(cells: Iterable[Cell]) -> Order:
    """How the dates of a column are written, from all that show it."""
    day_first = month_first = numeric = False
    for cell in cells:
        found = _NUMERIC.match(cell) if isinstance(cell, str) else None
        if found:
            numeric = True
            day_first |= int(found[1]) > 12
            month_first |= int(found[2]) > 12
    if day_first and month_first:
        return "mixed"
    if not numeric:
        return "none"
    return "day_first" if day_first else "month_first" if month_first else "open"


def to_moment(cell: Cell, *, day_first: bool, zone: ZoneInfo, clock: Cell = None) -> datetime | None:
    """Moment in a cell, in UTC; None if it is none.

    Parameters
    ----------
    cell : Cell
        Text in a usual form, a date, seconds since 1970, or a date of the sheet's own.
    day_first : bool
        How 3/4/2026 is read.
    zone : ZoneInfo
        Zone of times that name none.
    clock : Cell
        Time of day, where it stands in a column of its own.
    """
    if isinstance(cell, datetime):
        return _placed(cell, zone)
    if isinstance(cell, date):
        return _on_day(cell, clock, zone)
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return _from_number(float(cell))
    if not isinstance(cell, str) or not cell.strip():
        return None
    text = cell.strip()
    if re.fullmatch(r"\d{9,10}(?:\.\d+)?|\d{12,13}", text):
        return _from_number(float(text))
    found = _day(text, day_first=day_first)
    if found is None:
        return parse_date(text)
    day, rest = found
    return _on_day(day, rest or clock, zone)


def _day(text: str, *, day_first: bool) -> tuple[date, str] | None:
    """Day at the beginning of a text, and what follows it."""
    try:
        if found := _YEAR_FIRST.match(text):
            return date(int(found[1]), int(found[2]), int(found[3])), found[4] or ""
        if found := _NUMERIC.match(text):
            first, second, year = int(found[1]), int(found[2]), int(found[3])
            year += 2000 if year < 70 else 1900 if year < 100 else 0
            day, month = (first, second) if day_first else (second, first)
            return date(year, month, day), found[4]
        if found := _NAMED.match(text):
            month = _MONTHS.get((found[2] or found[3]).casefold(), 0)
            return date(int(found[5]), month, int(found[1] or found[4])), found[6]
    except ValueError:
        return None
    return None


def _on_day(day: date, clock: Cell, zone: ZoneInfo) -> datetime | None:
    if isinstance(clock, time):
        return _placed(datetime.combine(day, clock), zone)
    if not isinstance(clock, str) or not clock.strip():
        # Noon, so that the day is the same in the zones around.
        return _placed(datetime.combine(day, time(12)), zone)
    found = _TIME.match(clock.strip())
    if found is None:
        return None
    hour = int(found[1]) % 12 + (12 if found[4].lower() == "p" else 0) if found[4] else int(found[1])
    try:
        moment = datetime.combine(day, time(hour, int(found[2]), min(int(found[3] or 0), 59)))
    except ValueError:
        return None
    if found[6]:
        offset = timedelta(hours=int(found[7]), minutes=int(found[8] or 0))
        return moment.replace(tzinfo=UTC) - (offset if found[6] == "+" else -offset)
    return moment.replace(tzinfo=UTC) if found[5] else _placed(moment, zone)


def _placed(moment: datetime, zone: ZoneInfo) -> datetime | None:
    try:
        return (moment if moment.tzinfo else moment.replace(tzinfo=zone)).astimezone(UTC)
    except (OverflowError, ValueError):
        return None


def _from_number(number: float) -> datetime | None:
    """Seconds or milliseconds since 1970; smaller numbers are no moments."""
    if number > 1e11:
        number /= 1000
    if not 3e8 < number < 5e9:
        return None
    return datetime.fromtimestamp(number, UTC)


def star_number(cell: Cell) -> tuple[float, float | None] | None:
    """Number of stars in a cell, and its scale where the cell says it ("4/5", "80 %", "★★★★☆")."""
    if isinstance(cell, bool) or cell is None:
        return None
    if isinstance(cell, int | float):
        return float(cell), None
    text = str(cell).strip()
    if not text:
        return None
    full, empty = text.count("★") + text.count("⭐"), text.count("☆")
    if full or empty:
        return float(full), float(max(full + empty, 5))
    word = _STAR_WORDS.get(text.casefold().split()[0])
    if word:
        return float(word), None
    found = _STARS.match(text)
    if found is None:
        return None
    scale = 100.0 if found[3] else float(found[2]) if found[2] else None
    return float(found[1].replace(",", ".")), scale


def star_scale(cells: Iterable[Cell]) -> float:
    """Scale of a column of stars: the smallest usual one in which its highest number fits."""
    numbers = [found[0] for cell in cells if (found := star_number(cell)) and found[1] is None]
    highest = max(numbers, default=5.0)
    return float(next((scale for scale in SCALES if highest <= scale), highest))


def to_stars(cell: Cell, scale: float) -> float | None:
    """Stars on the scale 1 to 5; nothing for an empty cell and for 0 of 5, which is no rating."""
    found = star_number(cell)
    if found is None:
        return None
    number, own_scale = found
    best = own_scale or scale
    if best <= 1 or number > best or (number == 0 and best <= 10):
        return None
    worst = 0.0 if best > 10 else 1.0
    return round(1 + 4 * max(number - worst, 0) / (best - worst), 3)


def to_flag(cell: Cell) -> bool:
    """Whether a cell says yes."""
    if isinstance(cell, bool | int | float):
        return bool(cell)
    return str(cell or "").strip().casefold() in (
        "yes",
        "y",
        "true",
        "1",
        "on",
        "x",
        "ticked",
        "checked",
        "ja",
        "oui",
    )


def to_text(cell: Cell) -> str:
    """Cell as text; a whole number without its decimals."""
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell)
