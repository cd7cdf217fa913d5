"""Items that could not be taken in: kept with the reason, to look at, try again, or leave out."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.intake.incoming import SET_ASIDE_LIMIT_BYTES, Delivered, Unusable, clean, clean_line, short_hash
from inbox.records.tables import SetAside


def put_aside(session: Session, item: Unusable, *, run_id: int | None, now: datetime) -> Delivered:
    """Keep an item that cannot be taken in; the same bytes again are already here."""
    kept = item.raw[:SET_ASIDE_LIMIT_BYTES]
    fingerprint = short_hash(item.door, kept)
    before = session.scalar(select(SetAside).where(SetAside.fingerprint == fingerprint))
    if before is not None:
        return Delivered("already_here", set_aside_id=before.id)
    row = SetAside(
        run_id=run_id,
        door=item.door,
        place=clean_line(item.place) or "",
        reason=clean(item.reason)[:1000],
        fingerprint=fingerprint,
        raw=kept,
        details=dict(item.details) if item.details else None,
        set_aside_at=now,
    )
    session.add(row)
    session.flush()
    return Delivered("set_aside", set_aside_id=row.id)


def list_set_aside(session: Session, *, limit: int = 200, after_id: int = 0) -> Sequence[SetAside]:
    """Items that still wait for a decision, oldest first."""
    return session.scalars(
        select(SetAside)
        .where(SetAside.left_out_at.is_(None), SetAside.taken_in_at.is_(None), SetAside.id > after_id)
        .order_by(SetAside.id)
        .limit(limit)
    ).all()


def get_set_aside(session: Session, set_aside_id: int) -> SetAside:
    """Item by its number; raises NotFoundError."""
    row = session.get(SetAside, set_aside_id)
    if row is None:
        raise NotFoundError(f"There is no set-aside item {set_aside_id}.")
    return row


def leave_out(session: Session, set_aside_id: int, *, now: datetime) -> None:
    """Decide that an item stays out; it is kept and no longer shown."""
    get_set_aside(session, set_aside_id).left_out_at = now
    session.flush()
