"""One import, from a file to the ledger, in batches that are committed as they are done.

Killed at any point and run again, an import goes on where it stopped and ends with the same rows as if it
had run once: each batch and the position after it are one transaction. Start with `import_path`.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InputError
from inbox.intake.catalogue import load_catalogue
from inbox.intake.deliver import deliver_all
from inbox.intake.incoming import Delivered, Incoming, Unusable
from inbox.intake.sources import ImportOptions, Source, kind_of, open_source
from inbox.intake.table import encoding_of, heads_of, recall, remember, source_of
from inbox.intake.threads import link_late_parents
from inbox.records.tables import IntakeRun

BATCH_COUNT = 500
BATCH_BYTES = 8 * 1024 * 1024
"""Bytes after which a batch is closed early, so that large photos do not pile up in memory."""

Progress = Callable[[int, int | None], None]
"""Called with the items dealt with so far, and how many there are where that is known."""


@dataclass(frozen=True, slots=True)
class RunResult:
    """How an import ended; the three numbers sum to what the source held."""

    run_id: int
    stored: int
    already_here: int
    set_aside: int
    kept_apart: int
    """Of the stored ones, those that no reader wrote."""

    @property
    def total(self) -> int:
        """Items that the source held."""
        return self.stored + self.already_here + self.set_aside

    @property
    def in_words(self) -> str:
        """The numbers as one line."""
        apart = f" ({self.kept_apart} of them not from readers)" if self.kept_apart else ""
        return (
            f"{self.total} items: {self.stored} stored{apart}, "
            f"{self.already_here} already here, {self.set_aside} set aside"
        )


def import_path(
    sessions: sessionmaker[Session],
    path: Path,
    *,
    options: ImportOptions,
    progress: Progress | None = None,
    name: str | None = None,
) -> RunResult:
    """Bring a file or folder in; commits batch by batch.

    Parameters
    ----------
    sessions : sessionmaker
    path : Path
        mbox, Maildir, .eml, a folder or zip of those, CSV, xlsx, JSONL, Atom or RSS; told by content.
    options : ImportOptions
    progress : callable, optional
    name : str, optional
        Name of the source in lists, where the file at `path` is a copy with another one.

    Raises
    ------
    InputError
        If the file cannot be brought in at all; then nothing was.
    """
    kind = kind_of(path)
    if kind in ("csv", "xlsx"):
        options = _with_remembered_columns(sessions, path, kind, options)
    with open_source(path, options) as source:
        return run_source(sessions, source, name=name or path.name, now=options.now, progress=progress)


def _with_remembered_columns(
    sessions: sessionmaker[Session], path: Path, kind: str, options: ImportOptions
) -> ImportOptions:
    """Options with what the owner once said of a table with these heads; what is said now is remembered."""
    source = source_of(heads_of(path, kind))
    with sessions.begin() as session:
        known = recall(session, source) or {"columns": None, "day_first": None}
        columns = options.columns if options.columns is not None else known["columns"]
        day_first = options.day_first if options.day_first is not None else known["day_first"]
        encoding = encoding_of(path, kind, said=options.encoding, known=known)
        if (options.columns, options.day_first, options.encoding) != (None, None, None):
            remember(
                session,
                source,
                heads_of(path, kind, encoding),
                columns=columns or {},
                day_first=day_first,
                encoding=encoding,
                now=options.now,
            )
    return replace(options, columns=columns, day_first=day_first, encoding=encoding)


def run_source(
    sessions: sessionmaker[Session],
    source: Source,
    *,
    name: str,
    now: datetime,
    progress: Progress | None = None,
) -> RunResult:
    """Bring the items of an open source in; see `import_path`."""
    with sessions.begin() as session:
        run = _begin(session, source, name, now)
        run_id, position, started_at = run.id, run.position, run.started_at
        catalogue = load_catalogue(session)
    items = (source.read(piece) for piece in _after(source.pieces, position))
    for batch in _batches(items):
        with sessions.begin() as session:
            _hold(session, run_id, position)
            ends = deliver_all(session, batch, run_id=run_id, now=started_at, catalogue=catalogue)
            count(session, run_id, ends)
        position += len(batch)
        if progress:
            progress(position, source.count)
    with sessions.begin() as session:
        link_late_parents(session, run_id)
        run = session.get_one(IntakeRun, run_id)
        run.finished_at = now
        return result_of(run)


def _begin(session: Session, source: Source, name: str, now: datetime) -> IntakeRun:
    """The run of this source that was cut, or a new one."""
    cut = session.scalar(
        select(IntakeRun)
        .where(
            IntakeRun.digest == source.digest,
            IntakeRun.door == source.door,
            IntakeRun.finished_at.is_(None),
            IntakeRun.taken_back_at.is_(None),
        )
        .order_by(IntakeRun.id.desc())
        .limit(1)
    )
    if cut is not None:
        return cut
    run = IntakeRun(door=source.door, source=name, digest=source.digest, started_at=now, position=0)
    session.add(run)
    session.flush()
    return run


def _hold(session: Session, run_id: int, position: int) -> None:
    """Make sure that no other process goes on with the same run."""
    run = session.get_one(IntakeRun, run_id, with_for_update=True)
    if run.position != position:
        raise InputError(f"{run.source} is being brought in by another process; wait until it is done.")


def _after(pieces: Iterator[object], position: int) -> Iterator[object]:
    """Pieces that come after the first `position` ones."""
    for number, piece in enumerate(pieces):
        if number >= position:
            yield piece


def _batches(items: Iterable[Incoming | Unusable]) -> Iterator[list[Incoming | Unusable]]:
    batch: list[Incoming | Unusable] = []
    size = 0
    for item in items:
        batch.append(item)
        size += len(item.raw) + (
            sum(len(one.jpeg) for one in item.photos) if isinstance(item, Incoming) else 0
        )
        if len(batch) >= BATCH_COUNT or size >= BATCH_BYTES:
            yield batch
            batch, size = [], 0
    if batch:
        yield batch


def count(session: Session, run_id: int, ends: Sequence[Delivered]) -> None:
    """Add how items ended to the numbers of their run."""
    run = session.get_one(IntakeRun, run_id)
    states = Counter(end.state for end in ends)
    run.position += len(ends)
    run.stored_count += states["stored"]
    run.already_here_count += states["already_here"]
    run.set_aside_count += states["set_aside"]
    run.kept_apart_count += sum(end.state == "stored" and end.kept_apart is not None for end in ends)
    session.flush()


def result_of(run: IntakeRun) -> RunResult:
    """Numbers of a run."""
    return RunResult(
        run.id, run.stored_count, run.already_here_count, run.set_aside_count, run.kept_apart_count
    )
