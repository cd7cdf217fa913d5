"""Readers: finding them, and how much each of them wrote."""

from collections.abc import Sequence

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.records.tables import Message, Reader


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
