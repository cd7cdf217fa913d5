"""How often a sender may try a door (a sign-in, a form), counted in the ledger so that all workers agree.

A sender is kept as a keyed hash of its address, for a day at most.
"""

import hashlib
import hmac
import secrets
from datetime import datetime, timedelta
from ipaddress import IPv6Address, ip_address, ip_network

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from inbox.records.saved import keep
from inbox.records.tables_out import Attempt, SavedSetting

KEPT_HOURS = 24
_KEY_NAME = "program.signing_key"


def signing_key(session: Session, *, now: datetime) -> str:
    """Random key of this installation's own, made when first asked for; signs cookies and time stamps."""
    row = session.get(SavedSetting, _KEY_NAME)
    if row is None:
        keep(session, _KEY_NAME, secrets.token_urlsafe(32), now=now)
        row = session.get_one(SavedSetting, _KEY_NAME)
    return row.value


def hash_sender(address: str, key: str) -> str:
    """Keyed hash of a network address; an IPv6 sender counts by its /64, which one household shares."""
    try:
        parsed = ip_address(address)
    except ValueError:
        plain = address
    else:
        is_long = isinstance(parsed, IPv6Address) and parsed.ipv4_mapped is None
        plain = str(ip_network((parsed, 64), strict=False)) if is_long else str(parsed)
    return hmac.new(key.encode(), plain.encode(), hashlib.sha256).hexdigest()


def count_tries(session: Session, door: str, sender_hash: str, since: datetime) -> int:
    """Tries at `door` by one sender since a moment."""
    found = select(func.count()).where(
        Attempt.door == door, Attempt.sender_hash == sender_hash, Attempt.tried_at > since
    )
    return session.scalar(found) or 0


def note_try(session: Session, door: str, sender_hash: str, *, now: datetime) -> None:
    """Record one try, and forget those that are older than a day."""
    session.execute(delete(Attempt).where(Attempt.tried_at < now - timedelta(hours=KEPT_HOURS)))
    session.add(Attempt(door=door, sender_hash=sender_hash, tried_at=now))
    session.flush()
