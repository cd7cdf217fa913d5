"""Every message with its labels in the project's own JSONL, one object a line.

`jsonl_lines` gives what the `jsonl` door takes in again: `labels` is what counts and
is for reading, `hand` is what a person said and comes back as hand labels.
"""

import json
from collections.abc import Iterator
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload, selectinload

from inbox.records.tables import HandLabel, Labels, Message

_BATCH_ROWS = 500


def message_record(message: Message, hand: dict[str, Any] | None = None) -> dict[str, Any]:
    """One message in the format of DEVELOPERS.md, "Formats", with `labels` and `hand`."""
    reader = message.reader
    record: dict[str, Any] = {
        "id": message.key,
        "number": message.id,
        "channel": message.channel,
        "received_at": message.received_at.isoformat(),
        "name": reader.name if reader else None,
        "email": reader.email if reader else None,
        "handle": reader.handle if reader else None,
        "recipe": message.page_recipe.slug if message.page_recipe else None,
        "subject": message.subject,
        "text": message.text,
        "stars": message.stars,
        "in_reply_to": message.in_reply_to,
        "reply_wanted": message.reply_wanted,
        "may_quote": message.may_quote,
    }
    if message.kept_apart:
        record["kept_apart"] = message.kept_apart
    labels = message.labels
    if labels is not None:
        record["labels"] = {
            "kinds": list(labels.kinds),
            "outcome": labels.outcome,
            "faults": sorted(row.fault for row in labels.faults),
            "hazard": labels.hazard,
            "recipe": labels.recipe.slug if labels.recipe else None,
            "language": labels.language,
        }
    if hand:
        record["hand"] = hand
    return record


def message_records(session: Session, *, include_kept_apart: bool = True) -> Iterator[dict[str, Any]]:
    """Records of all messages, oldest number first, a batch of rows in memory at a time."""
    after = 0
    while True:
        query = (
            select(Message)
            .where(Message.id > after)
            .order_by(Message.id)
            .limit(_BATCH_ROWS)
            .options(
                joinedload(Message.reader),
                joinedload(Message.page_recipe),
                selectinload(Message.labels).options(joinedload(Labels.recipe), selectinload(Labels.faults)),
            )
        )
        messages = session.scalars(query).all()
        if not messages:
            return
        hand = _hand_labels(session, [message.id for message in messages])
        for message in messages:
            if include_kept_apart or message.kept_apart is None:
                yield message_record(message, hand.get(message.id))
        after = messages[-1].id
        session.expunge_all()


def _hand_labels(session: Session, ids: list[int]) -> dict[int, dict[str, Any]]:
    found: dict[int, dict[str, Any]] = {}
    for label in session.scalars(select(HandLabel).where(HandLabel.message_id.in_(ids))):
        found.setdefault(label.message_id, {})[label.field] = label.value["is"]
    return found


def jsonl_lines(session: Session) -> Iterator[str]:
    """The export, line by line, without line ends."""
    for record in message_records(session):
        yield json.dumps(record, ensure_ascii=False, separators=(",", ":"))
