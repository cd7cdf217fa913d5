"""Sending, once: press send, a hold in which it can be taken back, the claim, the talk, the record.

A row is claimed and committed as "sending" before a server hears of it. Should the
program die in between, nobody knows whether the mail went out: such a reply is
shown as doubtful and never sent again by itself. Start with `send_due`.
"""

import time
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from email.message import EmailMessage
from typing import Final

from sqlalchemy import func, or_, select, update
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InboxError, InputError
from inbox.records.tables import Message
from inbox.records.tables_out import Reply
from inbox.replies.compose import Sender, is_persons_address, new_message_id
from inbox.replies.drafts import get_reply, state_words
from inbox.replies.letter import build_mail, check_reader, check_words
from inbox.replies.post import (
    AddressRefusedError,
    Mailer,
    MayHaveGoneError,
    NotSentError,
    RefusedError,
    ServerClosedError,
)

DOUBTFUL: Final = "It may have gone out; look before you send again."

TALK_LIMIT_MINUTES: Final = 15
"""After so long without an end, a reply that is going out counts as doubtful.

Chosen above the longest talk: nine answers of a server at `post.TALK_SECONDS` each.
"""

GIVE_UP_DAYS: Final = 3
"""A reply that could not be handed over for so long becomes a draft again. Chosen."""


@dataclass(frozen=True, slots=True)
class SendResult:
    """What one look at the waiting replies came to; numbers of replies."""

    sent: tuple[int, ...] = ()
    put_off: tuple[int, ...] = ()
    came_back: tuple[int, ...] = ()
    doubtful: tuple[int, ...] = ()
    held_back_count: int = 0
    """Replies that wait for tomorrow because of the daily limit."""
    trouble: str | None = None


@dataclass(slots=True)
class _Tally:
    sent: list[int] = field(default_factory=list)
    put_off: list[int] = field(default_factory=list)
    came_back: list[int] = field(default_factory=list)
    doubtful: list[int] = field(default_factory=list)
    trouble: str | None = None


def press_send(
    session: Session,
    reply_id: int,
    *,
    account_id: int | None,
    now: datetime,
    hold_minutes: int,
    sender: Sender,
) -> Reply:
    """Let a draft wait to go; its Message-ID is fixed from here on. Pressed twice, it goes once.

    Raises
    ------
    InputError
        If nothing is written, a field is still to be filled in, the reader can no longer be
        written to, or the owner has no address.
    """
    reply = get_reply(session, reply_id, locked=True)
    if reply.state in ("waiting", "sending", "sent"):
        return reply
    if reply.state != "draft":
        raise InputError(f"Reply {reply_id} is {state_words(reply)}; open a new one.")
    if reply.to_address is None:
        raise InputError("This answer is copied to the place by hand; mark it as answered there.")
    check_words(session, reply, sender)
    check_reader(session, reply)
    if not is_persons_address(sender.address):
        raise InputError("Mail needs an address to come from; set owner_email on the settings page.")
    reply.state, reply.trouble = "waiting", None
    reply.rfc_message_id = reply.rfc_message_id or new_message_id(sender.domain)
    reply.pressed_at, reply.pressed_by_id, reply.changed_at = now, account_id, now
    reply.leaves_at = now + timedelta(minutes=hold_minutes)
    session.flush()
    return reply


def take_back(session: Session, reply_id: int, now: datetime) -> Reply:
    """Make a waiting reply a draft again.

    Raises
    ------
    InputError
        If it is going out or gone.
    """
    reply = get_reply(session, reply_id, locked=True)
    if reply.state == "draft":
        return reply
    if reply.state != "waiting":
        raise InputError(f"Reply {reply_id} is {state_words(reply)}; it cannot be taken back.")
    reply.state, reply.leaves_at, reply.pressed_at, reply.changed_at = "draft", None, None, now
    session.flush()
    return reply


def answered_by_hand(session: Session, reply_id: int, *, account_id: int | None, now: datetime) -> Reply:
    """Record that the owner copied the answer to the place where the message stands."""
    reply = get_reply(session, reply_id, locked=True)
    if reply.state == "by_hand":
        return reply
    if reply.state != "draft":
        raise InputError(
            f"Reply {reply_id} is {state_words(reply)}; it cannot be marked as answered by hand."
        )
    check_words(session, reply)
    reply.state, reply.sent_at, reply.changed_at = "by_hand", now, now
    reply.pressed_at, reply.pressed_by_id = now, account_id
    session.flush()
    return reply


def doubtful(session: Session, *, now: datetime) -> list[Reply]:
    """Replies of which nobody knows whether they went out, oldest first."""
    limit = now - timedelta(minutes=TALK_LIMIT_MINUTES)
    stale = or_(Reply.trouble.is_not(None), Reply.changed_at < limit)
    return list(
        session.scalars(select(Reply).where(Reply.state == "sending", stale).order_by(Reply.changed_at))
    )


def mark_doubtful(session: Session, *, now: datetime) -> int:
    """Say at each doubtful reply that it may have gone out; returns how many were newly found."""
    found = [reply for reply in doubtful(session, now=now) if reply.trouble is None]
    for reply in found:
        reply.trouble = DOUBTFUL
    session.flush()
    return len(found)


def settle_doubtful(session: Session, reply_id: int, *, went_out: bool, now: datetime) -> Reply:
    """Record what the owner found: it went out, or it did not and is a draft again.

    Sent again it keeps its Message-ID, by which the reader's mail program may know it as one.
    """
    reply = get_reply(session, reply_id, locked=True)
    if reply.state != "sending" or reply.id not in {found.id for found in doubtful(session, now=now)}:
        raise InputError(f"Reply {reply_id} is {state_words(reply)}; there is no doubt to settle.")
    if went_out:
        reply.state, reply.sent_at = "sent", reply.changed_at
    else:
        reply.state, reply.leaves_at, reply.pressed_at = "draft", None, None
    reply.trouble, reply.changed_at = None, now
    session.flush()
    return reply


def send_due(
    sessions: sessionmaker[Session], mailer: Mailer, *, now: datetime, sender: Sender, daily_limit: int
) -> SendResult:
    """Send each waiting reply whose hold is over, one after the other.

    Several processes may run it at once: each reply is claimed, and the claim committed,
    before the talk with the server begins. First, replies that an earlier process left in
    the middle of the talk are marked as doubtful.

    Parameters
    ----------
    mailer : callable
        Takes the mail, as `inbox.replies.post`.
    daily_limit : int
        Most replies that leave in any 24 hours.
    """
    tally, begun = _Tally(), time.monotonic()
    with sessions.begin() as session:
        mark_doubtful(session, now=now)
    while tally.trouble is None:
        moment = now + timedelta(seconds=int(time.monotonic() - begun))
        with sessions.begin() as session:
            claimed = _claim(session, moment, daily_limit)
            prepared = _prepare(session, claimed, sender, moment) if claimed is not None else None
        if claimed is None:
            break
        _talk(sessions, mailer, claimed.id, prepared, moment, tally)
    with sessions.begin() as session:
        held = _waiting_count(session, now) if _left_today(session, now, daily_limit) <= 0 else 0
    return SendResult(
        tuple(tally.sent),
        tuple(tally.put_off),
        tuple(tally.came_back),
        tuple(tally.doubtful),
        held,
        tally.trouble,
    )


def _claim(session: Session, now: datetime, daily_limit: int) -> Reply | None:
    """Take the reply that has waited longest, so that no other process takes it."""
    if _left_today(session, now, daily_limit) <= 0:
        return None
    reply = session.scalar(
        select(Reply)
        .where(Reply.state == "waiting", Reply.leaves_at <= now)
        .order_by(Reply.leaves_at, Reply.id)
        .limit(1)
        .with_for_update(skip_locked=True)
    )
    if reply is not None:
        reply.state, reply.changed_at, reply.trouble = "sending", now, None
    return reply


def _left_today(session: Session, now: datetime, daily_limit: int) -> int:
    day = now - timedelta(days=1)
    gone = select(func.count()).where(
        or_(
            Reply.sent_at > day,
            (Reply.state == "sending") & (Reply.changed_at > day),
        ),
        Reply.state != "by_hand",
    )
    return daily_limit - (session.scalar(gone) or 0)


def _waiting_count(session: Session, now: datetime) -> int:
    waiting = select(func.count()).where(Reply.state == "waiting", Reply.leaves_at <= now)
    return session.scalar(waiting) or 0


def _prepare(session: Session, reply: Reply, sender: Sender, now: datetime) -> EmailMessage | None:
    """Build the mail; None, with the reply a draft again, where it must not go out after all."""
    try:
        check_reader(session, reply)
        message = (
            session.get(Message, reply.message_id) if reply.message_id and not reply.telling_id else None
        )
        return build_mail(reply, message, sender, now)
    except InputError as error:
        reply.state, reply.trouble, reply.leaves_at = "draft", str(error), None
        return None


def _talk(
    sessions: sessionmaker[Session],
    mailer: Mailer,
    reply_id: int,
    mail: EmailMessage | None,
    now: datetime,
    tally: _Tally,
) -> None:
    if mail is None:
        tally.put_off.append(reply_id)
        return
    try:
        mailer(mail)
    except InboxError as error:
        with sessions.begin() as session:
            _record_trouble(session, reply_id, error, now, tally)
        return
    with sessions.begin() as session:
        session.execute(
            update(Reply)
            .where(Reply.id == reply_id, Reply.state == "sending")
            .values(state="sent", sent_at=now, changed_at=now, trouble=None)
        )
    tally.sent.append(reply_id)


def _record_trouble(session: Session, reply_id: int, error: InboxError, now: datetime, tally: _Tally) -> None:
    reply = session.get(Reply, reply_id, with_for_update=True)
    if reply is None:  # the reader was forgotten during the talk
        return
    reply.changed_at, reply.trouble = now, str(error)
    if isinstance(error, RefusedError):
        reply.state, reply.came_back_at = "came_back", now
        if isinstance(error, AddressRefusedError) and reply.reader is not None:
            reply.reader.bounced_at = now
        tally.came_back.append(reply_id)
    elif isinstance(error, NotSentError):
        _put_off(reply, now)
        tally.put_off.append(reply_id)
        if isinstance(error, ServerClosedError):
            tally.trouble = str(error)
    elif isinstance(error, MayHaveGoneError):
        reply.trouble = f"{error} {DOUBTFUL}"
        tally.doubtful.append(reply_id)
    else:
        raise error


def _put_off(reply: Reply, now: datetime) -> None:
    """Try again after half the time that it has waited, from five minutes to four hours."""
    waited = now - (reply.pressed_at or now)
    if waited > timedelta(days=GIVE_UP_DAYS):
        reply.state, reply.leaves_at = "draft", None
        return
    pause = min(max(waited / 2, timedelta(minutes=5)), timedelta(hours=4))
    reply.state, reply.leaves_at = "waiting", now + pause
