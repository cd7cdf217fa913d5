"""The parts of a mail: its text, its pictures, the names of what else is attached.

A damaged part costs that part. Start with `read_body`.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from email.message import Message

from inbox.intake.charset import decode, decode_base64, decode_quoted_printable
from inbox.intake.flowed import unflow
from inbox.intake.headers import decode_words, fields_of
from inbox.intake.html_text import HTML_LIMIT, read_html
from inbox.intake.incoming import Picture, clean, clean_line
from inbox.intake.photos import PHOTOS_PER_MESSAGE, to_picture

DEPTH_LIMIT = 40
"""Levels of parts within parts that are looked into; real mail has fewer than ten."""
PART_LIMIT = 500
TEXT_PART_LIMIT_BYTES = 4_000_000
_STUB = re.compile(r"html", re.IGNORECASE)
_FORWARD_MARK = "---------- Forwarded message ----------"


@dataclass(slots=True)
class Body:
    """What the parts of one mail hold."""

    texts: list[str] = field(default_factory=list)
    links: list[str] = field(default_factory=list)
    attachments: list[str] = field(default_factory=list)
    photos: list[Picture] = field(default_factory=list)
    types: set[str] = field(default_factory=set)
    calendar_method: str = ""

    @property
    def text(self) -> str:
        """All text, in the order of the parts."""
        return "\n\n".join(text for text in self.texts if text.strip())


def read_body(mail: Message, *, photo_limit_bytes: int) -> Body:
    """Read the parts of a mail that was parsed with `policy.compat32`."""
    body = Body()
    if not mail.is_multipart():
        # Nearly all small mail: no walk is needed.
        _take(mail, body, photo_limit_bytes)
        return body
    for part in _readable_parts(mail, body):
        _take(part, body, photo_limit_bytes)
    return body


def _readable_parts(mail: Message, body: Body) -> Iterator[Message]:
    """Leaves in reading order, one of each set of alternatives."""
    waiting: list[tuple[Message, int]] = [(mail, 0)]
    count = 0
    while waiting and count < PART_LIMIT:
        part, depth = waiting.pop()
        count += 1
        kind = part.get_content_type()
        body.types.add(kind)
        payload = part.get_payload()
        children = (
            [child for child in payload if isinstance(child, Message)] if isinstance(payload, list) else []
        )
        if not isinstance(payload, list):
            yield part
        elif depth >= DEPTH_LIMIT:
            body.attachments.append("(parts nested too deeply)")
        elif kind == "message/delivery-status" or kind == "text/rfc822-headers":
            continue
        elif kind == "multipart/alternative":
            waiting += reversed([(child, depth + 1) for child in _best(children)])
        else:
            if kind == "message/rfc822" and depth > 0:
                body.texts.append(_FORWARD_MARK)
            waiting += reversed([(child, depth + 1) for child in children])


def _best(children: list[Message]) -> list[Message]:
    """Of alternatives the plain one, unless it is empty or only says that there is HTML."""
    plain = [child for child in children if child.get_content_type() == "text/plain"]
    others = [child for child in children if child not in plain]
    rest = [child for child in others if child.get_content_maintype() not in ("text", "multipart")]
    rich = [child for child in others if child.get_content_maintype() in ("text", "multipart")]
    calendar = [child for child in rich if child.get_content_type() == "text/calendar"]
    rich = [child for child in rich if child not in calendar]
    if plain and rich:
        words = part_text(plain[0]).strip()
        if not words or (len(words) < 300 and _STUB.search(words)):
            return [rich[-1], *calendar, *rest]
    return [*(plain[:1] or rich[-1:]), *calendar, *rest]


def _take(part: Message, body: Body, photo_limit_bytes: int) -> None:
    """Take one leaf: text, picture, or the name of something else."""
    kind = part.get_content_type()
    body.types.add(kind)
    name = file_name(part)
    attached = part.get_content_disposition() == "attachment"
    if kind == "text/calendar":
        body.calendar_method = str(part.get_param("method") or "").lower()
    if kind == "text/plain" and not attached:
        body.texts.append(part_text(part))
    elif kind == "text/html" and not attached:
        text, links = read_html(part_text(part))
        body.texts.append(text)
        body.links += links
    elif kind.startswith("image/") or _looks_like_picture(name):
        picture = None
        if len(body.photos) < PHOTOS_PER_MESSAGE:
            picture = to_picture(part_bytes(part), limit_bytes=photo_limit_bytes)
        if picture:
            body.photos.append(picture)
        elif name and attached:
            body.attachments.append(name)
    elif kind.startswith("text/") and not attached and not name and kind not in ("text/calendar", "text/css"):
        body.texts.append(part_text(part))
    elif name:
        body.attachments.append(name)
    elif kind not in ("text/css", "application/pgp-signature", "application/pkcs7-signature"):
        body.attachments.append(kind)


def _looks_like_picture(name: str) -> bool:
    return name.lower().endswith((".jpg", ".jpeg", ".png", ".webp"))


def file_name(part: Message) -> str:
    """Name of an attached file, encoded by RFC 2231 or, as many programs do, by RFC 2047; its last piece."""
    try:
        name = part.get_filename()
    except (ValueError, LookupError, TypeError, AttributeError):
        return ""
    name = clean_line(decode_words(str(name or "")), 200) or ""
    return re.split(r"[\\/]", name)[-1]


def part_bytes(part: Message) -> bytes:
    """Content of a leaf with its transfer encoding undone, as far as it can be."""
    payload = part.get_payload()
    if not isinstance(payload, str):
        return b""
    encoding = str(part.get("content-transfer-encoding", "")).strip().lower()
    if encoding.startswith("base64"):
        return decode_base64(payload.encode("ascii", "ignore"))
    if encoding.startswith("quoted"):
        return decode_quoted_printable(_raw(part))
    if encoding in ("x-uuencode", "uuencode", "uue", "x-uue"):
        decoded = part.get_payload(decode=True)
        return decoded if isinstance(decoded, bytes) else b""
    return _raw(part)


def _raw(part: Message) -> bytes:
    """Payload as the bytes that stood in the mail; the parser keeps 8-bit ones as surrogates."""
    payload = part._payload  # type: ignore[attr-defined]
    return str(payload).encode("ascii", "surrogateescape") if isinstance(payload, str) else b""


def part_text(part: Message) -> str:
    """Text of a leaf, with format=flowed (RFC 3676) undone."""
    content = part_bytes(part)[:TEXT_PART_LIMIT_BYTES]
    try:
        claimed = part.get_param("charset") or ""
        claimed = claimed[2] if isinstance(claimed, tuple) else str(claimed)
    except (ValueError, LookupError, TypeError, AttributeError):
        claimed = ""
    if part.get_content_type() == "text/html" and not claimed:
        found = re.search(rb"charset\s*=\s*[\"']?([\w.:-]{2,40})", content[:2000], re.IGNORECASE)
        claimed = found[1].decode("ascii", "replace") if found else ""
    text = clean(decode(content, claimed))[:HTML_LIMIT].replace("\r\n", "\n").replace("\r", "\n")
    if str(part.get_param("format") or "").lower() == "flowed":
        text = unflow(text, del_sp=str(part.get_param("delsp") or "").lower() == "yes")
    return text


def header_ids(part: Message, name: str) -> str:
    """First field `name` of an enclosed mail or block, unfolded."""
    return fields_of(part).first(name)
