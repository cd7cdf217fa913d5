"""Bytes to text, whatever charset they claim, and damaged transfer encodings. Nothing here raises."""

import base64
import binascii
import codecs
import re
from functools import lru_cache

_ALIASES = {
    "ansi": "cp1252",
    "ansi_x3.4-1968": "ascii",
    "cp-850": "cp850",
    "gb2312": "gb18030",
    "gbk": "gb18030",
    "iso-8859-8-i": "iso-8859-8",
    "iso-8859-8-e": "iso-8859-8",
    "ks_c_5601-1987": "cp949",
    "euc-kr": "cp949",
    "shift_jis": "cp932",
    "x-sjis": "cp932",
    "unicode-1-1-utf-7": "utf-7",
    "unicode-1-1-utf-8": "utf-8",
    "utf8mb4": "utf-8",
    "x-mac-roman": "mac-roman",
    "macintosh": "mac-roman",
}
"""Names that mail programs write and Python does not know, or knows too narrowly."""
_WEAK = frozenset(("ascii", "iso8859-1", "cp1252", ""))
"""Charsets that programs claim without having looked; bytes that are valid UTF-8 are UTF-8 all the same."""
_NOT_TEXT = frozenset(
    ("unicode_escape", "raw_unicode_escape", "punycode", "idna", "undefined", "mbcs", "oem")
)
_BASE64_LINE = re.compile(rb"[A-Za-z0-9+/]+={0,2}")
_NOT_BASE64 = re.compile(rb"[^A-Za-z0-9+/]")
_CP1252 = {number: bytes([number]).decode("cp1252", "replace") for number in range(0x80, 0xA0)}
"""Windows-1252 for the bytes that Latin-1 leaves to control characters."""


@lru_cache(maxsize=256)
def codec_name(claimed: str) -> str:
    """Python's name for a claimed charset; empty where there is none that makes text."""
    name = claimed.strip().strip("\"'").casefold().partition("*")[0]
    name = _ALIASES.get(name, name)
    try:
        found = codecs.lookup(name)
    except (LookupError, ValueError):
        return ""
    is_text = getattr(found, "_is_text_encoding", True) and found.name not in _NOT_TEXT
    return found.name if is_text else ""


def decode(content: bytes, claimed: str = "") -> str:
    """`content` as text.

    What is claimed is believed where it can be true. Latin-1 means windows-1252, as on the web; valid
    UTF-8 wins over a claim that programs make by default; what fits nowhere becomes U+FFFD.
    """
    if content.isascii() and b"\x1b" not in content and b"+" not in content and not _wide(claimed):
        return content.decode("ascii")
    if content.startswith((codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return _with_mark(content)
    name = codec_name(claimed)
    if name in _WEAK or name == "utf-8":
        try:
            return content.decode("utf-8")
        except UnicodeDecodeError:
            if name == "utf-8" and _mostly_utf8(content):
                return content.decode("utf-8", "replace")
            return _windows(content)
    try:
        return content.decode(name)
    except (UnicodeError, ValueError, LookupError):
        try:
            return content.decode("utf-8")
        except UnicodeDecodeError:
            return content.decode(name, "replace")


def _wide(claimed: str) -> bool:
    return codec_name(claimed).startswith(("utf-16", "utf-32")) if claimed else False


def _with_mark(content: bytes) -> str:
    if content.startswith(codecs.BOM_UTF8):
        return content[3:].decode("utf-8", "replace")
    return content.decode("utf-16", "replace")


def _mostly_utf8(content: bytes) -> bool:
    """Whether broken UTF-8 is still UTF-8 (cut, or with a stray byte) rather than another charset."""
    text = content.decode("utf-8", "replace")
    broken = text.count("\ufffd")
    return sum(not character.isascii() for character in text) - broken >= broken


def _windows(content: bytes) -> str:
    return content.decode("latin-1").translate(_CP1252)


def decode_base64(content: bytes) -> bytes:
    """Base64 as found in mail: junk between, cut short, several blocks, a footer that is not encoded."""
    try:
        return base64.b64decode(content, validate=False) if b"=" not in content[:-4] else _by_line(content)
    except binascii.Error:
        return _by_line(content)


def _by_line(content: bytes) -> bytes:
    """Decode block by block: a block ends at its padding, and lines that cannot be base64 are passed over."""
    decoded = bytearray()
    block = bytearray()
    for line in content.split(b"\n"):
        line = line.strip()
        bare = line if _BASE64_LINE.fullmatch(line) else _NOT_BASE64.sub(b"", line)
        is_footer = bool(decoded) and not block and (bare is not line or len(line) < 20)
        if is_footer or len(bare) * 5 < len(line) * 4:
            continue
        block += bare.rstrip(b"=")
        if line.endswith(b"="):
            decoded += _block(bytes(block))
            block.clear()
    return bytes(decoded + _block(bytes(block)))


def _block(block: bytes) -> bytes:
    if len(block) % 4 == 1:
        block = block[:-1]
    try:
        return base64.b64decode(block + b"=" * (-len(block) % 4))
    except binascii.Error:
        return b""


def decode_quoted_printable(content: bytes) -> bytes:
    """Quoted-printable; what is not encoded rightly stays as it stands."""
    return binascii.a2b_qp(content)


def decode_uuencode(content: bytes) -> bytes:
    """Uuencoded content; lines that are not are passed over."""
    decoded = bytearray()
    for line in content.split(b"\n"):
        if line.startswith(b"begin ") or line in (b"end", b"`", b" ", b""):
            continue
        try:
            decoded += binascii.a2b_uu(line)
        except binascii.Error:
            # Some programs count one character too many (as the standard library's own decoder allows for).
            length = (((line[0] - 32) & 63) * 4 + 5) // 3
            try:
                decoded += binascii.a2b_uu(line[:length])
            except binascii.Error:
                continue
    return bytes(decoded)
