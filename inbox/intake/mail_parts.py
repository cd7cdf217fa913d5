"""A mail taken apart into its parts (RFC 2045, 2046, 2231), as bytes and in one pass.

The standard library's parser does the same several times slower, line by line, and recursively; years of mail
are brought in at once, and some of it is hostile, so this one exists. Its results are compared with the
library's in `tests/outside/test_mail_library.py`. Nothing here raises on damaged input. Start with
`parse_mail`.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from urllib.parse import unquote_to_bytes

from inbox.intake.charset import decode, decode_base64, decode_quoted_printable, decode_uuencode

DEPTH_LIMIT = 40
"""Levels of parts within parts that are looked into; real mail has fewer than ten."""
PART_LIMIT = 1000
"""Parts of one mail that are looked at, whatever they lie in; real mail has fewer than a hundred."""
FIELD_LIMIT = 20_000
"""Bytes of one header field that are looked at; real ones have a few hundred."""
_FIELD = re.compile(rb"([!-9;-~]+)[ \t]*:(.*(?:\n[ \t].*)*)(?:\n|$)")
_FOLD = re.compile(rb"\s*\n\s*")
_KIND = re.compile(r"\s*([\w.+-]+/[\w.+-]+)")
_PARAMETER = re.compile(r";\s*([\w!#$%&'+.^`|~*-]+)\s*=\s*(\"(?:[^\"\\]|\\.)*\"?|[^;]*)")


@dataclass(frozen=True, slots=True)
class Fields:
    """Header fields by lower-case name, unfolded and still encoded, in the order in which they stood."""

    values: Mapping[str, list[str]]

    def first(self, name: str) -> str:
        """First field of this name; empty where there is none."""
        found = self.values.get(name)
        return found[0] if found else ""

    def all(self, name: str) -> list[str]:
        """All fields of this name."""
        return self.values.get(name, [])


@dataclass(slots=True)
class Part:
    """One part of a mail, or the mail itself."""

    fields: Fields
    content: bytes
    """Body as it stands in the mail, transfer encoding and all, lines ending in LF."""
    kind: str = "text/plain"
    parameters: dict[str, str] = field(default_factory=dict)
    children: "list[Part]" = field(default_factory=list)
    left_out: str = ""
    """Why what lies in it was not looked at, or not all of it."""

    def decoded(self) -> bytes:
        """Body with its transfer encoding undone, as far as it can be."""
        encoding = self.fields.first("content-transfer-encoding").strip().lower()
        if encoding.startswith("base64"):
            return decode_base64(self.content)
        if encoding.startswith("quoted"):
            return decode_quoted_printable(self.content)
        if "uue" in encoding:
            return decode_uuencode(self.content)
        return self.content

    def walk(self) -> "Iterator[Part]":
        """The part and all below it, in reading order."""
        waiting = [self]
        while waiting:
            part = waiting.pop()
            yield part
            waiting += reversed(part.children)

    @property
    def disposition(self) -> str:
        """What a program should do with the part: attachment, inline, or nothing said."""
        return self.fields.first("content-disposition").partition(";")[0].strip().lower()


def parse_mail(raw: bytes) -> Part:
    """Take a mail apart; its line ends may be CRLF, LF or CR."""
    if b"\r" in raw:
        raw = raw.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if b"\x00" in raw:
        raw = raw.replace(b"\x00", b"")
    mail = _part(raw, "text/plain")
    waiting = [(mail, 0)]
    left = PART_LIMIT
    while waiting:
        part, depth = waiting.pop()
        contents = _contents(part, left + 1)
        if contents and depth >= DEPTH_LIMIT:
            part.left_out = "(parts nested too deeply)"
            continue
        if len(contents) > left:
            part.left_out = f"(more than {PART_LIMIT:,} parts)"
        default = "message/rfc822" if part.kind == "multipart/digest" else "text/plain"
        part.children = [_part(content, default) for content in contents[:left]]
        left -= len(part.children)
        waiting += [(child, depth + 1) for child in part.children]
    return mail


def _part(raw: bytes, default_kind: str) -> Part:
    fields, content = split_head(raw)
    declared = fields.first("content-type")
    if not declared:
        return Part(fields, content, default_kind)
    kind = _KIND.match(declared)
    return Part(fields, content, kind[1].lower() if kind else "text/plain", parameters_of(declared))


def split_head(raw: bytes) -> tuple[Fields, bytes]:
    """Header fields and body; a line that is no field ends the head even without a blank line."""
    values: dict[str, list[str]] = {}
    position = 0
    if raw.startswith((b"From ", b">From ")):
        position = raw.find(b"\n") + 1 or len(raw)
    while found := _FIELD.match(raw, position):
        content = found[2][:FIELD_LIMIT]
        if b"\n" in content:
            content = _FOLD.sub(b" ", content)
        text = content.decode("ascii") if content.isascii() else decode(content)
        values.setdefault(found[1].decode("ascii").lower(), []).append(text.strip())
        position = found.end()
    if raw.startswith(b"\n", position):
        position += 1
    return Fields(values), raw[position:]


def _contents(part: Part, most: int) -> list[bytes]:
    """Raw texts of the parts within `part`, so many at most; none for a leaf."""
    if part.kind.startswith("multipart/"):
        boundary = part.parameters.get("boundary", "").encode("utf-8", "replace")
        if part.content.strip() == b"--" + boundary + b"--":
            part.content = b""
        return list(islice(_between(part.content, boundary), most)) if boundary else []
    if part.kind == "message/delivery-status":
        blocks = part.decoded().strip().split(b"\n\n", most)[:most]
        return [b"Content-Type: text/rfc822-headers\n" + block.strip(b"\n") for block in blocks]
    return [part.decoded()] if part.kind.startswith("message/") else []


def _between(content: bytes, boundary: bytes) -> Iterator[bytes]:
    """What stands between the boundary lines; the last part may lack its end."""
    start = -1
    position = 0
    mark = b"--" + boundary
    while (found := content.find(mark, position)) >= 0:
        position = found + len(mark)
        if found and content[found - 1] != 0x0A:
            continue
        end = content.find(b"\n", position)
        rest = content[position : end if end >= 0 else len(content)].strip()
        if rest not in (b"", b"--"):
            continue
        if 0 <= start < found:
            yield content[start : found - 1]
        if rest == b"--":
            return
        start = end + 1 if end >= 0 else len(content)
        position = start
    if start >= 0:
        yield content[start:]


def parameters_of(text: str) -> dict[str, str]:
    """Parameters of a field such as Content-Type, with those of RFC 2231 put together and decoded."""
    plain: dict[str, str] = {}
    pieces: dict[str, dict[int, tuple[str, bool]]] = {}
    for name, written in _PARAMETER.findall(text):
        name = name.lower()
        value = written.strip()
        if value.startswith('"'):
            value = re.sub(r"\\(.)", r"\1", value[1:].removesuffix('"'))
        if "*" not in name:
            plain.setdefault(name, value)
            continue
        base, *marks = name.split("*")
        number = int(marks[0]) if marks[0].isdecimal() and len(marks[0]) < 4 else 0
        pieces.setdefault(base, {})[number] = (value, name.endswith("*"))
    for base, found in pieces.items():
        plain[base] = _joined(found)
    return plain


def _joined(pieces: dict[int, tuple[str, bool]]) -> str:
    """Value out of its pieces; the first one names the charset if it is encoded."""
    charset = ""
    content = b""
    for place, number in enumerate(sorted(pieces)):
        value, is_encoded = pieces[number]
        if place == 0 and is_encoded and value.count("'") >= 2:
            charset, _, value = value.split("'", 2)
        content += unquote_to_bytes(value) if is_encoded else value.encode("utf-8", "replace")
    return decode(content, charset or "utf-8")
