"""Reading what is new: messages without a reading, or with one by another model.

On SQLite the computation runs between two short transactions, so that forms can be
taken while an archive is read. On PostgreSQL a batch is claimed by locking its rows
until its readings are stored, so that several workers read different messages. A kill
loses nothing: what has no reading yet is new again, and a dead worker's locks are gone.
"""

from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any, Protocol

from sqlalchemy import Row, Select, delete, exists, func, insert, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline.catalogue import TOLD, load_catalogue, told_of
from inbox.pipeline.processes import ReadBatch, several_processes
from inbox.reading.findings import CatalogueRecipe, Reading, Told
from inbox.records.engine import is_postgresql
from inbox.records.settle import settle
from inbox.records.tables import Message, MessageReading

_BATCH_ROWS = 500
_HAS_READING = exists().where(MessageReading.message_id == Message.id)


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
    """Some messages to read: their numbers, what the program is told of each, and where they are claimed."""

    ids: list[int]
    told: list[Told]
    session: Session


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
    processes: int = 1,
    progress: Progress = lambda _done, _of: None,
) -> ReadResult:
    """Read every message that has no reading.

    Parameters
    ----------
    again : bool, default=False
        Also those that another model has read; hand labels stay as they are.
    spread : callable, default=one_by_one
        Where batches are read; `inbox.pipeline.spread` has one for a Dask cluster. Batches that are
        under way on a cluster are not claimed: one command reads the archive there, and what another
        worker reads meanwhile is stored once all the same.
    processes : int, default=1
        How many processes of this machine read a long archive; for batches that are read here.
    """
    with sessions() as session:
        total = session.scalar(select(func.count()).select_from(_unread(model, again, 0).subquery())) or 0
        catalogue, recipe_ids = load_catalogue(session)
    done = 0
    new_ids: list[int] = []

    here = spread is one_by_one
    read = partial(model.read, catalogue=catalogue)
    with (
        several_processes(read, processes=processes if here else 1, waiting=total) as read_batch,
        closing(_batches(sessions, model, again, claim=here)) as batches,
    ):
        for batch, readings in spread(read_batch, batches):
            with batch.session as session:
                new_ids += store_readings(session, batch.ids, readings, recipe_ids, model.version, now=now)
                session.commit()
            done += len(batch.ids)
            progress(done, max(total, done))
    return ReadResult(done, tuple(sorted(new_ids)))


def _batches(
    sessions: sessionmaker[Session], model: ReadsMessages, again: bool, *, claim: bool
) -> Generator[Batch, None, None]:
    after = 0
    waits = False
    while True:
        with sessions() as session:
            claimed = claim and is_postgresql(session)
            query = _unread(model, again, after).limit(_BATCH_ROWS)
            if claimed:
                query = query.with_for_update(skip_locked=not waits, key_share=True)
            messages = list(session.execute(query).all())
            if not messages:
                if waits or not claimed:
                    return
                # What others hold is waited for: afterwards all is read, also where one of them died.
                after, waits = 0, True
                continue
            after = messages[-1].id
            if claimed:
                messages = _still_unread(session, messages, model, again)
            batch = Batch([message.id for message in messages], told_of(session, messages), session)
            if not claimed:
                session.commit()
            if batch.ids:
                yield batch


def count_unread(session: Session) -> int:
    """Messages that wait to be read."""
    waits = (Message.kept_apart.is_(None), ~_HAS_READING)
    return session.scalar(select(func.count()).select_from(Message).where(*waits)) or 0


def _still_unread(
    session: Session, messages: list[Row[Any]], model: ReadsMessages, again: bool
) -> list[Row[Any]]:
    # What another worker stored just before the rows were locked had no reading yet when they were chosen.
    ids = _unread(model, again, 0).with_only_columns(Message.id)
    unread = set(session.scalars(ids.where(Message.id.in_([message.id for message in messages]))))
    return [message for message in messages if message.id in unread]


def _unread(model: ReadsMessages, again: bool, after: int) -> Select[*tuple[Any, ...]]:
    read = _HAS_READING.where(MessageReading.model_version == model.version) if again else _HAS_READING
    return select(*TOLD).where(Message.kept_apart.is_(None), ~read, Message.id > after).order_by(Message.id)


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
    rows = {
        message_id: _row(message_id, reading, recipe_ids, version, now)
        for message_id, reading in zip(ids, readings, strict=True)
        if message_id in here
    }
    if rows:
        session.execute(insert(MessageReading.__table__), list(rows.values()))  # type: ignore[arg-type]
    settle(session, here, readings=rows)
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
