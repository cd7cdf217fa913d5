"""What is kept only for a time: raw originals for as long as the owner says, hashed senders for a day."""

from datetime import datetime, timedelta

from sqlalchemy import delete, or_, select, update
from sqlalchemy.orm import Session

from inbox.records.limits import KEPT_HOURS
from inbox.records.tables import Message, RawItem, SetAside
from inbox.records.tables_out import Attempt

_AT_ONCE = 500
"""Originals dropped in one statement; chosen so that a form never waits long for its turn."""


def drop_old_senders(session: Session, *, now: datetime) -> None:
    """Drop the hashed senders of more than a day ago."""
    session.execute(delete(Attempt).where(Attempt.tried_at < now - timedelta(hours=KEPT_HOURS)))


def drop_old_originals(session: Session, *, keep_days: int, now: datetime) -> int:
    """Drop some of the raw originals that were stored more than `keep_days` ago; returns how many.

    The words themselves stay. An item that is set aside and still waits for a decision keeps its
    bytes, since nothing else is left of it; one that was decided loses them. Call again until 0.

    Parameters
    ----------
    keep_days : int
        0 keeps everything.
    """
    if not keep_days:
        return 0
    before = now - timedelta(days=keep_days)
    old = select(RawItem.message_id).join(Message).where(Message.stored_at < before).limit(_AT_ONCE)
    ids = session.scalars(old).all()
    session.execute(delete(RawItem).where(RawItem.message_id.in_(ids)))
    decided = select(SetAside.id).where(
        or_(SetAside.left_out_at < before, SetAside.taken_in_at < before), SetAside.raw != b""
    )
    aside = session.scalars(decided.limit(_AT_ONCE)).all()
    session.execute(update(SetAside).where(SetAside.id.in_(aside)).values(raw=b"", details=None))
    return len(ids) + len(aside)
