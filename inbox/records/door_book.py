"""The door book: who came in, who was turned away, what was changed about a way in, and when.

A line of the log tells each event as it happens, with the account's number and never what was typed;
a row is kept where an account is concerned, for its person to look at.
"""

import logging
from datetime import datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from inbox.records.tables_out import DoorNote

KEPT_DAYS = 90
"""How long a row is kept; chosen so that a quarter of a year can be looked over."""

log = logging.getLogger("inbox.doors")


def write_line(what: str, account_id: int | None, sender_hash: str) -> None:
    """Tell the log of an event at the door.

    Parameters
    ----------
    what : str
        One of `words.DOOR_EVENTS`.
    sender_hash : str
        As `limits.hash_sender` gives it; only its beginning is said, which nobody can turn back and which
        is another one each day.

    References
    ----------
    OWASP ASVS 5.0, 16.3.1 (sign-ins are logged) and 16.2.5 (no secrets in the log).
    """
    log.info("door event=%s account=%s from=%s", what, account_id or "-", sender_hash[:12] or "-")


def note(
    session: Session,
    what: str,
    account_id: int | None,
    sender_hash: str,
    *,
    now: datetime,
    known_browser: bool = False,
) -> None:
    """Tell the log of an event, and keep it where an account is concerned.

    Parameters
    ----------
    known_browser : bool, default=False
        Whether the browser signed in with that name before.
    """
    write_line(what, account_id, sender_hash)
    if account_id is not None:
        session.add(DoorNote(account_id=account_id, what=what, happened_at=now, known_browser=known_browser))
        session.flush()


def newest(session: Session, account_id: int, *, limit: int) -> list[DoorNote]:
    """The newest events of one account, the newest first."""
    found = (
        select(DoorNote)
        .where(DoorNote.account_id == account_id)
        .order_by(DoorNote.happened_at.desc(), DoorNote.id.desc())
        .limit(limit)
    )
    return list(session.scalars(found))


def drop_old_notes(session: Session, *, now: datetime) -> None:
    """Drop the events of more than `KEPT_DAYS` ago."""
    session.execute(delete(DoorNote).where(DoorNote.happened_at < now - timedelta(days=KEPT_DAYS)))
