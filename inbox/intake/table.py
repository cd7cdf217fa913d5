"""Messages out of a table: what its columns are, a preview for the owner to correct, and its rows as items.

Start with `read_table`; `preview` serves the page on which the owner says what the columns are, `remember`
keeps what was said for the next export with the same heads.
"""

import json
import re
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.intake.html_text import text_of
from inbox.intake.incoming import Incoming, Unusable, clean_address, short_hash
from inbox.intake.table_columns import choose_columns, plain_head, recognise_columns
from inbox.intake.table_rows import GUESSED, Cell, TableRow, is_guessed, open_table
from inbox.intake.table_values import (
    Order,
    date_order,
    star_scale,
    to_flag,
    to_moment,
    to_stars,
    to_text,
)
from inbox.records.tables_out import Columns

_MARKUP = re.compile(
    r"</?(?:p|br|a|div|em|strong|b|i|blockquote|span|ul|ol|li)\b[^>]*>|&(?:#\d+|amp|quot|lt|gt|nbsp);"
)
PREVIEW_ROWS = 5


@dataclass(frozen=True, slots=True)
class Reading:
    """How the rows of one table are read."""

    heads: tuple[str, ...]
    columns: Mapping[str, str]
    day_first: bool
    scale: float
    zone: ZoneInfo
    channel: str
    own_addresses: Collection[str] = ()
    encoding: str | None = None


@dataclass(frozen=True, slots=True)
class TablePreview:
    """What the mapping page shows.

    Attributes
    ----------
    heads : tuple of str
    rows : tuple of tuple of str
        The first rows, as text.
    columns : mapping of str to str
        Field to head: remembered from the last time, else recognised.
    date_order : str
        "open" or "mixed" when the owner has to say whether days or months stand first.
    source : str
        Under what the answer is remembered.
    remembered : bool
    encoding : str, optional
        How the file is written: as was said now or the last time, else guessed; None where the file shows it.
    odd_cells : tuple of str
        Some cells by which a wrong encoding is seen.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    columns: Mapping[str, str]
    date_order: Order
    day_first: bool | None
    star_scale: float | None
    row_count: int
    source: str
    remembered: bool
    encoding: str | None = None
    odd_cells: tuple[str, ...] = ()


def source_of(heads: tuple[str, ...]) -> str:
    """Under what a table's columns are remembered: a hash of its heads."""
    return short_hash(*(plain_head(head) for head in heads))


def heads_of(path: Path, kind: str, encoding: str | None = None) -> tuple[str, ...]:
    """Heads of the table in a file."""
    with open_table(path, kind, encoding) as table:
        return table.heads


def encoding_of(path: Path, kind: str, *, said: str | None, known: Mapping[str, Any] | None) -> str | None:
    """How a file is written: what is said now, else where the file does not show it what was said before.

    Returns
    -------
    str or None
        None where the file shows it, and nothing else is said.
    """
    if said is not None:
        return said
    if not is_guessed(path, kind):
        return None
    return str((known or {}).get("encoding") or GUESSED)


def preview(
    path: Path, kind: str, *, session: Session | None = None, encoding: str | None = None
) -> TablePreview:
    """Look a table through for the page on which the owner says what its columns are.

    Parameters
    ----------
    kind : str
        "csv" or "xlsx", as `sources.recognise` says.
    session : Session, optional
        Where remembered columns are looked up.
    encoding : str, optional
        How the owner says that the file is written.
    """
    rows: list[tuple[str, ...]] = []
    odd: list[str] = []
    source = source_of(heads_of(path, kind))
    known = recall(session, source) if session is not None else None
    encoding = encoding_of(path, kind, said=encoding, known=known)
    with open_table(path, kind, encoding) as table:
        heads = table.heads
        # Heads look otherwise in another encoding; then they are recognised anew.
        fits = known is not None and set(known["columns"].values()) <= set(heads)
        columns = dict(known["columns"]) if known and fits else recognise_columns(heads)
        survey = _Survey(heads, columns)
        for row in table.rows:
            survey.see(row)
            if len(rows) < PREVIEW_ROWS and not row.broken:
                rows.append(tuple(to_text(cell) for cell in row.cells))
            if encoding and len(odd) < PREVIEW_ROWS:
                odd += [to_text(cell) for cell in row.cells if not to_text(cell).isascii()]
    return TablePreview(
        heads=heads,
        rows=tuple(rows),
        columns=columns,
        date_order=survey.order,
        day_first=known.get("day_first") if known else None,
        star_scale=survey.scale if "stars" in columns else None,
        row_count=survey.count,
        source=source,
        remembered=known is not None,
        encoding=encoding,
        odd_cells=tuple(odd[:PREVIEW_ROWS]),
    )


class _Survey:
    """What only the whole of a table shows: how its dates are written, and the scale of its stars."""

    def __init__(self, heads: tuple[str, ...], columns: Mapping[str, str]) -> None:
        self._date = heads.index(columns["received_at"]) if "received_at" in columns else None
        self._stars = heads.index(columns["stars"]) if "stars" in columns else None
        self._orders: set[Order] = set()
        self.scale = 5.0
        self.count = 0

    def see(self, row: TableRow) -> None:
        self.count += 1
        if row.broken:
            return
        if self._date is not None:
            self._orders.add(date_order([row.cells[self._date]]))
        if self._stars is not None:
            self.scale = max(self.scale, star_scale([row.cells[self._stars]]))

    @property
    def order(self) -> Order:
        if {"day_first", "month_first"} <= self._orders:
            return "mixed"
        for order in ("day_first", "month_first", "open"):
            if order in self._orders:
                return order
        return "none"


def read_table(
    path: Path,
    kind: str,
    *,
    columns: Mapping[str, str] | None,
    day_first: bool | None,
    zone: ZoneInfo,
    own_addresses: Collection[str] = (),
    encoding: str | None = None,
) -> tuple[Iterator[TableRow], Callable[[TableRow], Incoming | Unusable], int]:
    """Rows of a table, how an item is made of each, and how many there are.

    Raises
    ------
    InputError
        If no column holds the text, a column that was named is not there, or only the owner can say
        whether days or months stand first in its dates.
    """
    with open_table(path, kind, encoding) as table:
        heads = table.heads
        chosen = choose_columns(heads, columns)
        survey = _Survey(heads, chosen)
        for row in table.rows:
            survey.see(row)
    if day_first is None and survey.order in ("open", "mixed"):
        both = "could be day first or month first" if survey.order == "open" else "are written both ways"
        raise InputError(
            f"The dates in column {chosen['received_at']!r} {both} (3/4/2026). "
            "Say which: --dates day-first or --dates month-first, or on the page after uploading."
        )
    reading = Reading(
        heads,
        chosen,
        survey.order == "day_first" if day_first is None else day_first,
        survey.scale,
        zone,
        _channel(chosen),
        own_addresses,
        encoding,
    )
    return _numbered(path, kind, reading), lambda row: read_row(row, reading), survey.count


def _channel(columns: Mapping[str, str]) -> str:
    """Channel of a table: a page's comments, or a form's answers."""
    words = " ".join(plain_head(head) for head in columns.values())
    is_comments = "comment" in words or "review" in words or "recipe" in columns or "page_url" in columns
    return "comment" if is_comments else "form"


def _numbered(path: Path, kind: str, reading: Reading) -> Iterator[TableRow]:
    """Rows; of those alike to the letter, without number and time, the second and further are told apart."""
    seen: dict[int, int] = {}
    needs_count = "id" not in reading.columns and "received_at" not in reading.columns
    with open_table(path, kind, reading.encoding) as table:
        for row in table.rows:
            if needs_count and not row.broken:
                mark = hash(row.cells)
                seen[mark] = seen.get(mark, 0) + 1
                row = replace(row, raw=b"%d" % seen[mark] if seen[mark] > 1 else b"")
            elif not row.broken:
                row = replace(row, raw=b"")
            yield row


def read_row(row: TableRow, reading: Reading) -> Incoming | Unusable:
    """One row as an item."""
    place = f"row {row.number}"
    details = {
        "heads": list(reading.heads),
        "columns": dict(reading.columns),
        "day_first": reading.day_first,
        "scale": reading.scale,
        "zone": reading.zone.key,
        "channel": reading.channel,
        "encoding": reading.encoding,
    }
    if row.broken:
        reason = f"Row {row.number} is broken: {row.broken}."
        return Unusable(door="table", place=place, reason=reason, raw=row.raw, details=details)
    cells = dict(zip(reading.heads, row.cells, strict=True))
    original = json.dumps(
        {head: to_text(cell) for head, cell in cells.items() if cell not in (None, "")}, ensure_ascii=False
    ).encode("utf-8", "replace")
    said: dict[str, Cell] = {field: cells[head] for field, head in reading.columns.items()}
    text = _words(said.get("text"))
    stars = to_stars(said.get("stars"), reading.scale)
    if not text and stars is None and not to_text(said.get("subject")).strip():
        reason = f"Row {row.number} has nothing in column {reading.columns.get('text', 'text')!r}."
        return Unusable(door="table", place=place, reason=reason, raw=original, details=details)
    written = said.get("received_at")
    moment = to_moment(written, day_first=reading.day_first, zone=reading.zone, clock=said.get("time"))
    if moment is None and to_text(written).strip():
        head = reading.columns["received_at"]
        reason = f"Row {row.number} has {to_text(written)[:60]!r} in column {head!r}, which is no date."
        return Unusable(door="table", place=place, reason=reason, raw=original, details=details)
    return _item(said, text, stars, moment, original, row, reading, place)


def _item(
    said: Mapping[str, Cell],
    text: str,
    stars: float | None,
    moment: datetime | None,
    original: bytes,
    row: TableRow,
    reading: Reading,
    place: str,
) -> Incoming:
    """Item of a row that has something to say."""
    number = to_text(said.get("id")).strip()
    answers = to_text(said.get("in_reply_to")).strip()
    email = to_text(said.get("email"))
    # A column headed "page" or "post" holds a title in one export and an address in the next.
    page, address = to_text(said.get("recipe")).strip(), to_text(said.get("page_url")).strip()
    if not address and page.casefold().startswith(("http://", "https://")):
        page, address = "", page
    return Incoming(
        door="table",
        channel=reading.channel,
        text=text,
        key=f"table:{number}" if number else f"table:sha256:{short_hash(original, row.raw)}",
        received_at=moment,
        name=to_text(said.get("name")),
        email=email,
        handle=to_text(said.get("handle")),
        page_slug=page or None,
        page_url=address or None,
        subject=to_text(said.get("subject")) or None,
        raw=original,
        raw_type="application/json",
        stars=stars,
        thumbs_up_count=_count(said.get("thumbs_up_count")),
        answers_key=f"table:{answers}" if answers and answers != "0" else None,
        reply_wanted=to_flag(said.get("reply_wanted")),
        may_quote=to_flag(said.get("may_quote")),
        tell_me=to_flag(said.get("tell_me")),
        kept_apart="own_mail" if clean_address(email) in reading.own_addresses else None,
        place=place,
    )


def _words(cell: Cell) -> str:
    text = to_text(cell).strip()
    return (
        text_of(text.replace("\n", "<br>") if "<p" not in text and "<br" not in text else text)
        if _MARKUP.search(text)
        else text
    )


def _count(cell: Cell) -> int:
    try:
        return max(int(float(to_text(cell).strip() or 0)), 0)
    except (ValueError, OverflowError):
        return 0


def recall(session: Session, source: str) -> dict[str, Any] | None:
    """What the owner said of a table: `columns`, `day_first`, `encoding`."""
    row = session.get(Columns, source)
    return dict(row.mapping) if row else None


def remember(
    session: Session,
    source: str,
    heads: tuple[str, ...],
    *,
    columns: Mapping[str, str],
    day_first: bool | None,
    encoding: str | None,
    now: datetime,
) -> None:
    """Keep what the owner said of a table for the next export with the same heads.

    Parameters
    ----------
    source : str
        `source_of` the heads as the file by itself shows them, so that it is found again unasked.
    heads : tuple of str
        The heads in the encoding that the owner chose.
    """
    chosen = choose_columns(heads, columns)
    session.merge(
        Columns(
            source=source,
            mapping={"columns": chosen, "day_first": day_first, "encoding": encoding},
            changed_at=now,
        )
    )
    session.flush()
