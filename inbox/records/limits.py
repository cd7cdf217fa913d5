"""How often a sender may try a door (a sign-in, a form), counted in the ledger so that all workers agree.

A sender is kept as a keyed hash of its address that changes each day, for a day at most.
"""

import hashlib
import hmac
import secrets
from datetime import datetime, timedelta
from ipaddress import IPv6Address, ip_address, ip_network

from sqlalchemy import delete, func, select
from sqlalchemy.dialects.postgresql import insert as postgresql_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert
from sqlalchemy.orm import Session

from inbox.records.engine import is_postgresql
from inbox.records.tables_out import Attempt, SavedSetting

KEPT_HOURS = 24
_KEY_NAME = "program.signing_key"


def signing_key(session: Session, *, now: datetime) -> str:
    """Random key of this installation's own, made when first asked for; signs cookies and time stamps."""
    wanted = select(SavedSetting.value).where(SavedSetting.name == _KEY_NAME)
    found = session.scalar(wanted)
    if found is None:
        # Two workers may start at once; whoever comes second takes the first one's key.
        make = postgresql_insert if is_postgresql(session) else sqlite_insert
        row = {"name": _KEY_NAME, "value": secrets.token_urlsafe(32), "changed_at": now}
        session.execute(make(SavedSetting).on_conflict_do_nothing(), [row])
        found = session.scalar(wanted)
    return str(found)


def hash_sender(session: Session, address: str, *, now: datetime) -> str:
    """Hash of a network address that cannot be turned back and changes each day.

    An IPv6 sender counts by its /64, which one household shares.
    """
    try:
        parsed = ip_address(address)
    except ValueError:
        plain = address
    else:
        is_long = isinstance(parsed, IPv6Address) and parsed.ipv4_mapped is None
        plain = str(ip_network((parsed, 64), strict=False)) if is_long else str(parsed)
    body = f"sender\x1f{now.date().isoformat()}\x1f{plain}".encode()
    return hmac.new(signing_key(session, now=now).encode(), body, hashlib.sha256).hexdigest()


def count_tries(session: Session, door: str, sender_hash: str, since: datetime) -> int:
    """Tries at `door` by one sender in the day after a moment.

    Those that lie further ahead were noted before the clock was set back, and hold nobody up.
    """
    found = select(func.count()).where(
        Attempt.door == door,
        Attempt.sender_hash == sender_hash,
        Attempt.tried_at > since,
        Attempt.tried_at <= since + timedelta(hours=KEPT_HOURS),
    )
    return session.scalar(found) or 0


def note_try(session: Session, door: str, sender_hash: str, *, now: datetime) -> None:
    """Record one try, and forget those that are older than a day."""
    session.execute(delete(Attempt).where(Attempt.tried_at < now - timedelta(hours=KEPT_HOURS)))
    session.add(Attempt(door=door, sender_hash=sender_hash, tried_at=now))
    session.flush()
