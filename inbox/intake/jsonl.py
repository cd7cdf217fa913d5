"""Messages in the project's own JSONL: one object a line; only `text` is required.

Fields: id, channel, received_at, name, email, handle, recipe, page, page_url, subject, text, stars,
thumbs_up_count, in_reply_to, reply_wanted, may_quote, tell_me, kept_apart, hand. `hand` are a person's
labels, as `export` writes them. Fields with other names are passed over and stay in the original.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, BinaryIO

from inbox.errors import InputError
from inbox.intake.incoming import SET_ASIDE_LIMIT_BYTES, Incoming, Unusable
from inbox.records.settle import check_label
from inbox.records.tables import APART, DOORS
from inbox.words import CHANNELS

LINE_LIMIT_BYTES = 8 * 1024 * 1024
"""Bytes of one line that are read; a message has a few thousand."""
_PIECE_BYTES = 1024 * 1024


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the file, not yet read."""

    raw: bytes
    number: int
    size_bytes: int


def split_lines(file: BinaryIO) -> Iterator[Line]:
    """Lines of an open file that are not blank; of an overlong one only the beginning is held."""
    held: list[bytes] = []
    size, number = 0, 1
    while piece := file.readline(_PIECE_BYTES):
        if size < SET_ASIDE_LIMIT_BYTES:
            held.append(piece)
        size += len(piece)
        if piece.endswith(b"\n"):
            yield from _line(held, size, number)
            held, size = [], 0
            number += 1
    yield from _line(held, size, number)


def _line(held: list[bytes], size: int, number: int) -> Iterator[Line]:
    raw = b"".join(held)[:SET_ASIDE_LIMIT_BYTES].strip()
    if number == 1:
        raw = raw.removeprefix(b"\xef\xbb\xbf")
    if raw:
        yield Line(raw, number, size)


def read_line(line: Line) -> Incoming | Unusable:
    """One line as an item; whatever is wrong with it is said with the number of the line."""
    place = f"line {line.number}"
    if line.size_bytes > LINE_LIMIT_BYTES:
        reason = (
            f"Line {line.number} has {line.size_bytes:,} bytes; at most {LINE_LIMIT_BYTES:,} are read. "
            f"Its first {len(line.raw):,} bytes are kept here; the whole line is still in your file."
        )
        return Unusable(door="jsonl", place=place, reason=reason, raw=line.raw)
    try:
        record = json.loads(line.raw)
        if not isinstance(record, dict):
            raise InputError(f"it is a JSON {type(record).__name__}, not an object with a text")
        return from_record(record, line.raw, place)
    except InputError as error:
        reason = f"Line {line.number} cannot be taken in: {error}."
    except RecursionError:
        reason = f"Line {line.number} is nested too deeply to be read."
    except ValueError as error:
        reason = f"Line {line.number} is not JSON: {error}."
    return Unusable(door="jsonl", place=place, reason=reason, raw=line.raw)


def from_record(record: Mapping[str, Any], raw: bytes, place: str) -> Incoming:
    """Item from the fields of one line; raises InputError that names the field."""
    text = _string(record, "text") or ""
    stars = _number(record, "stars")
    if not text.strip() and stars is None and not _string(record, "subject"):
        raise InputError("it has no text")
    channel = _string(record, "channel") or "comment"
    if channel not in CHANNELS:
        raise InputError(f"channel is {channel!r}; it must be one of {', '.join(CHANNELS)}")
    key = _key(record.get("id"))
    answers = record.get("in_reply_to")
    return Incoming(
        door="jsonl",
        channel=channel,
        text=text,
        key=key,
        rfc_message_id=_mail_id(key),
        received_at=_moment(record),
        name=_string(record, "name"),
        email=_string(record, "email"),
        handle=_string(record, "handle"),
        page_slug=_string(record, "page") if "page" in record else _string(record, "recipe"),
        page_url=_string(record, "page_url"),
        subject=_string(record, "subject"),
        raw=raw,
        raw_type="application/json",
        stars=None if stars is None else min(max(stars, 1.0), 5.0),
        thumbs_up_count=int(_number(record, "thumbs_up_count") or 0),
        in_reply_to=str(answers) if answers else None,
        answers_key=_key(answers),
        reply_wanted=_flag(record, "reply_wanted"),
        may_quote=_flag(record, "may_quote"),
        tell_me=_flag(record, "tell_me"),
        kept_apart=_kept_apart(record),
        labels=_labels(record),
        place=place,
    )


def _key(identity: object) -> str | None:
    """Key of an id; an id out of our own export is the key itself."""
    if identity is None or identity == "" or not isinstance(identity, str | int):
        return None
    text = str(identity)
    return text if text.partition(":")[0] in DOORS and ":" in text else f"jsonl:{text}"


def _mail_id(key: str | None) -> str | None:
    """Message-ID in the key of a mail out of our own export, so that answers find it."""
    is_mail = key is not None and key.startswith("mail:") and ":sha256:" not in key
    return str(key).removeprefix("mail:") if is_mail else None


def _kept_apart(record: Mapping[str, Any]) -> str | None:
    why = _string(record, "kept_apart")
    if why is not None and why not in APART:
        raise InputError(f"kept_apart is {why!r:.80}; it must be one of {', '.join(APART)}")
    return why


def _string(record: Mapping[str, Any], field: str) -> str | None:
    value = record.get(field)
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, int | float) and not isinstance(value, bool):
        return str(value)
    raise InputError(f"{field} is {value!r:.80}; it must be text")


def _number(record: Mapping[str, Any], field: str) -> float | None:
    value = record.get(field)
    if value is None or value == "":
        return None
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError):
        raise InputError(f"{field} is {value!r:.80}; it must be a number") from None
    if not -1e9 < number < 1e9:
        raise InputError(f"{field} is {value!r:.80}; it must be a sensible number")
    return number


def _flag(record: Mapping[str, Any], field: str) -> bool:
    value = record.get(field)
    if value in (None, "", False, 0):
        return False
    if value in (True, 1):
        return True
    raise InputError(f"{field} is {value!r:.80}; it must be true or false")


def _moment(record: Mapping[str, Any]) -> datetime | None:
    text = _string(record, "received_at")
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text.strip())
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone(UTC)
    except (ValueError, OverflowError):
        raise InputError(f"received_at is {text!r:.80}; write it as 2026-11-02T10:00:00Z") from None


def _labels(record: Mapping[str, Any]) -> dict[str, Any]:
    labels = record.get("hand")
    if labels is None:
        return {}
    if not isinstance(labels, dict):
        raise InputError(f"hand is {labels!r:.80}; it must be an object")
    return {str(field): check_label(str(field), value) for field, value in labels.items()}
