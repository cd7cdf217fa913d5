"""The items that could not be taken in: to look at, try again after an upgrade, or leave out for good."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.intake.deliver import deliver
from inbox.intake.feed import read_kept
from inbox.intake.incoming import SET_ASIDE_LIMIT_BYTES, Incoming, Unusable
from inbox.intake.jsonl import Line, read_line
from inbox.intake.mime import MailOptions, read_mail
from inbox.intake.table import Reading, read_row
from inbox.intake.table_rows import read_record
from inbox.records.tables import IntakeRun, SetAside


@dataclass(frozen=True, slots=True)
class TriedAgain:
    """How another try ended: the message that the item became, or why it stays set aside."""

    message_id: int | None
    reason: str | None


def count_set_aside(session: Session) -> int:
    """Items that wait for a decision."""
    return session.scalar(select(func.count()).select_from(SetAside).where(*_WAITING)) or 0


_WAITING = (SetAside.left_out_at.is_(None), SetAside.taken_in_at.is_(None))


def list_set_aside(session: Session, *, limit: int = 200, after_id: int = 0) -> Sequence[SetAside]:
    """Items that wait for a decision, oldest first."""
    return session.scalars(
        select(SetAside).where(*_WAITING, SetAside.id > after_id).order_by(SetAside.id).limit(limit)
    ).all()


def get_set_aside(session: Session, set_aside_id: int) -> SetAside:
    """Item by its number; raises NotFoundError."""
    row = session.get(SetAside, set_aside_id)
    if row is None:
        raise NotFoundError(f"There is no set-aside item {set_aside_id}.")
    return row


def leave_out(session: Session, set_aside_id: int, *, now: datetime) -> None:
    """Decide that an item stays out; it is kept and no longer shown."""
    row = get_set_aside(session, set_aside_id)
    if row.taken_in_at is not None:
        raise InputError(f"Set-aside item {set_aside_id} was taken in; it cannot be left out.")
    row.left_out_at = now
    session.flush()


def try_again(
    session: Session, set_aside_id: int, *, now: datetime, own_addresses: frozenset[str] = frozenset()
) -> TriedAgain:
    """Read an item once more, as the program reads today.

    Raises
    ------
    NotFoundError
        If there is no such item.
    InputError
        If only its beginning was kept, or it was taken in already.
    """
    row = get_set_aside(session, set_aside_id)
    if row.taken_in_at is not None:
        raise InputError(f"Set-aside item {set_aside_id} was taken in already.")
    if len(row.raw) >= SET_ASIDE_LIMIT_BYTES:
        raise InputError(
            f"Only the beginning of set-aside item {set_aside_id} is kept; bring its file in once more."
        )
    item = _read(row, MailOptions(now, own_addresses))
    if isinstance(item, Unusable):
        row.reason = item.reason
        session.flush()
        return TriedAgain(None, item.reason)
    end = deliver(session, item, run_id=row.run_id, now=row.set_aside_at)
    row.taken_in_at, row.left_out_at = now, None
    _correct_counts(session, row.run_id, is_stored=end.state == "stored", apart=end.kept_apart is not None)
    return TriedAgain(end.message_id, None)


def _read(row: SetAside, options: MailOptions) -> Incoming | Unusable:
    if row.door in ("mail", "mailbox"):
        return read_mail(row.raw, options, door=row.door, place=row.place)
    if row.door == "jsonl":
        return read_line(Line(row.raw, _number_in(row.place), len(row.raw)))
    if row.door == "feed":
        number, own = _number_in(row.place), options.own_addresses
        return read_kept(row.raw, row.details or {}, number=number, own_addresses=own)
    if row.door == "table" and row.details:
        return _read_table_row(row, row.details)
    return Unusable(door=row.door, place=row.place, reason=row.reason, raw=row.raw)


def _read_table_row(row: SetAside, details: Mapping[str, Any]) -> Incoming | Unusable:
    """Row of a table by the columns that held when it was set aside."""
    heads = tuple(details["heads"])
    reading = Reading(
        heads,
        details["columns"],
        bool(details["day_first"]),
        float(details["scale"]),
        ZoneInfo(details["zone"]),
        str(details["channel"]),
        encoding=details.get("encoding"),
    )
    if row.raw.startswith(b"{"):
        cells = json.loads(row.raw)
        record = read_record(_number_in(row.place), tuple(cells.get(head) for head in heads), len(heads))
    else:
        written = str(details.get("encoding") or "utf-8")
        record = read_record(_number_in(row.place), row.raw, len(heads), written)
    return read_row(record, reading)


def _number_in(place: str) -> int:
    digits = "".join(character for character in place if character.isdigit())
    return int(digits or 0)


def _correct_counts(session: Session, run_id: int | None, *, is_stored: bool, apart: bool) -> None:
    """Keep the three numbers of the item's run true."""
    run = session.get(IntakeRun, run_id) if run_id else None
    if run is not None:
        run.set_aside_count -= 1
        run.stored_count += is_stored
        run.already_here_count += not is_stored
        run.kept_apart_count += is_stored and apart
    session.flush()
