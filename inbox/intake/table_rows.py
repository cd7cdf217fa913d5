"""Rows of a table file, one after the other: CSV in any common dialect and encoding (RFC 4180), and xlsx.

A broken row costs that row: after a quote that never closes, reading goes on with the next line.
"""

import codecs
import csv
import io
import warnings
import zipfile
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import BinaryIO, TextIO
from xml.etree.ElementTree import ParseError

from inbox.errors import InputError
from inbox.intake.charset import decode
from inbox.intake.incoming import PACKED_TROUBLE, SET_ASIDE_LIMIT_BYTES

LINE_LIMIT = 4 * 1024 * 1024
"""Characters of one line that are read."""
RECORD_LINES = 2000
"""Lines that one record may have before an open quote is taken for a mistake."""
UNPACKED_LIMIT_BYTES = 1_000_000_000
"""Size of an unpacked xlsx file from which it is refused."""
GUESSED = "cp1252"
"""Encoding that is taken where a file does not show its own; the owner can say that it is another one."""
ENCODINGS = {
    GUESSED: "Western European (Windows-1252)",
    "cp1250": "Central European (Windows-1250)",
    "iso8859_2": "Central European (ISO 8859-2)",
    "cp852": "Central European, old (DOS 852)",
    "cp1251": "Cyrillic (Windows-1251)",
    "koi8_u": "Cyrillic (KOI8)",
    "cp1253": "Greek (Windows-1253)",
    "cp1254": "Turkish (Windows-1254)",
    "cp1255": "Hebrew (Windows-1255)",
    "cp1256": "Arabic (Windows-1256)",
    "cp1257": "Baltic (Windows-1257)",
    "cp850": "Western European, old (DOS 850)",
    "mac_roman": "Western European, old Macintosh",
    "cp932": "Japanese (Shift JIS)",
    "gb18030": "Chinese (GB 18030)",
    "big5": "Chinese (Big5)",
    "cp949": "Korean",
    "utf-8": "UTF-8, with damaged signs",
}
"""Encodings of tables that the owner can choose from, by Python's names."""
_XLSX_TROUBLE = (
    *PACKED_TROUBLE, ParseError, KeyError, IndexError, TypeError, AttributeError, ArithmeticError
)  # fmt: skip
"""What unpacking and reading a damaged workbook raises."""
WHOLE_PARTS_LIMIT_BYTES = 100_000_000
"""Parts of a workbook beside its sheets are read whole; chosen so that they fit into 500 MB of memory."""
_DELIMITERS = (",", ";", "\t", "|")
_SAMPLE_BYTES = 256 * 1024

Cell = str | float | int | bool | datetime | date | time | None


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row: its number in the file, its cells, and why it is broken if it is."""

    number: int
    cells: tuple[Cell, ...]
    raw: bytes = b""
    broken: str | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """Heads of a table, and its rows."""

    heads: tuple[str, ...]
    rows: Iterator[TableRow]


@contextmanager
def open_table(path: Path, kind: str, encoding: str | None = None) -> Iterator[Table]:
    """Table in a file of kind "csv" or "xlsx".

    Parameters
    ----------
    encoding : str, optional
        One of `ENCODINGS` for a CSV file; by default what the file shows.

    Raises
    ------
    InputError
        If it has no rows or is damaged, or there is no such encoding.
    """
    if encoding is not None and encoding not in ENCODINGS:
        raise InputError(f"{encoding!r} is no encoding of tables here; they are {', '.join(ENCODINGS)}.")
    if kind == "xlsx":
        with path.open("rb") as file:
            yield _xlsx(file)
        return
    if encoding is None:
        with path.open("rb") as file:
            encoding = find_encoding(file)
    with path.open(encoding=encoding, errors="replace", newline="") as text:
        yield _csv(text, encoding)


def _csv(text: TextIO, encoding: str) -> Table:
    """Table in a CSV file; the first row that is not blank gives the heads."""
    sample = text.read(_SAMPLE_BYTES)
    delimiter = find_delimiter(sample)
    text.seek(0)
    records = _records(text, delimiter, encoding)
    for record in records:
        if record.number == 1 and len(record.cells) <= 2 and str(record.cells[0]).lower().startswith("sep="):
            continue
        heads = unique_heads(record.cells)
        return Table(heads, _checked(records, len(heads)))
    raise InputError("The table has no rows.")


def is_guessed(path: Path, kind: str) -> bool:
    """Whether a file does not show its encoding, so that only its owner can say it."""
    if kind != "csv":
        return False
    with path.open("rb") as file:
        return find_encoding(file) == GUESSED


def find_encoding(file: BinaryIO) -> str:
    """Encoding of a text file: by its mark, UTF-16 by its zeros, UTF-8 if all of it is, else `GUESSED`."""
    head = file.read(4096)
    if head.startswith(codecs.BOM_UTF8):
        return "utf-8-sig"
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if head.count(b"\x00") * 3 > len(head):
        return "utf-16-le" if head[1:2] == b"\x00" else "utf-16-be"
    decoder = codecs.getincrementaldecoder("utf-8")()
    file.seek(0)
    try:
        while chunk := file.read(1024 * 1024):
            decoder.decode(chunk)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return GUESSED
    return "utf-8"


def find_delimiter(sample: str) -> str:
    """Delimiter under which the first records of a sample have the most cells, and equally many."""
    if sample[:4].lower() == "sep=" and sample[4:5] in _DELIMITERS:
        return sample[4]
    best, best_score = ",", 0.0
    for delimiter in _DELIMITERS:
        csv.field_size_limit(LINE_LIMIT)
        try:
            rows = [
                row
                for row, _ in zip(
                    csv.reader(io.StringIO(sample), delimiter=delimiter), range(30), strict=False
                )
            ]
        except csv.Error:
            continue
        counts = [len(row) for row in rows if row]
        if not counts or counts[0] < 2:
            continue
        score = counts[0] * sum(count == counts[0] for count in counts) / len(counts)
        if score > best_score:
            best, best_score = delimiter, score
    return best


def _records(text: TextIO, delimiter: str, encoding: str) -> Iterator[TableRow]:
    """Records of a CSV file, broken ones among them."""
    feed = _Lines(text)
    csv.field_size_limit(LINE_LIMIT * 2)
    number = 0
    while True:
        feed.begin()
        try:
            cells = next(csv.reader(feed, delimiter=delimiter), None)
            broken = "a quotation mark is opened and not closed" if feed.ran_out else None
        except csv.Error as error:
            cells, broken = [], str(error)
        if cells is None:
            return
        number += 1
        if feed.overlong:
            reason = f"it has more than {LINE_LIMIT:,} characters; its beginning is kept here"
            yield TableRow(number, (), _encoded(feed.taken[:1], encoding), reason)
            continue
        if broken and len(feed.taken) > 1:
            feed.put_back(1)
        if any(cells) or broken:
            yield TableRow(number, tuple(cells), _encoded(feed.taken, encoding), broken)


class _Lines(Iterator[str]):
    """Lines of a text for the csv reader, remembered so that a record can be given back."""

    def __init__(self, text: TextIO) -> None:
        self._text = text
        self._again: deque[str] = deque()
        self.begin()

    def begin(self) -> None:
        self.taken: list[str] = []
        self.ran_out = self.overlong = False

    def __next__(self) -> str:
        if len(self.taken) >= RECORD_LINES or self.overlong:
            self.ran_out = True
            raise StopIteration
        line = self._again.popleft() if self._again else self._text.readline(LINE_LIMIT)
        if not line:
            self.ran_out = bool(self.taken)
            raise StopIteration
        if len(line) >= LINE_LIMIT and not line.endswith(("\n", "\r")):
            self.overlong = True
            while rest := self._text.readline(LINE_LIMIT):
                if rest.endswith(("\n", "\r")):
                    break
            # The rest of the line is not looked at; it must not open a quotation.
            self.taken.append(line)
            return "\n"
        self.taken.append(line)
        return line.replace("\x00", "")

    def put_back(self, keep: int) -> None:
        """Give back all lines of the record but the first `keep`."""
        self._again.extendleft(reversed(self.taken[keep:]))
        self.taken = self.taken[:keep]


def _encoded(lines: list[str], encoding: str) -> bytes:
    return "".join(lines).encode(encoding.removesuffix("-sig"), "replace")[:SET_ASIDE_LIMIT_BYTES]


def _checked(records: Iterator[TableRow], width: int) -> Iterator[TableRow]:
    """Records with as many cells as there are heads; others are marked broken."""
    for record in records:
        if record.broken:
            yield record
        elif len(record.cells) > width and not any(record.cells[width:]):
            yield TableRow(record.number, record.cells[:width], record.raw)
        elif len(record.cells) != width:
            reason = f"it has {len(record.cells)} cells where the heads have {width}"
            yield TableRow(record.number, record.cells, record.raw, reason)
        else:
            yield record


def read_record(
    number: int, content: bytes | tuple[Cell, ...], width: int, encoding: str = "utf-8"
) -> TableRow:
    """One row by itself: its cells, or the bytes of a CSV record."""
    if isinstance(content, tuple):
        return TableRow(number, content)
    text = decode(content, encoding)
    records = _records(io.StringIO(text, newline=""), find_delimiter(text), "utf-8")
    found = next(_checked(records, width), TableRow(number, (), content, "it is empty"))
    return TableRow(number, found.cells, content, found.broken)


def unique_heads(cells: tuple[Cell, ...]) -> tuple[str, ...]:
    """Heads as texts, none empty and none twice."""
    heads: list[str] = []
    for place, cell in enumerate(cells, start=1):
        head = " ".join(str(cell).split()) if cell not in (None, "") else f"column {place}"
        heads.append(head if head not in heads else f"{head} ({place})")
    return tuple(heads)


def _xlsx(file: BinaryIO) -> Table:
    """Table in the first sheet of an xlsx file that has one."""
    import openpyxl

    try:
        with zipfile.ZipFile(file) as archive:
            _check_sizes(archive)
        file.seek(0)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(file, read_only=True, data_only=True)
            for sheet in book.worksheets:
                rows = _sheet_rows(sheet.iter_rows(values_only=True))
                first = next(rows, None)
                if first is not None:
                    heads = unique_heads(_trimmed(first.cells))
                    return Table(heads, _fitted(rows, len(heads)))
    except _XLSX_TROUBLE as error:
        raise _no_xlsx(error) from error
    raise InputError("The workbook has no rows.")


def _no_xlsx(error: Exception) -> InputError:
    """Our own error as it is, another as one that says what to do."""
    if isinstance(error, InputError):
        return error
    return InputError(f"The file cannot be read as xlsx: {error}. Save it again, or as CSV.")


def _check_sizes(archive: zipfile.ZipFile) -> None:
    """Refuse a workbook that bursts when it is unpacked."""
    parts = archive.infolist()
    beside = sum(part.file_size for part in parts if not part.filename.startswith("xl/worksheets/"))
    if sum(part.file_size for part in parts) > UNPACKED_LIMIT_BYTES:
        raise InputError(f"The xlsx file unpacks to more than {UNPACKED_LIMIT_BYTES:,} bytes.")
    if beside > WHOLE_PARTS_LIMIT_BYTES:
        limit = f"{WHOLE_PARTS_LIMIT_BYTES:,}"
        raise InputError(f"The xlsx file holds more than {limit} bytes beside its sheets. Save it as CSV.")


def _sheet_rows(rows: Iterator[tuple[Cell, ...]]) -> Iterator[TableRow]:
    """Rows that are not empty; the sheet is unpacked and parsed only now, so damage shows only now."""
    try:
        for number, cells in enumerate(rows, start=1):
            if any(cell not in (None, "") for cell in cells):
                yield TableRow(number, tuple(cells))
    except _XLSX_TROUBLE as error:
        raise _no_xlsx(error) from error


def _trimmed(cells: tuple[Cell, ...]) -> tuple[Cell, ...]:
    while cells and cells[-1] in (None, ""):
        cells = cells[:-1]
    return cells


def _fitted(rows: Iterator[TableRow], width: int) -> Iterator[TableRow]:
    for row in rows:
        cells = (*row.cells, *[None] * width)[:width]
        yield TableRow(row.number, cells)
