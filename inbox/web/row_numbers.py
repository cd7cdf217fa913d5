"""Numbers of rows in addresses and forms: such as the ledger can hold, or none at all."""

import re
from collections.abc import Iterable

from werkzeug.routing import IntegerConverter

_NUMBER = re.compile(r"[0-9]{1,18}", re.ASCII)
"""Every number of eighteen digits fits into the 64 bits of a row's number; longer ones are no row."""


class RowNumber(IntegerConverter):
    """A number in an address; an address with a longer one does not exist."""

    regex = _NUMBER.pattern


def row_number(text: str | None) -> int | None:
    """Number that `text` writes, or None where it writes none that a row could have."""
    return int(text) if text and _NUMBER.fullmatch(text) else None


def row_numbers(texts: Iterable[str]) -> list[int]:
    """Numbers among `texts`, in their order; what is none is passed over."""
    return [number for number in map(row_number, texts) if number is not None]
