"""The parts of a mail: its text, its pictures, the names of what else is attached.

A damaged part costs that part. Start with `read_body`.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from inbox.intake.charset import decode
from inbox.intake.flowed import unflow
from inbox.intake.headers import decode_words
from inbox.intake.html_text import HTML_LIMIT, read_html
from inbox.intake.incoming import Picture, clean, clean_line
from inbox.intake.mail_parts import Part, parameters_of
from inbox.intake.photos import PHOTOS_PER_MESSAGE, to_picture

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


def read_body(mail: Part, *, photo_limit_bytes: int) -> Body:
    """Read the parts of a mail."""
    body = Body()
    for part in _readable_parts(mail, body):
        body.types.add(part.kind)
        _take(part, body, photo_limit_bytes)
    return body


def _readable_parts(mail: Part, body: Body) -> Iterator[Part]:
    """Leaves in reading order, one of each set of alternatives."""
    waiting: list[tuple[Part, int]] = [(mail, 0)]
    while waiting:
        part, depth = waiting.pop()
        if part.left_out and part.left_out not in body.attachments:
            body.attachments.append(part.left_out)
        if not part.children:
            if not part.left_out:
                yield part
            continue
        body.types.add(part.kind)
        children = part.children
        if part.kind == "message/delivery-status":
            continue
        if part.kind == "multipart/alternative":
            children = _best(children)
        elif part.kind == "message/rfc822" and depth > 0:
            body.texts.append(_FORWARD_MARK)
        waiting += [(child, depth + 1) for child in reversed(children)]


def _best(children: list[Part]) -> list[Part]:
    """Of alternatives the plain one, unless it is empty or only says that there is HTML."""
    plain = [child for child in children if child.kind == "text/plain"]
    rich = [
        child
        for child in children
        if child.kind.startswith(("text/", "multipart/"))
        and child.kind not in ("text/plain", "text/calendar")
    ]
    rest = [child for child in children if child not in plain and child not in rich]
    if plain and rich:
        words = part_text(plain[0]).strip()
        if not words or (len(words) < 300 and _STUB.search(words)):
            return [rich[-1], *rest]
    return [*(plain[:1] or rich[-1:]), *rest]


def _take(part: Part, body: Body, photo_limit_bytes: int) -> None:
    """Take one leaf: text, picture, or the name of something else."""
    kind = part.kind
    name = file_name(part)
    attached = part.disposition == "attachment"
    if kind == "text/calendar":
        body.calendar_method = part.parameters.get("method", "").lower()
    if kind == "text/plain" and not attached:
        body.texts.append(part_text(part))
    elif kind == "text/html" and not attached:
        text, links = read_html(part_text(part))
        body.texts.append(text)
        body.links += links
    elif kind.startswith("image/") or _looks_like_picture(name):
        picture = None
        if len(body.photos) < PHOTOS_PER_MESSAGE:
            picture = to_picture(part.decoded(), limit_bytes=photo_limit_bytes)
        if picture:
            body.photos.append(picture)
        elif name and attached:
            body.attachments.append(name)
    elif kind.startswith("multipart/") or (kind.startswith("text/") and not attached and not name):
        # Damaged multiparts without boundary lines are read as what they look like.
        if kind not in ("text/calendar", "text/css", "text/rfc822-headers"):
            body.texts.append(part_text(part))
    elif name:
        body.attachments.append(name)
    elif kind not in ("application/pgp-signature", "application/pkcs7-signature"):
        body.attachments.append(kind)


def _looks_like_picture(name: str) -> bool:
    return name.lower().endswith((".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif"))


def file_name(part: Part) -> str:
    """Name of an attached file, encoded by RFC 2231 or, as many programs do, by RFC 2047; its last piece."""
    written = part.fields.first("content-disposition")
    name = parameters_of(written).get("filename", "") if "filename" in written.lower() else ""
    name = name or part.parameters.get("name", "")
    if not name:
        return ""
    return re.split(r"[\\/]", clean_line(decode_words(name), 200) or "")[-1]


def part_text(part: Part) -> str:
    """Text of a leaf, with format=flowed (RFC 3676) undone."""
    content = part.decoded()[:TEXT_PART_LIMIT_BYTES]
    claimed = part.parameters.get("charset", "")
    if part.kind == "text/html" and not claimed:
        found = re.search(rb"charset\s*=\s*[\"']?([\w.:-]{2,40})", content[:2000], re.IGNORECASE)
        claimed = found[1].decode("ascii", "replace") if found else ""
    text = clean(decode(content, claimed))[:HTML_LIMIT]
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    if part.parameters.get("format", "").lower() == "flowed":
        text = unflow(text, del_sp=part.parameters.get("delsp", "").lower() == "yes")
    return text
