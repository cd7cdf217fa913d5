"""One day for a calendar, as iCalendar (RFC 5545)."""

from datetime import date, datetime, timedelta
from urllib.parse import urlsplit


def bench_day(theme_id: int, name: str, on: date, public_url: str, *, now: datetime) -> str:
    """An all-day event for the day on which a recipe is to be ready.

    References
    ----------
    RFC 5545: sections 3.1 (lines folded after 75 octets, CRLF), 3.3.11 (text escaped), 3.6.1
    (an event's DTEND is not included).
    """
    host = urlsplit(public_url).hostname or "localhost"
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Second Batch//EN",
        "BEGIN:VEVENT",
        f"UID:bench-{theme_id}@{host}",
        f"DTSTAMP:{now:%Y%m%dT%H%M%SZ}",
        f"DTSTART;VALUE=DATE:{on:%Y%m%d}",
        f"DTEND;VALUE=DATE:{on + timedelta(days=1):%Y%m%d}",
        f"SUMMARY:{_escaped(f'Ready: {name}')}",
        f"URL:{public_url}/requests/{theme_id}",
        "END:VEVENT",
        "END:VCALENDAR",
    ]
    return "".join(folded(line) for line in lines)


def _escaped(text: str) -> str:
    for sign in ("\\", ";", ","):
        text = text.replace(sign, "\\" + sign)
    return " ".join(text.split())


def folded(line: str) -> str:
    """One content line, cut after at most 75 octets, never inside a character."""
    pieces, piece, size = [], "", 0
    for sign in line:
        width = len(sign.encode())
        if size + width > 75:
            pieces.append(piece)
            piece, size = " ", 1
        piece, size = piece + sign, size + width
    return "\r\n".join([*pieces, piece]) + "\r\n"
