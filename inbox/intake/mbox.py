"""Mailboxes in one file (RFC 4155, and what programs really write), taken apart as a stream.

A separator line is one with an address and a full date, followed by a header field; "From the oven ..." in a
body splits nothing. Lines that were quoted with ">" (mboxo and mboxrd) are unquoted.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from inbox.intake.incoming import SET_ASIDE_LIMIT_BYTES

MAIL_LIMIT_BYTES = 40 * 1024 * 1024
"""Bytes of one mail that are read; servers take 25 to 35 million, encoded."""
PIECE_BYTES = 1024 * 1024
_DATED = re.compile(
    rb"From (?:.*\s)?(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun),?\s+"
    rb"(?:[A-Z][a-z]{2}\s+\d{1,2}|\d{1,2}\s+[A-Z][a-z]{2})\b.*\d{1,2}:\d{2}.*"
)
_FIELD = re.compile(rb"[!-9;-~]{1,76}:|>From ")
_QUOTED_FROM = re.compile(rb"^>(>*From )", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Piece:
    """One mail of the file, not yet read."""

    raw: bytes
    number: int
    size_bytes: int
    """Bytes that it has in the file; more than `raw` holds where it is too long to be read."""
    is_mail: bool = True
    name: str = ""
    """Name of the file within a zip that it came from."""
    damage: str = ""
    """Why the rest of that file cannot be unpacked; `raw` is then its name."""


def is_separator(line: bytes) -> bool:
    """Whether `line` is a separator line in full: an address or the like, then a date with a time."""
    return line.startswith(b"From ") and _DATED.match(line) is not None


def split_mbox(file: BinaryIO) -> Iterator[Piece]:
    """Mails of an open mbox file, one after the other; never more than one in memory."""
    held: list[bytes] = []
    size = number = 0
    in_mail = blank_before = at_line_start = True
    loose = False
    line = file.readline(PIECE_BYTES)
    if line.startswith(b"From "):
        # A file whose first separator has no date has others like it.
        loose = not is_separator(line)
        in_mail = True
        line = _next_line(file)
    else:
        in_mail = False
    while line:
        following = file.readline(PIECE_BYTES)
        if (
            at_line_start
            and line.startswith(b"From ")
            and _FIELD.match(following)
            and (is_separator(line) or (loose and blank_before))
        ):
            if size or in_mail:
                number += 1
                yield _piece(held, size, number, is_mail=in_mail)
            held, size, in_mail = [], 0, True
        else:
            if size < MAIL_LIMIT_BYTES:
                held.append(line)
            size += len(line)
        at_line_start = line.endswith(b"\n")
        blank_before = line in (b"\n", b"\r\n")
        line = following
    if size or in_mail:
        yield _piece(held, size, number + 1, is_mail=in_mail)


def _next_line(file: BinaryIO) -> bytes:
    return file.readline(PIECE_BYTES)


def _piece(lines: list[bytes], size: int, number: int, *, is_mail: bool) -> Piece:
    raw = b"".join(lines)
    if size > MAIL_LIMIT_BYTES:
        return Piece(raw[:SET_ASIDE_LIMIT_BYTES], number, size, is_mail)
    # The blank line before the next separator belongs to the file, not to the mail.
    if raw.endswith(b"\n\n"):
        raw = raw[:-1]
    elif raw.endswith(b"\r\n\r\n"):
        raw = raw[:-2]
    if b">From " in raw:
        raw = _QUOTED_FROM.sub(rb"\1", raw)
    return Piece(raw, number, size, is_mail)
