"""What the owner decides after the doors: doubtful pairs, mail kept apart by mistake, readers that are one.

A double is kept apart rather than removed, so that the same export does not bring it in again.
"""

from collections.abc import Sequence

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.settle import count_no_more
from inbox.records.tables import Message, Reader
from inbox.records.tables_out import Reply

_DOUBTFUL = (Message.doubtful_twin_id.is_not(None), Message.kept_apart.is_(None))


def count_doubtful(session: Session) -> int:
    """Pairs that wait for the owner's word."""
    return session.scalar(select(func.count()).select_from(Message).where(*_DOUBTFUL)) or 0


def doubtful_pairs(session: Session, *, limit: int = 100, before_id: int | None = None) -> Sequence[Message]:
    """Messages that may be one with their `doubtful_twin_id`, newest first, from below `before_id`."""
    query = select(Message).where(*_DOUBTFUL).order_by(Message.id.desc()).limit(limit)
    return session.scalars(query if before_id is None else query.where(Message.id < before_id)).all()


def keep_both(session: Session, message_id: int) -> None:
    """Decide that a message and its doubtful twin are two."""
    _message(session, message_id).doubtful_twin_id = None
    session.flush()


def make_one(session: Session, message_id: int) -> None:
    """Decide that a message says again what its doubtful twin says; it counts no more.

    Raises
    ------
    NotFoundError
        If there is no such message.
    InputError
        If it has no doubtful twin.
    """
    message = _message(session, message_id)
    if message.doubtful_twin_id is None:
        raise InputError(f"Message {message_id} has no doubtful twin.")
    message.kept_apart = "double"
    session.flush()
    count_no_more(session, [message_id])


def let_in(session: Session, message_id: int) -> None:
    """Decide that a reader wrote a message that was kept apart; it is read with the next round."""
    _message(session, message_id).kept_apart = None
    session.flush()


def join_readers(session: Session, keep_id: int, other_id: int) -> None:
    """Decide that two readers are one: `keep_id` stays, with the messages and replies of both.

    What the reader that stays does not have (address, handle, name) is taken over from the other.

    Raises
    ------
    NotFoundError
        If one of them does not exist.
    InputError
        If they are the same, or both have an address or both a handle: then they are not joined.
    """
    keep, other = session.get(Reader, keep_id), session.get(Reader, other_id)
    if keep is None or other is None:
        raise NotFoundError(f"There is no reader {keep_id if keep is None else other_id}.")
    if keep_id == other_id:
        raise InputError("Choose two different readers.")
    if keep.email and other.email:
        raise InputError(f"{keep.email} and {other.email} are two addresses; a reader has one.")
    if keep.handle and other.handle:
        raise InputError(f"{keep.handle} and {other.handle} are two handles; a reader has one.")
    told = select(Reply.telling_id).where(Reply.reader_id == keep_id, Reply.telling_id.is_not(None))
    session.execute(
        update(Reply)
        .where(Reply.reader_id == other_id, Reply.telling_id.in_(told))
        .values(telling_id=None)
        .execution_options(synchronize_session=False)
    )
    for table in (Message, Reply):
        session.execute(update(table).where(table.reader_id == other_id).values(reader_id=keep_id))
    taken = {name: getattr(other, name) for name in ("email", "channel", "handle", "name")}
    keep.first_seen_at = min(keep.first_seen_at, other.first_seen_at)
    keep.bounced_at = keep.bounced_at or other.bounced_at
    keep.unsubscribed_at = keep.unsubscribed_at or other.unsubscribed_at
    session.delete(other)
    session.flush()
    for name, value in taken.items():
        if value and not getattr(keep, name):
            setattr(keep, name, value)
    session.flush()


def _message(session: Session, message_id: int) -> Message:
    message = session.get(Message, message_id)
    if message is None:
        raise NotFoundError(f"There is no message {message_id}.")
    return message
