"""The header fields of a mail: encoded words, addresses, dates, ids, however programs wrote them."""

import re
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta, timezone
from email.utils import getaddresses, parsedate_tz

from inbox.intake.charset import decode, decode_base64, decode_quoted_printable
from inbox.intake.incoming import clean

_ENCODED_WORD = re.compile(r"=\?([^?\s]{1,60})\?([bBqQ])\?([^?]*)\?=")
_SIMPLE_ADDRESS = re.compile(
    r'\s*(?:"([^"\\<>]*)"|([^"<>@,;:()\\]*?))\s*<\s*([^<>\s@,;:"]+@[^<>\s@,;:"]+)\s*>\s*'
)
_BARE_ADDRESS = re.compile(r"[^<>\s@,;:\"()]+@[^<>\s@,;:\"()]+")
_MESSAGE_ID = re.compile(r"<([^<>]+)>")
_SIMPLE_DATE = re.compile(
    r"\s*(?:[A-Za-z]{3},)?\s*(\d{1,2}) ([A-Za-z]{3}) (\d{4}) (\d{2}):(\d{2}):(\d{2}) ([+-])(\d{2})(\d{2})"
)
_MONTHS = {
    name: number
    for number, name in enumerate(
        ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"), start=1
    )
}
_OLD_YEAR = re.compile(r"(\s*(?:\w+,)?\s*\d{1,2}\s+[A-Za-z]{3}\s+)(\d{2,3})(?=\s)")


_LONGEST_ADDRESSES = 4_000
"""Characters of an address field that are looked at; the writer stands at its beginning."""


def decode_words(text: str) -> str:
    """Text of a header field with its encoded words (RFC 2047) decoded.

    White space between two encoded words is dropped; a character split over two words of one charset
    is put together again.
    """
    if "=?" not in text:
        return clean(text)
    pieces: list[str] = []
    pending, charset, end = b"", "", 0
    for found in _ENCODED_WORD.finditer(text):
        between = text[end : found.start()]
        if pending and (between.strip() or found[1].lower() != charset):
            pieces.append(decode(pending, charset))
            pending = b""
        if between.strip() or end == 0:
            pieces.append(between)
        content = found[3].encode("utf-8", "surrogateescape")
        if found[2] in "bB":
            pending += decode_base64(content)
        else:
            pending += decode_quoted_printable(content.replace(b"_", b"=20"))
        charset, end = found[1].lower(), found.end()
    pieces += [decode(pending, charset) if pending else "", text[end:]]
    return clean("".join(pieces))


def addresses(fields: Iterable[str]) -> list[tuple[str, str]]:
    """Names and addresses in address fields; groups are opened, broken entries passed over."""
    found: list[tuple[str, str]] = []
    for whole in fields:
        text = whole[:_LONGEST_ADDRESSES]
        simple = _SIMPLE_ADDRESS.fullmatch(text)
        if simple:
            found.append((decode_words(simple[1] or simple[2] or "").strip(), simple[3]))
            continue
        try:
            entries = [(name, address) for name, address in getaddresses([text]) if "@" in address]
        except RecursionError:  # comments may nest (RFC 5322, 3.2.2), and the parser calls itself for each
            entries = []
        if not entries:
            entries = [("", address) for address in _BARE_ADDRESS.findall(text)[:5]]
        found += [(decode_words(name).strip(), address.strip()) for name, address in entries]
    return found


def message_ids(text: str) -> list[str]:
    """Ids in a Message-ID, In-Reply-To or References field, without their angle brackets."""
    found = [re.sub(r"\s+", "", one) for one in _MESSAGE_ID.findall(text)]
    if not found and "@" in text and "<" not in text:
        found = [one.strip(",;") for one in text.split() if "@" in one][:1]
    return [clean(one) for one in found if one]


def parse_date(text: str) -> datetime | None:
    """Moment of a Date field (RFC 5322, with the obsolete zones and years of section 4.3), or None."""
    simple = _SIMPLE_DATE.match(text)
    if simple and (month := _MONTHS.get(simple[2].lower())):
        sign = -1 if simple[7] == "-" else 1
        offset = sign * timedelta(hours=int(simple[8]), minutes=int(simple[9]))
        day, year, hour, minute, second = (int(simple[place]) for place in (1, 3, 4, 5, 6))
        return _moment((year, month, day, hour, minute, second), offset)
    try:
        found = parsedate_tz(_OLD_YEAR.sub(_full_year, text[:200], count=1))
    except (ValueError, TypeError, IndexError):
        found = None
    if found is None:
        return _iso_date(text)
    return _moment(found[:6], timedelta(seconds=found[9] or 0))


def _full_year(found: re.Match[str]) -> str:
    year = int(found[2])
    full = year + 1900 if len(found[2]) == 3 or year >= 50 else year + 2000
    return f"{found[1]}{full}"


def _moment(parts: tuple[int, ...], offset: timedelta) -> datetime | None:
    year, month, day, hour, minute, second = parts
    try:
        # A leap second is written :60.
        return datetime(year, month, day, hour, minute, min(second, 59), tzinfo=timezone(offset)).astimezone(
            UTC
        )
    except (ValueError, OverflowError):
        return None


def _iso_date(text: str) -> datetime | None:
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    return (found if found.tzinfo else found.replace(tzinfo=UTC)).astimezone(UTC)
