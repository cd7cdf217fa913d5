"""What a door knows of one item, before it is taken in; and how its text is made fit for a database."""

import hashlib
import lzma
import re
import struct
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

TEXT_LIMIT = 100_000
"""Characters of one message that are read and shown; the whole original is kept beside it."""
ADDRESS_LIMIT = 320
"""Characters of an e-mail address: 64 before the sign and 255 after it (RFC 5321, from memory)."""
KEY_LIMIT = 300
"""Characters of a key; PostgreSQL's index pages refuse very long ones, so these are hashed."""
SET_ASIDE_LIMIT_BYTES = 16 * 1024 * 1024
"""Bytes of one set-aside item that are kept; of a longer one the first so many, and the reason says so."""

PACKED_TROUBLE = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error, OSError, EOFError, ValueError, RuntimeError
)  # fmt: skip
"""What unpacking a damaged zip raises, or one with a password."""

_ADDRESS = re.compile(r"[^\s@<>()\[\]\\,;:\"]+@[^\s@<>()\[\]\\,;:\"]+\.[^\s@<>()\[\]\\,;:\".]+")
_WORD = re.compile(r"\w+")


@dataclass(frozen=True, slots=True)
class Picture:
    """A reader's picture, re-encoded and without metadata."""

    width: int
    height: int
    jpeg: bytes
    thumbnail: bytes


@dataclass(frozen=True, slots=True)
class CameBack:
    """A delivery report's word that a mail of ours did not arrive."""

    rfc_message_id: str | None
    address: str | None
    permanent: bool
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Incoming:
    """One item at a door.

    Attributes
    ----------
    key : str, optional
        What the source itself calls the item, with the door's name before it; None where it has no
        name of its own.
    received_at : datetime, optional
        Aware; None where the source does not say, and then the moment of the import stands in.
    stars : float, optional
        Rating on the scale 1 to 5, whatever the scale of the source.
    kept_apart : str, optional
        Why no reader wrote it; one of `records.tables.APART`.
    labels : mapping
        A person's labels that the source carries (an export of our own), by field.
    """

    door: str
    channel: str
    text: str
    key: str | None = None
    received_at: datetime | None = None
    name: str | None = None
    email: str | None = None
    handle: str | None = None
    page_slug: str | None = None
    page_url: str | None = None
    subject: str | None = None
    raw: bytes = b""
    raw_type: str = "text/plain"
    stars: float | None = None
    thumbs_up_count: int = 0
    rfc_message_id: str | None = None
    in_reply_to: str | None = None
    references: tuple[str, ...] = ()
    answers_key: str | None = None
    reply_wanted: bool = False
    may_quote: bool = False
    tell_me: bool = False
    consent: Mapping[str, Any] | None = None
    form: str | None = None
    links: tuple[str, ...] = ()
    attachments: tuple[str, ...] = ()
    photos: tuple[Picture, ...] = ()
    kept_apart: str | None = None
    came_back: tuple[CameBack, ...] = ()
    labels: Mapping[str, Any] = field(default_factory=dict)
    place: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unusable:
    """An item that cannot be taken in: where it stood, why, and its bytes."""

    door: str
    place: str
    reason: str
    raw: bytes
    details: Mapping[str, Any] | None = None

    @property
    def fingerprint(self) -> str:
        """What makes it the same item when it comes again: its door and the bytes that are kept."""
        return short_hash(self.door, self.raw[:SET_ASIDE_LIMIT_BYTES])


@dataclass(frozen=True, slots=True)
class Delivered:
    """How one item ended."""

    state: Literal["stored", "already_here", "set_aside"]
    message_id: int | None = None
    set_aside_id: int | None = None
    kept_apart: str | None = None


def clean(text: str) -> str:
    """`text` without NUL and lone surrogates, which PostgreSQL refuses and UTF-8 cannot write."""
    if "\x00" in text:
        text = text.replace("\x00", "")
    try:
        text.encode()
    except UnicodeEncodeError:
        text = text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    return text


def clean_line(text: str | None, limit: int = 500) -> str | None:
    """`text` cleaned, on one line, cut to `limit` characters; None where nothing is left."""
    if not text:
        return None
    return " ".join(clean(text).split())[:limit].strip() or None


def clean_address(text: str | None) -> str | None:
    """E-mail address in the form by which readers are told apart (casefolded); None if it is none."""
    if not text:
        return None
    address = clean(text).strip().strip("<>").casefold()
    if address.startswith("mailto:"):
        address = address.removeprefix("mailto:")
    return address if len(address) <= ADDRESS_LIMIT and _ADDRESS.fullmatch(address) else None


def plain_words(text: str) -> str:
    """`text` as casefolded words with single spaces: what is compared when the same words come again."""
    return " ".join(_WORD.findall(text.casefold()))


def short_hash(*parts: str | bytes) -> str:
    """Thirty-two hexadecimal digits that stand for `parts`."""
    digest = hashlib.sha256()
    for part in parts:
        digest.update(part.encode("utf-8", "surrogatepass") if isinstance(part, str) else part)
        digest.update(b"\x1f")
    return digest.hexdigest()[:32]


def fit_key(key: str) -> str:
    """`key` if it is short enough for an index, else its beginning and a hash of it."""
    key = clean(key)
    return key if len(key) <= KEY_LIMIT else f"{key[:40]}:sha256:{short_hash(key)}"
