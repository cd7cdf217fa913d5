"""What the tests of replies share: a ledger with readers who wait, and a reply that waits to go."""

from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from inbox.records.tables import Labels, Message
from inbox.records.tables_out import Reply
from inbox.replies.compose import Sender
from inbox.replies.drafts import open_draft, save_draft
from inbox.replies.sending import press_send
from inbox.words import KINDS
from tests.makers import make_message, make_reader

SENDER = Sender(
    address="sam@kitchen.example",
    name="Sam",
    site_name="Test kitchen",
    site_url="https://kitchen.example",
    public_url="https://post.kitchen.example",
    country="GB",
)


def label(session: Session, message: Message, *kinds: str, **facts: Any) -> Message:
    """Give a message the labels that count."""
    row = {f"is_{kind}": kind in kinds for kind in KINDS}
    plain = {
        "received_at": message.received_at,
        "failed_probability": 0.0,
        "problem_probability": 0.0,
        "language": "en",
        "least_sure": 0.4,
        "by_hand": False,
    }
    session.add(Labels(message_id=message.id, **{**row, **plain, **facts}))
    session.flush()
    session.refresh(message)
    return message


def make_waiting(session: Session, now: datetime, *, hold_minutes: int = 0, **facts: Any) -> Reply:
    """Reply that was written and pressed."""
    message = make_message(session, channel="email", reader_id=make_reader(session, **facts).id)
    reply = open_draft(session, message.id, now=now, sender=SENDER)
    save_draft(session, reply.id, reply.subject, "Hello Ada,\nbake it ten minutes longer.\nSam", now)
    return press_send(session, reply.id, account_id=None, now=now, hold_minutes=hold_minutes, sender=SENDER)


def fill(engine: Engine, now: datetime, count: int) -> list[int]:
    """Commit `count` waiting replies and give their numbers."""
    with Session(engine, expire_on_commit=False) as session, session.begin():
        return [make_waiting(session, now).id for _ in range(count)]


def later(now: datetime, **by: float) -> datetime:
    return now + timedelta(**by)
