"""What keeps a public form usable without a puzzle: a signed stamp, a hidden field, limits, counted links.

The key of the stamps and of the senders' hashes is made once and kept in the ledger, so that all workers
share it. Limits are counted in the table `attempts`, so that they hold across workers and restarts.
"""

import hashlib
import hmac
import re
import secrets
from datetime import UTC, datetime, timedelta

from sqlalchemy import delete, func, insert, select
from sqlalchemy.dialects.postgresql import insert as postgresql_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert
from sqlalchemy.orm import Session

from inbox.records.engine import is_postgresql
from inbox.records.tables_out import Attempt, SavedSetting

KEY_NAME = "form_key"
STAMP_HOURS = 48
"""Hours that an open form may wait before it is sent; chosen: a tab left open over a weekend day."""
FASTEST_SECONDS = 3
"""Seconds in which no person fills in a form; chosen."""
KEPT_HOURS = 24
LINKS_ALLOWED = 3
"""Links in a form's text from which it is taken for junk; chosen: a reader links a photo or two."""
_LINK = re.compile(r"https?://|www\.|\[url|<a\s", re.IGNORECASE)


def form_key(session: Session) -> bytes:
    """Key of the stamps, made on first use."""
    found = session.scalar(select(SavedSetting.value).where(SavedSetting.name == KEY_NAME))
    if found is None:
        make = postgresql_insert if is_postgresql(session) else sqlite_insert
        row = {"name": KEY_NAME, "value": secrets.token_hex(32), "changed_at": datetime.now(UTC)}
        session.execute(make(SavedSetting.__table__).on_conflict_do_nothing(), [row])  # type: ignore[arg-type]
        found = session.scalar(select(SavedSetting.value).where(SavedSetting.name == KEY_NAME))
    return bytes.fromhex(str(found))


def make_stamp(session: Session, form: str, *, now: datetime) -> str:
    """Stamp for one showing of a form: moment, number used once, signature."""
    body = f"{int(now.timestamp())}.{secrets.token_hex(8)}"
    return f"{body}.{_signature(form_key(session), form, body)}"


def read_stamp(session: Session, form: str, stamp: str) -> tuple[datetime, str] | None:
    """Moment at which a form was shown and the number used once; None if the stamp is not ours."""
    body, _, signature = stamp.rpartition(".")
    if not hmac.compare_digest(_signature(form_key(session), form, body).encode(), signature.encode()):
        return None
    seconds, _, once = body.partition(".")
    return datetime.fromtimestamp(int(seconds), UTC), once


def _signature(key: bytes, form: str, body: str) -> str:
    return hmac.new(key, f"{form}\x1f{body}".encode(), hashlib.sha256).hexdigest()


def sender_hash(session: Session, sender: str, *, now: datetime) -> str:
    """Hash of a sender's network address that cannot be turned back and changes each day."""
    body = f"sender\x1f{now.date().isoformat()}\x1f{sender}".encode()
    return hmac.new(form_key(session), body, hashlib.sha256).hexdigest()[:32]


def count_attempt(session: Session, door: str, sender: str, *, now: datetime, most_an_hour: int) -> bool:
    """Count one try of `sender` at `door`; False if that is more than an hour allows.

    Tries over the limit are not counted, so that a sender who waits is let in again.
    """
    session.execute(delete(Attempt).where(Attempt.tried_at < now - timedelta(hours=KEPT_HOURS)))
    hashed = sender_hash(session, sender, now=now)
    tried = session.scalar(
        select(func.count())
        .select_from(Attempt)
        .where(
            Attempt.door == door,
            Attempt.sender_hash == hashed,
            Attempt.tried_at > now - timedelta(hours=1),
        )
    )
    if (tried or 0) >= most_an_hour:
        return False
    session.execute(insert(Attempt), [{"door": door, "sender_hash": hashed, "tried_at": now}])
    return True


def count_links(text: str) -> int:
    """Links in a text, in the ways in which they are written."""
    return len(_LINK.findall(text))
