"""What keeps a public form usable without a puzzle: a signed stamp, a hidden field, limits, counted links.

The key of the stamps and the counts of tries lie in the ledger (`inbox.records.limits`), so that all
workers share them.
"""

import hashlib
import hmac
import re
import secrets
from datetime import UTC, datetime, timedelta

from sqlalchemy.orm import Session

from inbox.records.limits import count_tries, hash_sender, note_try, signing_key

STAMP_HOURS = 48
"""Hours that an open form may wait before it is sent; chosen: a tab left open over a weekend day."""
FASTEST_SECONDS = 3
"""Seconds in which no person fills in a form; chosen."""
LINKS_ALLOWED = 3
"""Links in a form's text from which it is taken for junk; chosen: a reader links a photo or two."""
_LINK = re.compile(r"https?://|www\.|\[url|<a\s", re.IGNORECASE)


def make_stamp(session: Session, form: str, *, now: datetime) -> str:
    """Stamp for one showing of a form: moment, number used once, signature."""
    body = f"{int(now.timestamp())}.{secrets.token_hex(8)}"
    return f"{body}.{_signature(signing_key(session, now=now), form, body)}"


def read_stamp(session: Session, form: str, stamp: str, *, now: datetime) -> tuple[datetime, str] | None:
    """Moment at which a form was shown and the number used once; None if the stamp is not ours."""
    body, _, signature = stamp.rpartition(".")
    if not hmac.compare_digest(
        _signature(signing_key(session, now=now), form, body).encode(), signature.encode()
    ):
        return None
    seconds, _, once = body.partition(".")
    return datetime.fromtimestamp(int(seconds), UTC), once


def _signature(key: str, form: str, body: str) -> str:
    return hmac.new(key.encode(), f"{form}\x1f{body}".encode(), hashlib.sha256).hexdigest()


def count_attempt(session: Session, door: str, sender: str, *, now: datetime, most_an_hour: int) -> bool:
    """Count one try of `sender` at `door`; False if that is more than an hour allows.

    Tries over the limit are not counted, so that a sender who waits is let in again.
    """
    hashed = hash_sender(session, sender, now=now)
    if count_tries(session, door, hashed, now - timedelta(hours=1)) >= most_an_hour:
        return False
    note_try(session, door, hashed, now=now)
    return True


def count_links(text: str) -> int:
    """Links in a text, in the ways in which they are written."""
    return len(_LINK.findall(text))
