"""Taking back what a person changed by hand on one or many messages.

`remember` is called before the change, `undo` restores what was.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.records.settle import count_no_more, settle_by_hand
from inbox.records.tables import HandLabel, Message
from inbox.records.tables_out import ThemeMember, UndoStep

KEPT_DAYS = 1
"""How long a change can be undone; afterwards it is corrected like anything else."""


def remember(session: Session, message_ids: Sequence[int], *, account_id: int, now: datetime) -> int:
    """Keep what hand labels, places in themes and marks these messages have, and whether they count.

    Returns
    -------
    int
        Number of the step.
    """
    session.execute(delete(UndoStep).where(UndoStep.made_at < now - timedelta(days=KEPT_DAYS)))
    labels = session.scalars(select(HandLabel).where(HandLabel.message_id.in_(message_ids))).all()
    members = session.scalars(select(ThemeMember).where(ThemeMember.message_id.in_(message_ids))).all()
    marks = session.execute(
        select(Message.id, Message.no_reply_needed_at, Message.kept_apart, Message.doubtful_twin_id).where(
            Message.id.in_(message_ids)
        )
    ).all()
    before = {
        "messages": list(message_ids),
        "labels": [
            _kept(row, ("message_id", "field", "value", "account_id", "labelled_at", "from_random_sample"))
            for row in labels
        ],
        "members": [
            _kept(
                row,
                ("message_id", "theme_id", "by_hand", "similarity", "doubtful", "typical_rank", "joined_at"),
            )
            for row in members
        ],
        "no_reply": {str(number): at.isoformat() if at else None for number, at, _, _ in marks},
        "counts": {str(number): [apart, twin_id] for number, _, apart, twin_id in marks},
    }
    step = UndoStep(account_id=account_id, made_at=now, before=before)
    session.add(step)
    session.flush()
    return step.id


def _kept(row: object, names: Sequence[str]) -> dict[str, object]:
    values = {name: getattr(row, name) for name in names}
    return {
        name: value.isoformat() if isinstance(value, datetime) else value for name, value in values.items()
    }


def undo(session: Session, step_id: int, *, account_id: int) -> list[int]:
    """Put these messages back to what they were; returns their numbers.

    Raises
    ------
    NotFoundError
        If the step was undone already, is too old, or is somebody else's.
    """
    step = session.get(UndoStep, step_id)
    if step is None or step.account_id != account_id:
        raise NotFoundError("That change was undone already, or is too old to undo; correct it by hand.")
    before, ids = step.before, list(step.before["messages"])
    session.execute(delete(HandLabel).where(HandLabel.message_id.in_(ids)))
    session.execute(delete(ThemeMember).where(ThemeMember.message_id.in_(ids)))
    here = set(session.scalars(select(Message.id).where(Message.id.in_(ids))))
    for facts in before["labels"]:
        if facts["message_id"] in here:
            session.add(HandLabel(**_restored(facts, "labelled_at")))
    for facts in before["members"]:
        if facts["message_id"] in here:
            session.add(ThemeMember(**_restored(facts, "joined_at")))
    for message in session.scalars(select(Message).where(Message.id.in_(here))):
        at = before["no_reply"][str(message.id)]
        message.no_reply_needed_at = datetime.fromisoformat(at) if at else None
    _restore_counting(session, before.get("counts", {}), here)
    session.delete(step)
    settle_by_hand(session, here)
    return ids


def _restore_counting(
    session: Session, counts: dict[str, tuple[str | None, int | None]], here: set[int]
) -> None:
    """Whether messages are kept apart, and what they may be one with; a twin that is gone is no twin."""
    twins = {twin_id for _, twin_id in counts.values() if twin_id}
    left = set(session.scalars(select(Message.id).where(Message.id.in_(twins))))
    apart = []
    for message in session.scalars(select(Message).where(Message.id.in_(here))):
        if str(message.id) in counts:
            message.kept_apart, twin_id = counts[str(message.id)]
            message.doubtful_twin_id = twin_id if twin_id in left else None
            apart += [message.id] if message.kept_apart else []
    session.flush()
    count_no_more(session, apart)


def _restored(facts: dict[str, object], moment: str) -> dict[str, object]:
    return {**facts, moment: datetime.fromisoformat(str(facts[moment]))}
