"""Reading what is new: messages without a reading, or with one by another model.

On SQLite the computation runs between two short transactions, so that forms can be
taken while an archive is read. On PostgreSQL a batch is claimed by locking its rows
until its readings are stored, so that several workers read different messages. A kill
loses nothing: what has no reading yet is new again, and a dead worker's locks are gone.
"""

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any, Protocol

from sqlalchemy import Row, Select, delete, exists, func, insert, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline.catalogue import TOLD, load_catalogue, told_of
from inbox.pipeline.processes import Pending, ReadBatch, Readers, several_processes
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


Spread = Callable[[ReadBatch], Readers]
"""Who reads batches elsewhere, given how one is read; `inbox.pipeline.spread` has one for a Dask cluster."""


@dataclass(frozen=True)
class _Batch:
    """Some messages that are being read: their numbers, their readings to be, and where they are claimed."""

    ids: list[int]
    pending: Pending
    session: Session


def read_messages(
    sessions: sessionmaker[Session],
    model: ReadsMessages,
    *,
    now: datetime,
    again: bool = False,
    newest_first: bool = False,
    spread: Spread | None = None,
    processes: int = 1,
    progress: Progress = lambda _done, _of: None,
) -> ReadResult:
    """Read every message that has no reading.

    Parameters
    ----------
    again : bool, default=False
        Also those that another model has read; hand labels stay as they are.
    newest_first : bool, default=False
        So that two who read on SQLite, where nothing is claimed, come from both ends and meet.
    spread : callable, optional
        Where batches are read, if not here. Batches that are under way on a cluster are not claimed: one
        command reads the archive there, and what another worker reads meanwhile is stored once all the same.
    processes : int, default=1
        How many processes of this machine read a long archive; for batches that are read here.
    """
    waiting = count_waiting(sessions, model.version if again else None)
    with open_desk(
        sessions, model, now=now, again=again, spread=spread, processes=processes, waiting=waiting
    ) as desk:
        return desk.finish(progress, newest_first=newest_first)


@contextmanager
def open_desk(
    sessions: sessionmaker[Session],
    model: ReadsMessages,
    *,
    now: datetime,
    again: bool = False,
    spread: Spread | None = None,
    processes: int = 1,
    waiting: int,
) -> Iterator["Desk"]:
    """Hand messages out to be read, `waiting` of them at first; the rest is as for `read_messages`."""
    with sessions() as session:
        catalogue, recipe_ids = load_catalogue(session)
    read = partial(model.read, catalogue=catalogue)
    with several_processes(read, processes=1 if spread else processes, waiting=waiting) as readers:
        desk = Desk(
            sessions,
            model,
            spread(read) if spread else readers,
            recipe_ids,
            now=now,
            again=again,
            claims=spread is None,
        )
        try:
            yield desk
        finally:
            desk.give_up()


class Desk:
    """Messages on their way: what waits is handed out to the readers, what they read is stored.

    Start with `open_desk`.
    """

    def __init__(
        self,
        sessions: sessionmaker[Session],
        model: ReadsMessages,
        readers: Readers,
        recipe_ids: dict[str, int],
        *,
        now: datetime,
        again: bool,
        claims: bool,
    ) -> None:
        self._sessions = sessions
        self._model = model
        self._readers = readers
        self._recipe_ids = recipe_ids
        self._now = now
        self._read_by = model.version if again else None
        self._claims = claims
        self._under_way: deque[_Batch] = deque()
        self._done = 0
        self._new_ids: list[int] = []

    def go_on(self, after: int) -> int:
        """Store what was read and hand out what there is room for, of the messages after number `after`.

        Waits for nobody and claims nothing, so that something else can be done between two calls. Returns
        the number after which to go on.
        """
        while self._under_way and self._under_way[0].pending.done():
            self._store_next()
        while len(self._under_way) < self._readers.room:
            last = self._hand_out(after, claim=False)
            if last is None:
                break
            after = last
        return after

    def finish(self, progress: Progress, *, newest_first: bool = False) -> ReadResult:
        """Read all that waits, and what is under way."""
        while self._under_way:
            self._store_next()
        total = self._done + count_waiting(self._sessions, self._read_by)
        with self._sessions() as session:
            claim = self._claims and is_postgresql(session)
            newest = session.scalar(select(func.max(Message.id))) or 0
        # What others hold is waited for at the end: afterwards all is read, also where one of them died.
        # By then nothing is under way here, so that none waits for itself.
        for waits in (False, True) if claim else (False,):
            # Those who wait all go the same way, so that no two wait for each other.
            down = newest_first and not waits
            place: int | None = newest + 1 if down else 0
            while True:
                while place is not None and len(self._under_way) < self._readers.room:
                    place = self._hand_out(place, down=down, claim=claim, waits=waits)
                if not self._under_way:
                    break
                self._store_next()
                progress(self._done, max(total, self._done))
        return ReadResult(self._done, tuple(sorted(self._new_ids)))

    def give_up(self) -> None:
        """Let go of what is under way; it waits to be read, as before."""
        while self._under_way:
            self._under_way.pop().session.close()

    def _hand_out(self, place: int, *, claim: bool, down: bool = False, waits: bool = False) -> int | None:
        """Begin to read the next batch behind number `place`; its last number, or None if there is none."""
        with ExitStack() as stack:
            session = stack.enter_context(self._sessions())
            query = _unread(self._read_by, place, down=down).limit(_BATCH_ROWS)
            if claim:
                query = query.with_for_update(skip_locked=not waits, key_share=True)
            messages = list(session.execute(query).all())
            if not messages:
                return None
            last = int(messages[-1].id)
            if claim:
                messages = _still_unread(session, messages, self._read_by)
            told = told_of(session, messages)
            if not claim:
                session.commit()
            if messages:
                ids = [message.id for message in messages]
                self._under_way.append(_Batch(ids, self._readers.begin(told), session))
                stack.pop_all()  # the batch keeps its claims until it is stored
            return last

    def _store_next(self) -> None:
        batch = self._under_way.popleft()
        with batch.session as session:
            self._new_ids += store_readings(
                session,
                batch.ids,
                batch.pending.result(),
                self._recipe_ids,
                self._model.version,
                now=self._now,
            )
            session.commit()
        self._done += len(batch.ids)


def count_waiting(sessions: sessionmaker[Session], read_by: str | None = None, *, after: int = 0) -> int:
    """Messages after number `after` that have no reading, or none by the model with version `read_by`."""
    with sessions() as session:
        return session.scalar(select(func.count()).select_from(_unread(read_by, after).subquery())) or 0


def count_unread(session: Session) -> int:
    """Messages that wait to be read."""
    waits = (Message.kept_apart.is_(None), ~_HAS_READING)
    return session.scalar(select(func.count()).select_from(Message).where(*waits)) or 0


def _still_unread(session: Session, messages: list[Row[Any]], read_by: str | None) -> list[Row[Any]]:
    # What another worker stored just before the rows were locked had no reading yet when they were chosen.
    ids = _unread(read_by, 0).with_only_columns(Message.id)
    unread = set(session.scalars(ids.where(Message.id.in_([message.id for message in messages]))))
    return [message for message in messages if message.id in unread]


def _unread(read_by: str | None, place: int, *, down: bool = False) -> Select[*tuple[Any, ...]]:
    read = _HAS_READING.where(MessageReading.model_version == read_by) if read_by else _HAS_READING
    behind = Message.id < place if down else Message.id > place
    order = Message.id.desc() if down else Message.id
    return select(*TOLD).where(Message.kept_apart.is_(None), ~read, behind).order_by(order)


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
