"""Plain values for columns that hold JSON."""

from datetime import date, datetime
from enum import Enum
from typing import Any


def plain(value: Any) -> Any:
    """`value` with dates as ISO text, tuples and sets as lists, numpy numbers as Python's own."""
    if isinstance(value, dict):
        return {str(key): plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [plain(inner) for inner in value]
    if isinstance(value, set | frozenset):
        return sorted(plain(inner) for inner in value)
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, Enum):
        return value.value
    return value.item() if hasattr(value, "item") else value
