"""Messages with a hazard that wait for the owner, what of them was looked at, and that one was dealt with."""

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta

from sqlalchemy import ScalarSelect, bindparam, delete, func, select
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.records.tables import Labels, Message
from inbox.records.tables_out import Alert, HazardTick

WAITS_DAYS = 60
"""Older ones are no longer put before everything else; they stay in the list. Chosen: as for replies."""


def hazard_subject(message_id: int) -> str:
    """What the alert about a message is called."""
    return f"hazard:{message_id}"


_DEALT = select(Alert.id).where(Alert.message_id == Labels.message_id, Alert.dealt_with_at.is_not(None))
_WAITING = select(Labels.message_id).where(
    Labels.hazard.is_not(None),
    Labels.received_at >= bindparam("since", type_=Labels.received_at.type),
    ~_DEALT.exists(),
)
_COUNT_WAITING = select(func.count()).select_from(_WAITING.subquery())


def count_waiting(session: Session, *, now: datetime) -> int:
    """How many messages with a hazard wait: nobody has dealt with them."""
    return session.scalar(_COUNT_WAITING, {"since": waits_since(now)}) or 0


def waits_since(now: datetime) -> datetime:
    """From when on messages with a hazard wait."""
    return now - timedelta(days=WAITS_DAYS)


def counted_waiting(at_most: int) -> ScalarSelect[int]:
    """How many wait, up to `at_most`, as a part of a statement; it is given `waits_since` as "since"."""
    return select(func.count()).select_from(_WAITING.limit(at_most).subquery()).scalar_subquery()


def of_those_waiting(session: Session, message_ids: Collection[int], *, now: datetime) -> set[int]:
    """Those of these messages that wait."""
    rows = _WAITING.where(Labels.message_id.in_(message_ids))
    return set(session.scalars(rows, {"since": waits_since(now)}))


def deal_with(session: Session, message_id: int, *, done: bool, now: datetime) -> None:
    """Record that the owner dealt with a hazard, or that it waits after all.

    Raises
    ------
    NotFoundError
        If the message is not there, or has no hazard.
    """
    message = session.get(Message, message_id)
    if message is None or message.labels is None or message.labels.hazard is None:
        raise NotFoundError(f"Message {message_id} tells of no hazard.")
    alert = session.scalar(select(Alert).where(Alert.subject == hazard_subject(message_id)))
    if alert is None:
        # Raised by the owner's own label: there is nothing to tell them of by mail.
        alert = Alert(
            subject=hazard_subject(message_id), message_id=message_id, words="", raised_at=now, mailed_at=now
        )
        session.add(alert)
    alert.message_id, alert.dealt_with_at = message_id, now if done else None
    session.flush()


def tick(
    session: Session,
    message_id: int,
    points: Sequence[str],
    ticked: Collection[str],
    *,
    account_id: int | None,
    now: datetime,
) -> None:
    """Keep which points of a hazard's check list were looked at; who ticked one first, and when, stays.

    Parameters
    ----------
    points : sequence of str
        All points of the list as it stands.
    ticked : collection of str
        Those that are ticked; the others are open again.
    """
    kept = {row.point for row in ticks_of(session, [message_id])}
    session.execute(
        delete(HazardTick).where(
            HazardTick.message_id == message_id,
            HazardTick.point.in_([one for one in points if one not in ticked]),
        )
    )
    for point in points:
        if point in ticked and point not in kept:
            session.add(HazardTick(message_id=message_id, point=point, account_id=account_id, ticked_at=now))
    session.flush()


def ticks_of(session: Session, message_ids: Collection[int]) -> Sequence[HazardTick]:
    """What was ticked for these messages."""
    return session.scalars(select(HazardTick).where(HazardTick.message_id.in_(message_ids))).all()
