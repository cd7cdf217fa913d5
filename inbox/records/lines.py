"""How a message stands in a list: the columns that say who wrote, when, in which words, and what counts."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Row, Select, String, bindparam, cast, func, select
from sqlalchemy.orm import Session

from inbox.records.tables import Labels, Message, MessageFault, Reader, Recipe
from inbox.words import KINDS

_FAULTS = (
    select(func.aggregate_strings(cast(MessageFault.probability, String) + ":" + MessageFault.fault, ","))
    .where(MessageFault.message_id == Message.id)
    .correlate(Message)
    .scalar_subquery()
)
COLUMNS = (
    *(getattr(Labels, f"is_{kind}") for kind in KINDS),
    Labels.outcome,
    Labels.hazard,
    Labels.language,
    Labels.by_hand,
    Message.id,
    Message.received_at,
    Message.subject,
    Message.text,
    Message.kept_apart,
    Reader.name,
    Reader.handle,
    Reader.email,
    Reader.forgotten_at.is_not(None).label("is_forgotten"),
    Recipe.title,
    _FAULTS.label("faults"),
)
"""A line begins with its kinds, in the order of `words.KINDS`."""


def joined(query: Select[*tuple[Any, ...]]) -> Select[*tuple[Any, ...]]:
    """Join what the columns are of to a statement that selects from messages."""
    return query.outerjoin(Message.reader).outerjoin(Message.labels).outerjoin(Labels.recipe)


_BY_NUMBER = joined(select(*COLUMNS).select_from(Message)).where(
    Message.id.in_(bindparam("ids", expanding=True))
)


def lines_of(session: Session, ids: Sequence[int]) -> list[Row[*tuple[Any, ...]]]:
    """Lines of these messages in this order; numbers that are not there are left out."""
    if not ids:
        return []
    # Past the ORM, which has nothing to add to plain columns.
    rows = {row.id: row for row in session.connection().execute(_BY_NUMBER, {"ids": ids})}
    return [rows[number] for number in ids if number in rows]


def faults_in(told: str | None) -> list[str]:
    """Faults that a line tells of, the surest first."""
    if not told:
        return []
    found = (one.partition(":") for one in told.split(","))
    return [fault for _, _, fault in sorted(found, key=lambda one: (-float(one[0]), one[2]))]
