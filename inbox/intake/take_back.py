"""Taking an import back, whole within the ledger.

Every message that the import stored goes, with what was read in it, its photos, its original and its drafts.
Two sorts stay whole, with their reader, and are named: messages that somebody was answered on (a letter that
left cannot be taken back, and its thread must stay readable) and messages with a label by hand (that is
somebody's work). Bringing the file in again finds those already here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, exists, func, or_, select, update
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.tables import HandLabel, IntakeRun, Message, Reader, SetAside
from inbox.records.tables_out import Reply, ThemeMember

BATCH_COUNT = 500


@dataclass(frozen=True, slots=True)
class TakenBack:
    """How many messages went, and how many stayed and why."""

    removed: int
    stayed_answered: int
    stayed_labelled: int
    set_aside_removed: int

    @property
    def in_words(self) -> str:
        """The numbers as one line."""
        words = f"{self.removed} messages and {self.set_aside_removed} set-aside items taken back"
        stayed = self.stayed_answered + self.stayed_labelled
        if stayed:
            words += (
                f"; {stayed} stay: {self.stayed_answered} were answered, "
                f"{self.stayed_labelled} have labels by hand"
            )
        return words


def take_back(session: Session, run_id: int, *, now: datetime) -> TakenBack:
    """Take an import back; see the module.

    Raises
    ------
    NotFoundError
        If there is no such import.
    InputError
        If it was taken back before, or brought recipes in rather than messages.
    """
    run = session.get(IntakeRun, run_id, with_for_update=True)
    if run is None:
        raise NotFoundError(f"There is no import {run_id}.")
    if run.taken_back_at is not None:
        raise InputError(f"Import {run_id} was taken back on {run.taken_back_at:%d %B %Y}.")
    if run.door == "recipes":
        raise InputError(f"Import {run_id} brought recipes in; only messages can be taken back.")
    answered = exists().where(Reply.message_id == Message.id, Reply.state != "draft")
    labelled = exists().where(HandLabel.message_id == Message.id) | exists().where(
        ThemeMember.message_id == Message.id, ThemeMember.by_hand
    )
    of_run = Message.run_id == run_id
    stayed_answered = list(session.scalars(select(Message.id).where(of_run, answered)))
    stayed_labelled = list(session.scalars(select(Message.id).where(of_run, ~answered, labelled)))
    ids = list(session.scalars(select(Message.id).where(of_run, ~answered, ~labelled).order_by(Message.id)))
    for start in range(0, len(ids), BATCH_COUNT):
        remove_messages(session, ids[start : start + BATCH_COUNT])
    waiting = (SetAside.run_id == run_id, SetAside.taken_in_at.is_(None))
    set_aside_count = session.scalar(select(func.count()).select_from(SetAside).where(*waiting)) or 0
    session.execute(delete(SetAside).where(*waiting))
    run.taken_back_at = now
    session.flush()
    session.expire_all()
    return TakenBack(len(ids), len(stayed_answered), len(stayed_labelled), set_aside_count)


def remove_messages(session: Session, ids: Sequence[int]) -> None:
    """Remove messages with all that hangs on them, and readers of whom nothing else is left."""
    readers = set(
        session.scalars(select(Message.reader_id).where(Message.id.in_(ids), Message.reader_id.is_not(None)))
    )
    for column in (Message.answers_message_id, Message.doubtful_twin_id):
        session.execute(update(Message).where(column.in_(ids)).values({column.key: None}))
    session.execute(delete(Reply).where(Reply.message_id.in_(ids)))
    # Readings, labels, photos, originals, theme places and alerts go with their message.
    session.execute(delete(Message).where(Message.id.in_(ids)))
    kept = or_(
        exists().where(Message.reader_id == Reader.id),
        exists().where(Reply.reader_id == Reader.id),
        Reader.unsubscribed_at.is_not(None),
        Reader.forgotten_at.is_not(None),
    )
    session.execute(
        delete(Reader).where(Reader.id.in_(readers), ~kept).execution_options(synchronize_session=False)
    )
