"""Reading what is new: messages without a reading, or with one by another model.

The computation runs between two short transactions, so that forms can be taken
while an archive is read. A kill in between loses nothing: what has no reading yet
is new again.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from sqlalchemy import Select, delete, exists, func, insert, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline.catalogue import load_catalogue, told_of
from inbox.reading.findings import CatalogueRecipe, Reading, Told
from inbox.records.settle import settle
from inbox.records.tables import Message, MessageReading

_BATCH_ROWS = 500


class ReadsMessages(Protocol):
    """What is needed of a model, as `inbox.reading.model.ReadingModel` has it."""

    @property
    def version(self) -> str:
        """Name that changes whenever readings may."""

    def read(self, told: Sequence[Told], catalogue: Sequence[CatalogueRecipe]) -> list[Reading]:
        """One reading for each message, in their order."""


Progress = Callable[[int, int], None]
"""Called with how many are done, and of how many."""


@dataclass(frozen=True)
class ReadResult:
    """How many messages were read, and which of them were read for the first time."""

    read_count: int
    new_ids: tuple[int, ...]


@dataclass(frozen=True)
class Batch:
    """Some messages to read: their numbers, and what the program is told of each."""

    ids: list[int]
    told: list[Told]


ReadBatch = Callable[[list[Told]], list[Reading]]
Spread = Callable[[ReadBatch, Iterator[Batch]], Iterator[tuple[Batch, list[Reading]]]]
"""How batches are read: gives each one back with its readings, in any order."""


def one_by_one(read: ReadBatch, batches: Iterator[Batch]) -> Iterator[tuple[Batch, list[Reading]]]:
    """Read batches here, one after the other."""
    for batch in batches:
        yield batch, read(batch.told)


def read_messages(
    sessions: sessionmaker[Session],
    model: ReadsMessages,
    *,
    now: datetime,
    again: bool = False,
    spread: Spread = one_by_one,
    progress: Progress = lambda _done, _of: None,
) -> ReadResult:
    """Read every message that has no reading.

    Parameters
    ----------
    again : bool, default=False
        Also those that another model has read; hand labels stay as they are.
    spread : callable, default=one_by_one
        Where batches are read; `inbox.pipeline.spread` has one for a Dask cluster.
    """
    with sessions() as session:
        total = session.scalar(select(func.count()).select_from(_unread(model, again, 0).subquery())) or 0
        catalogue, recipe_ids = load_catalogue(session)
    done = 0
    new_ids: list[int] = []

    def read(told: list[Told]) -> list[Reading]:
        return model.read(told, catalogue)

    for batch, readings in spread(read, _batches(sessions, model, again)):
        with sessions.begin() as session:
            new_ids += store_readings(session, batch.ids, readings, recipe_ids, model.version, now=now)
        done += len(batch.ids)
        progress(done, max(total, done))
    return ReadResult(done, tuple(sorted(new_ids)))


def _batches(sessions: sessionmaker[Session], model: ReadsMessages, again: bool) -> Iterator[Batch]:
    after = 0
    while True:
        with sessions() as session:
            messages = list(session.scalars(_unread(model, again, after).limit(_BATCH_ROWS)))
            told = told_of(session, messages)
        if not messages:
            return
        after = messages[-1].id
        yield Batch([message.id for message in messages], told)


def _unread(model: ReadsMessages, again: bool, after: int) -> Select[Message]:
    read = exists().where(MessageReading.message_id == Message.id)
    if again:
        read = read.where(MessageReading.model_version == model.version)
    return select(Message).where(Message.kept_apart.is_(None), ~read, Message.id > after).order_by(Message.id)


def store_readings(
    session: Session,
    ids: Sequence[int],
    readings: Sequence[Reading],
    recipe_ids: dict[str, int],
    version: str,
    *,
    now: datetime,
) -> list[int]:
    """Put these readings in the place of older ones and let them count; returns the ids that are new."""
    here = set(session.scalars(select(Message.id).where(Message.id.in_(ids)).with_for_update()))
    before = set(
        session.scalars(select(MessageReading.message_id).where(MessageReading.message_id.in_(here)))
    )
    session.execute(delete(MessageReading).where(MessageReading.message_id.in_(here)))
    rows = [
        _row(message_id, reading, recipe_ids, version, now)
        for message_id, reading in zip(ids, readings, strict=True)
        if message_id in here
    ]
    if rows:
        session.execute(insert(MessageReading), rows)
    settle(session, here)
    return sorted(here - before)


def _row(
    message_id: int, reading: Reading, recipe_ids: dict[str, int], version: str, now: datetime
) -> dict[str, Any]:
    hazard = reading.hazard
    return {
        "message_id": message_id,
        "model_version": version,
        "read_at": now,
        "kind_probabilities": _rounded(reading.kind_probabilities),
        "kinds": list(reading.kinds),
        "outcome_probabilities": _rounded(reading.outcome_probabilities),
        "outcome": reading.outcome,
        "fault_probabilities": _rounded(reading.fault_probabilities),
        "faults": list(reading.faults),
        "hazard": hazard.code if hazard else None,
        "hazard_probability": hazard.probability if hazard else None,
        "hazard_words": list(hazard.words) if hazard else [],
        "recipe_id": recipe_ids.get(reading.recipe.slug or ""),
        "recipe_confidence": reading.recipe.confidence,
        "recipe_also": list(reading.recipe.also),
        "recipe_why": reading.recipe.why,
        "wants": reading.wants,
        "language": reading.language,
    }


def _rounded(probabilities: Any) -> dict[str, float]:
    # Five digits are more than the reading is worth and keep a million rows small.
    return {name: round(float(value), 5) for name, value in probabilities.items()}
