"""Numbers, spans and dates in plain words, as the pages and the digest write them."""

from datetime import date

_SMALL = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip


def number(count: int) -> str:
    """Write "twenty-one" up to ninety-nine, then figures with a comma; "no" for 0."""
    if count < len(_SMALL):
        return _SMALL[count]
    if count < 100:
        tens, ones = divmod(count, 10)
        return _TENS[tens] + (f"-{_SMALL[ones]}" if ones else "")
    return f"{count:,}"


def times(count: int) -> str:
    """Write "never", "once", "twice", "three times"."""
    return ("never", "once", "twice")[count] if count < 3 else f"{number(count)} times"


def people(count: int) -> str:
    """Write "nobody", "one person", "twenty-one people"."""
    if count == 0:
        return "nobody"
    return "one person" if count == 1 else f"{number(count)} people"


def of(count: int, total: int) -> str:
    """Write "four of nine", both in the same manner."""
    return f"{number(count) if count else 'none'} of {number(total)}"


def day(on: date, *, near: date) -> str:
    """Write "14 February", with the year where it is not the one of `near`."""
    text = f"{on.day} {_MONTHS[on.month - 1]}"
    return text if on.year == near.year else f"{text} {on.year}"


def per_cent(share: float) -> str:
    """Write "23 %", for the side of a count."""
    return f"{100 * share:.0f} %"


def chance(probability: float) -> str:
    """Write "23 %"; what is estimated is never said to be certain.

    >>> chance(0.9999), chance(0.001)
    ('more than 99 %', 'less than 1 %')
    """
    if probability > 0.99:
        return "more than 99 %"
    return "less than 1 %" if probability < 0.01 else per_cent(probability)


def listed(parts: list[str]) -> str:
    """Write "a", "a and b", "a, b and c"."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""
