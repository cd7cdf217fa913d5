"""Readers: finding them, and joining a handle to somebody known by address."""

from collections.abc import Sequence

from sqlalchemy import func, or_, select, update
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.tables import Message, Reader
from inbox.records.tables_out import Reply


def get_reader(session: Session, reader_id: int) -> Reader:
    """The reader of that number, or NotFoundError."""
    reader = session.get(Reader, reader_id)
    if reader is None:
        raise NotFoundError(f"There is no reader {reader_id}.")
    return reader


def find_readers(session: Session, words: str, *, after_id: int = 0, limit: int = 50) -> Sequence[Reader]:
    """Readers whose name, address or handle holds `words`, by number."""
    query = select(Reader).where(Reader.forgotten_at.is_(None), Reader.id > after_id)
    if words.strip():
        piece = words.strip().replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
        query = query.where(
            or_(
                *(
                    column.ilike(f"%{piece}%", escape="\\")
                    for column in (Reader.name, Reader.email, Reader.handle)
                )
            )
        )
    return session.scalars(query.order_by(Reader.id).limit(limit)).all()


def message_counts(session: Session, reader_ids: Sequence[int]) -> dict[int, int]:
    """How many messages each of these readers wrote."""
    rows = session.execute(
        select(Message.reader_id, func.count())
        .where(Message.reader_id.in_(reader_ids))
        .group_by(Message.reader_id)
    )
    return {int(number or 0): count for number, count in rows}


def join_readers(session: Session, kept_id: int, gone_id: int) -> None:
    """Say that two readers are one person: all that the second wrote is the first's from now on.

    Raises
    ------
    InputError
        If they are the same already, or both have an address of their own.
    """
    kept, gone = get_reader(session, kept_id), get_reader(session, gone_id)
    if kept.id == gone.id:
        raise InputError("That is the same reader already.")
    if kept.email and gone.email:
        raise InputError("Both have an e-mail address of their own; they stay two.")
    for column in (Message.reader_id, Reply.reader_id):
        session.execute(update(column.class_).where(column == gone.id).values(reader_id=kept.id))
    email, channel, handle, name = gone.email, gone.channel, gone.handle, gone.name
    session.delete(gone)
    session.flush()
    kept.email = kept.email or email
    if kept.handle is None:
        kept.channel, kept.handle = channel, handle
    kept.name = kept.name or name
    session.flush()
