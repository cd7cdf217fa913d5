"""Learning from what people said by hand: when it is time for it, from what, and what came of it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline.catalogue import hand_labelled, told_of
from inbox.pipeline.long_work import ask
from inbox.reading.findings import Labelled, Told
from inbox.reading.saved import FEWEST_TO_COMPARE, retrain
from inbox.records.tables import HandLabel, Message
from inbox.records.tables_out import Learning, LongWork

LEARN: Final = "learn"
"""Name of this work among the kinds of long work."""

QUIET_HOURS: Final = range(2, 5)
"""Hours of the owner's night in which fewer new labels are enough; chosen."""
FEWEST_AT_NIGHT: Final = 5
LEAST_BETWEEN: Final = timedelta(hours=20)
"""It begins by itself at most once a day, so that a stopped one is not begun again at once."""


def newest_taken(session: Session) -> Learning | None:
    """The learning whose model is in use; None while the shipped messages are all that was learned from."""
    return session.scalar(select(Learning).where(Learning.taken).order_by(Learning.id.desc()).limit(1))


def number_in_use(session: Session) -> int:
    """Number of the learning whose model is in use, 0 for none: changes whenever another is to be used."""
    return session.scalar(select(func.max(Learning.id)).where(Learning.taken)) or 0


def learned(session: Session) -> list[Labelled]:
    """What the model in use has learned from, with the labels as they were then.

    Messages that are gone from the ledger (forgotten, taken back) are gone from here too.
    """
    taken = newest_taken(session)
    if taken is None:
        return []
    kept = {int(number): labels for number, labels in taken.labels.items()}
    messages = list(session.scalars(select(Message).where(Message.id.in_(kept)).order_by(Message.id)))
    found = [
        _from_kept(message, told, kept[message.id])
        for message, told in zip(messages, told_of(session, messages), strict=True)
    ]
    return [_as_learned(one) for one in found]


def to_learn_from(session: Session) -> list[Labelled]:
    """All that people said by hand, as it counts now."""
    return [_as_learned(one) for one in hand_labelled(session)]


def _as_learned(one: Labelled) -> Labelled:
    # What can change without a person's doing would make another model of the same labels.
    return replace(one, told=replace(one.told, thread_recipe=None, links=()), recipe=None)


def _from_kept(message: Message, told: Told, labels: dict[str, Any]) -> Labelled:
    return Labelled(
        id=str(message.id),
        told=told,
        kinds=frozenset(labels["kinds"]),
        outcome=labels["outcome"],
        faults=frozenset(labels["faults"]),
        hazard=labels["hazard"],
    )


def _kept(one: Labelled) -> dict[str, Any]:
    return {
        "kinds": sorted(one.kinds),
        "outcome": one.outcome,
        "faults": sorted(one.faults),
        "hazard": one.hazard,
    }


def learn(
    sessions: sessionmaker[Session],
    folder: Path,
    *,
    now: datetime,
    tell: Callable[[int, int], None] = lambda _done, _of: None,
) -> Learning:
    """Try to learn from all hand labels, and record what came of it; the same labels are tried once.

    Raises
    ------
    InputError
        If there are too few of them to tell whether it helps.
    """
    with sessions() as session:
        labelled, before = to_learn_from(session), learned(session)
        last = session.scalar(select(Learning).order_by(Learning.id.desc()).limit(1))
    labels = {one.id: _kept(one) for one in labelled}
    if last is not None and last.labels == labels:
        return last
    result = retrain(folder, labelled, learned=before, tell=tell)
    with sessions.begin() as session:
        row = Learning(
            tried_at=now,
            taken=result.taken,
            label_count=len(labelled),
            right_before=result.f1_before,
            right_after=result.f1_after,
            labels=labels,
        )
        session.add(row)
    return row


def in_words(row: Learning) -> str:
    """What came of a learning, in one sentence or two."""
    figures = (
        f"from {row.label_count:,} messages put right by hand; how right it is on them: "
        f"{100 * row.right_before:.1f} of 100 before, {100 * row.right_after:.1f} of 100 with them"
    )
    if row.taken:
        return f"Learned {figures}. The new model is in use."
    return f"Tried to learn {figures}. That is less right, so the model in use stays."


def new_label_count(session: Session) -> int:
    """Messages whose kinds, outcome, faults or hazard were put right since the last try at learning."""
    spoken = select(HandLabel.message_id).where(HandLabel.field == "kinds")
    last = session.scalar(select(func.max(Learning.tried_at)))
    found = select(func.count(HandLabel.message_id.distinct())).where(
        HandLabel.message_id.in_(spoken), HandLabel.field.in_(("kinds", "outcome", "faults", "hazard"))
    )
    if last is not None:
        found = found.where(HandLabel.labelled_at > last)
    return session.scalar(found) or 0


def ask_if_due(session: Session, *, after: int, zone: ZoneInfo, now: datetime) -> int | None:
    """Put learning down to be done, if it is time for it; returns the number of the work.

    It is time once `after` messages were put right since the last try, at night after five, and never
    twice within a day; `after` of 0 leaves it to the owner.
    """
    known = session.scalar(
        select(func.count(HandLabel.message_id.distinct())).where(HandLabel.field == "kinds")
    )
    if after <= 0 or (known or 0) < FEWEST_TO_COMPARE:
        return None
    asked = session.scalar(
        select(LongWork.id)
        .where(LongWork.what == LEARN)
        .where(LongWork.finished_at.is_(None) | (LongWork.asked_at > now - LEAST_BETWEEN))
        .limit(1)
    )
    is_night = now.astimezone(zone).hour in QUIET_HOURS
    if asked is not None or new_label_count(session) < (min(after, FEWEST_AT_NIGHT) if is_night else after):
        return None
    return ask(session, LEARN, {"name": "Learning from what you put right"}, now=now)
