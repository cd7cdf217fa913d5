"""What a file or folder holds, recognised by its content, and its items one after the other.

A source is read in two steps, so that an import that was cut can pass over what it has dealt with: `pieces`
takes it apart, `read` makes an item of a piece. Start with `open_source`.
"""

import hashlib
import os
import re
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO
from zoneinfo import ZoneInfo

from inbox.errors import InputError
from inbox.intake import jsonl, mbox
from inbox.intake.feed import FEED_LIMIT_BYTES, read_entry, read_feed
from inbox.intake.incoming import PACKED_TROUBLE, SET_ASIDE_LIMIT_BYTES, Incoming, Unusable
from inbox.intake.mime import MailOptions, read_mail
from inbox.intake.table import read_table

HEAD_BYTES = 64 * 1024
ZIP_MEMBER_LIMIT = 500_000
"""Files in a zip; chosen: an archive of single .eml files has as many as its owner had letters."""
ZIP_FREE_BYTES = 200_000_000
"""What any zip may unpack to; chosen: a set-aside file of it is at most 16 MiB."""
ZIP_RATIO_LIMIT = 50
"""How much larger than the zip its files may be; chosen: plain mail packs to a tenth at best."""
_MAIL_FIELD = re.compile(
    rb"^(?:return-path|received|from|to|date|subject|message-id|mime-version|delivered-to|content-type|reply-to|"
    rb"x-[\w-]+|dkim-signature|arc-[\w-]+|authentication-results|sender|cc):",
    re.IGNORECASE | re.MULTILINE,
)
_CAN_BE = (
    "What can be brought in: mail (mbox, Maildir, .eml, a zip of those), tables (.csv, .xlsx), "
    "comment feeds (Atom, RSS), and JSONL with one message a line."
)
_CONTROL = re.compile(rb"[\x00-\x06\x0e-\x1a\x1c-\x1f]")
_KNOWN_STARTS = {
    b"%PDF": "a PDF",
    b"\xff\xd8\xff": "a picture",
    b"\x89PNG": "a picture",
    b"GIF8": "a picture",
    b"SQLite format 3": "a database",
    b"\x1f\x8b": "a gzip file; unpack it first",
    b"7z\xbc\xaf": "a 7z file; unpack it first",
    b"\xd0\xcf\x11\xe0": "an old Office or Outlook file; save it as .xlsx, or export the mail as mbox",
    b"!BDN": "an Outlook data file; export the mail as mbox",
}


@dataclass(frozen=True, slots=True)
class ImportOptions:
    """How a file is to be read, beside what it says itself.

    Attributes
    ----------
    now : datetime
        Moment of the import.
    own_addresses : frozenset of str
        The owner's addresses, casefolded.
    zone : ZoneInfo
        For times without a zone.
    columns : dict of str to str, optional
        Field to head of a table's column; what is missing is recognised by the heads.
    day_first : bool, optional
        Whether 3/4/2026 is the third of April; None where the file itself must tell.
    encoding : str, optional
        How a CSV file is written, one of `table_rows.ENCODINGS`; None where the file itself must tell.
    """

    now: datetime
    own_addresses: frozenset[str] = frozenset()
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))
    columns: dict[str, str] | None = None
    day_first: bool | None = None
    encoding: str | None = None
    photo_limit_bytes: int = 12_000_000

    @property
    def mail(self) -> MailOptions:
        """What reading a mail needs of it."""
        return MailOptions(self.now, self.own_addresses, self.photo_limit_bytes)


@dataclass(frozen=True, slots=True)
class Source:
    """A file or folder taken apart."""

    kind: str
    """"mbox", "maildir", "eml", "zip", "csv", "xlsx", "jsonl" or "feed"."""
    door: str
    digest: str
    pieces: Iterator[Any]
    read: Callable[[Any], Incoming | Unusable]
    count: int | None = None
    """How many pieces there are, where that is known beforehand."""


@contextmanager
def open_source(path: Path, options: ImportOptions) -> Iterator[Source]:
    """Open a file or folder for an import.

    Raises
    ------
    InputError
        If there is no such file, it cannot be read, is empty, or is nothing that can be brought in.
    """
    try:
        _check_there(path)
        if path.is_dir():
            yield _folder(path, options)
            return
        with path.open("rb") as file:
            yield _file(path, file, options)
    except PermissionError as error:
        raise InputError(f"{error.filename or path} cannot be read: permission denied.") from error
    except zipfile.BadZipFile as error:
        raise InputError(f"{path} is a damaged zip file: {error}. Download or export it again.") from error


def _check_there(path: Path) -> None:
    if not path.exists():
        raise InputError(f"There is no file {path}.")


def _file(path: Path, file: BinaryIO, options: ImportOptions) -> Source:
    head = file.read(HEAD_BYTES)
    kind = recognise(head, path.name)
    file.seek(0)
    digest = hashlib.file_digest(file, "sha256").hexdigest()  # type: ignore[arg-type]
    file.seek(0)
    if kind == "mbox":
        return Source("mbox", "mail", digest, mbox.split_mbox(file), _mail_reader(options))
    if kind == "eml":
        return Source("eml", "mail", digest, _single(path), _mail_reader(options), 1)
    if kind == "zip":
        return _zip(file, digest, options)
    if kind == "jsonl":
        return Source("jsonl", "jsonl", digest, jsonl.split_lines(file), jsonl.read_line)
    if kind in ("csv", "xlsx"):
        rows, read, count = read_table(
            path,
            kind,
            columns=options.columns,
            day_first=options.day_first,
            zone=options.zone,
            own_addresses=options.own_addresses,
            encoding=options.encoding,
        )
        return Source(kind, "table", digest, rows, read, count)
    if path.stat().st_size > FEED_LIMIT_BYTES:
        raise InputError(f"{path.name} is larger than {FEED_LIMIT_BYTES:,} bytes, more than a feed can have.")
    entries = read_feed(file.read(), name=path.name)
    read_one = partial(read_entry, own_addresses=options.own_addresses)
    return Source("feed", "feed", digest, iter(entries), read_one, len(entries))


def kind_of(path: Path) -> str:
    """Kind of a file by its content, or "folder"; raises InputError as `open_source` does."""
    try:
        _check_there(path)
        if path.is_dir():
            os.scandir(path).close()
            return "folder"
        with path.open("rb") as file:
            return recognise(file.read(HEAD_BYTES), path.name)
    except PermissionError as error:
        raise InputError(f"{error.filename or path} cannot be read: permission denied.") from error


def recognise(head: bytes, name: str) -> str:
    """Kind of a file by its first bytes; the name decides only between texts that could be either.

    Raises
    ------
    InputError
        If it is empty or nothing that can be brought in; it says what it looks like.
    """
    if not head.strip():
        raise InputError(f"{name} is empty.")
    if head.startswith(b"PK\x03\x04"):
        return "xlsx" if b"xl/" in head or name.lower().endswith(".xlsx") else "zip"
    for start, what in _KNOWN_STARTS.items():
        if head.startswith(start):
            raise InputError(f"{name} is {what}. {_CAN_BE}")
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    lowered = text[:400].lower()
    if text.startswith(b"From ") and (
        mbox.is_separator(text.split(b"\n")[0]) or _MAIL_FIELD.search(text[:4000])
    ):
        return "mbox"
    if lowered.startswith((b"<?xml", b"<rss", b"<feed", b"<rdf")):
        return "feed"
    if lowered.startswith((b"<!doctype html", b"<html")):
        raise InputError(
            f"{name} is a web page. Recipes are brought in with `second-batch recipes import`. {_CAN_BE}"
        )
    if text.startswith(b"{"):
        return "jsonl"
    if text.startswith(b"["):
        raise InputError(
            f"{name} is one JSON list. Messages are brought in as JSONL, one object a line; "
            "recipes with `second-batch recipes import`."
        )
    first_line = text.split(b"\n")[0]
    has_head = re.search(rb"\r\n\r\n|\n\n|\r\r", text) or name.lower().endswith(".eml")
    if re.match(rb"[!-9;-~]{1,76}:", first_line) and has_head and _MAIL_FIELD.search(text[:8000]):
        return "eml"
    if not _is_text(head):
        raise InputError(f"{name} is not a text file. {_CAN_BE}")
    return "csv"


def _is_text(head: bytes) -> bool:
    """Whether bytes can be text: UTF-16 by its mark or regular zeros, else only usual characters."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return True
    if b"\x00" in head:
        even, odd = head[::2].count(0), head[1::2].count(0)
        return min(even, odd) == 0 and max(even, odd) * 3 > len(head)
    return _CONTROL.search(head) is None


def _mail_reader(options: ImportOptions) -> Callable[[mbox.Piece], Incoming | Unusable]:
    mail_options = options.mail

    def read(piece: mbox.Piece) -> Incoming | Unusable:
        place = f"mail {piece.number}"
        if piece.size_bytes > mbox.MAIL_LIMIT_BYTES:
            reason = (
                f"This mail has {piece.size_bytes:,} bytes; at most {mbox.MAIL_LIMIT_BYTES:,} are read. "
                f"Its first {len(piece.raw):,} bytes are kept here; the whole mail is still in your file."
            )
            return Unusable(door="mail", place=place, reason=reason, raw=piece.raw)
        if not piece.is_mail:
            reason = "This stands before the first mail of the file and is none."
            if piece.damage:
                reason = (
                    f"{piece.name} cannot be unpacked to its end ({piece.damage}). What was read before "
                    "stays; pack the zip once more, without a password, and bring it in again."
                )
                return Unusable(door="mail", place=place, reason=reason, raw=piece.raw)
            if piece.name:
                reason = (
                    f"{piece.name} is no mail; unpack it and bring it in by itself if it is a table or feed."
                )
            return Unusable(door="mail", place=place, reason=reason, raw=piece.raw[:SET_ASIDE_LIMIT_BYTES])
        return read_mail(piece.raw, mail_options, place=place)

    return read


def _single(path: Path) -> Iterator[mbox.Piece]:
    yield _mail_file(path, 1)


def _mail_file(path: Path, number: int) -> mbox.Piece:
    size = path.stat().st_size
    with path.open("rb") as file:
        raw = file.read(mbox.MAIL_LIMIT_BYTES if size <= mbox.MAIL_LIMIT_BYTES else SET_ASIDE_LIMIT_BYTES)
    return mbox.Piece(raw, number, size)


def _folder(path: Path, options: ImportOptions) -> Source:
    """A Maildir with its sub-folders, or a folder of .eml files."""
    folders = sorted(Path(folder) for folder, _, _ in os.walk(path, onerror=_give_up))
    maildirs = [folder for folder in folders if (folder / "cur").is_dir()]
    files = [
        file
        for folder in maildirs
        for part in ("cur", "new")
        if (folder / part).is_dir()
        for file in sorted((folder / part).iterdir())
        if file.is_file()
    ]
    kind = "maildir"
    if not maildirs:
        kind = "eml"
        files = sorted(
            file for folder in folders for file in folder.iterdir() if file.suffix.lower() == ".eml"
        )
    if not files:
        raise InputError(f"The folder {path} holds no mail: no Maildir (cur, new) and no .eml files.")
    names = "\n".join(f"{file.relative_to(path)} {file.stat().st_size}" for file in files)
    digest = hashlib.sha256(names.encode("utf-8", "surrogateescape")).hexdigest()
    pieces = (_mail_file(file, number) for number, file in enumerate(files, start=1))
    return Source(kind, "mail", digest, pieces, _mail_reader(options), len(files))


def _give_up(error: OSError) -> None:
    """Refuse a folder whose inside cannot be read, rather than pass over what may be in it."""
    raise error


def _zip(file: BinaryIO, digest: str, options: ImportOptions) -> Source:
    try:
        archive = zipfile.ZipFile(file)
    except PACKED_TROUBLE as error:
        raise zipfile.BadZipFile(str(error)) from error
    _check_unpacked(archive, file.seek(0, 2))
    return Source("zip", "mail", digest, _zip_pieces(archive), _mail_reader(options))


def _check_unpacked(archive: zipfile.ZipFile, packed_bytes: int) -> None:
    """Refuse a zip that is made to burst; no member gives more than the size that it declares."""
    members = archive.infolist()
    unpacked_bytes = sum(member.file_size for member in members)
    if len(members) > ZIP_MEMBER_LIMIT:
        raise InputError(
            f"The zip holds {len(members):,} files; at most {ZIP_MEMBER_LIMIT:,} are read. Pack it in parts."
        )
    if unpacked_bytes > max(ZIP_FREE_BYTES, ZIP_RATIO_LIMIT * packed_bytes):
        raise InputError(
            f"The zip of {packed_bytes:,} bytes would unpack to {unpacked_bytes:,}, which no mail does. "
            "If it is yours, unpack it and bring in the files."
        )


def _zip_pieces(archive: zipfile.ZipFile) -> Iterator[mbox.Piece]:
    """Mails of all files in a zip; other files come as what they are, to be set aside, damaged ones too."""
    number = 0
    for member in archive.infolist():
        if member.is_dir() or member.filename.startswith("__MACOSX/"):
            continue
        try:
            for piece in _member_pieces(archive, member):
                number += 1
                yield replace(piece, number=number)
        except PACKED_TROUBLE as error:
            number += 1
            name = member.filename.encode("utf-8", "replace")
            yield mbox.Piece(name, number, len(name), False, member.filename, damage=str(error))


def _member_pieces(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> Iterator[mbox.Piece]:
    """Mails of one file in a zip, numbered from 1; raises what `PACKED_TROUBLE` lists where it is damaged."""
    with archive.open(member) as content:
        head = content.read(HEAD_BYTES)
    try:
        kind = recognise(head, member.filename)
    except InputError:
        kind = "other"
    with archive.open(member) as content:
        if kind == "mbox":
            yield from mbox.split_mbox(content)  # type: ignore[arg-type]
            return
        whole = kind == "eml" and member.file_size <= mbox.MAIL_LIMIT_BYTES
        raw = content.read(mbox.MAIL_LIMIT_BYTES if whole else SET_ASIDE_LIMIT_BYTES)
        yield mbox.Piece(raw, 1, member.file_size, kind == "eml", member.filename)
