"""Work that takes a while: asked for on a page, done by whichever worker is free.

A row of `long_work` is the whole state: it survives leaving the page and
restarting the server, shows how far it is, and can be stopped between two steps.
A worker that dies stops being seen alive, and another one goes on; every kind of
work can be begun again without doing anything twice.
"""

import re
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import IO, Any

from sqlalchemy import delete, or_, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InboxError, InputError, NotFoundError, kind_and_place
from inbox.records.tables_out import LongWork, UploadPiece

PIECE_BYTES = 1_000_000
ALIVE_SECONDS = 120
"""A worker that was not seen for so long is taken to be dead; longer than any step of any work."""

HELD = "held"
"""Name of work that nobody does yet: a table whose columns the owner has still to confirm."""
HELD_HOURS = 24
"""How long such a table waits; chosen: an evening's pause, and no pile of forgotten uploads."""

Tell = Callable[[int, int | None], None]
Work = Callable[[Mapping[str, Any], Path | None, Tell], str]
"""Does one kind of work: arguments, uploaded file, a way to tell progress; returns what came of it."""


class StopAskedError(InboxError):
    """The person asked for this work to stop; what was done so far is kept."""


def ask(
    session: Session,
    what: str,
    arguments: Mapping[str, Any],
    *,
    upload: IO[bytes] | None = None,
    limit_bytes: int = 2_000_000_000,
    now: datetime,
) -> int:
    """Put work down to be done; returns its number.

    Raises
    ------
    InputError
        If the upload is larger than `limit_bytes`, or empty.
    """
    drop_forgotten_uploads(session, now)
    work = LongWork(what=what, arguments=dict(arguments), asked_at=now)
    session.add(work)
    session.flush()
    if upload is not None:
        _keep_upload(session, work.id, upload, limit_bytes)
    return work.id


def release(session: Session, work_id: int, what: str, arguments: Mapping[str, Any]) -> None:
    """Let held work be done, as `what`, with these arguments beside its own.

    Raises
    ------
    NotFoundError
        If it is not held (any more).
    """
    work = session.get(LongWork, work_id)
    if work is None or work.what != HELD:
        raise NotFoundError("This upload does not wait any more; hand the file in once more.")
    work.what, work.arguments = what, {**work.arguments, **arguments}


def drop_forgotten_uploads(session: Session, now: datetime) -> None:
    """Drop tables that were handed in and never confirmed."""
    forgotten = select(LongWork.id).where(
        LongWork.what == HELD, LongWork.asked_at < now - timedelta(hours=HELD_HOURS)
    )
    ids = session.scalars(forgotten).all()
    session.execute(delete(UploadPiece).where(UploadPiece.work_id.in_(ids)))
    session.execute(delete(LongWork).where(LongWork.id.in_(ids)))


def _keep_upload(session: Session, work_id: int, upload: IO[bytes], limit_bytes: int) -> None:
    size = number = 0
    while piece := upload.read(PIECE_BYTES):
        size, number = size + len(piece), number + 1
        if size > limit_bytes:
            raise InputError(
                f"The file is larger than {limit_bytes:,} bytes; use second-batch import instead."
            )
        session.add(UploadPiece(work_id=work_id, number=number, content=piece))
        session.flush()
        session.expunge_all()
    if not size:
        raise InputError("The file is empty; choose one that holds something.")


def ask_to_stop(session: Session, work_id: int, *, now: datetime) -> None:
    """Stop this work at its next step; work that has not begun is not begun."""
    work = session.get(LongWork, work_id)
    if work is not None and work.finished_at is None:
        work.stop_asked_at = now
        if work.started_at is None:
            work.finished_at, work.result = now, "Stopped before it began."


def do_next(
    sessions: sessionmaker[Session], works: Mapping[str, Work], *, clock: Callable[[], datetime]
) -> int | None:
    """Do one piece of work that waits, if there is one; returns its number.

    Errors are recorded in the row; only the claim and the record are transactions here,
    the work makes its own.
    """
    with sessions.begin() as session:
        work = _claim(session, clock())
        if work is None:
            return None
        work_id, what, arguments = work.id, work.what, dict(work.arguments)
    result, trouble = None, None
    try:
        if what not in works:
            raise InputError(f"There is no work called {what!r} in this version.")
        with upload_of(sessions, work_id) as upload:
            result = works[what](arguments, upload, _teller(sessions, work_id, clock))
    except StopAskedError as stop:
        result = str(stop)
    except InboxError as error:
        trouble = str(error)
    except Exception as error:
        # A fault of ours must not take the worker down with it; the page shows it.
        trouble = f"The program failed at this ({kind_and_place(error)}). What was done so far is kept."
    with sessions.begin() as session:
        done = session.get_one(LongWork, work_id)
        done.finished_at, done.result, done.trouble = clock(), result, trouble
        session.execute(delete(UploadPiece).where(UploadPiece.work_id == work_id))
    return work_id


def _claim(session: Session, now: datetime) -> LongWork | None:
    """The oldest work that nobody does, claimed for us."""
    stale = now - timedelta(seconds=ALIVE_SECONDS)
    work = session.scalar(
        select(LongWork)
        .where(
            LongWork.finished_at.is_(None),
            LongWork.what != HELD,
            or_(LongWork.seen_alive_at.is_(None), LongWork.seen_alive_at < stale),
        )
        .order_by(LongWork.id)
        .limit(1)
        .with_for_update(skip_locked=True)
    )
    if work is not None:
        work.started_at, work.seen_alive_at = work.started_at or now, now
        session.flush()
    return work


@contextmanager
def upload_of(sessions: sessionmaker[Session], work_id: int) -> Iterator[Path | None]:
    """The uploaded file on this machine's disk, for as long as it is looked at."""
    with tempfile.TemporaryDirectory(prefix="second-batch-") as folder:
        with sessions() as session:
            arguments = session.get_one(LongWork, work_id).arguments
            numbers = session.scalars(
                select(UploadPiece.number).where(UploadPiece.work_id == work_id).order_by(UploadPiece.number)
            ).all()
            path = Path(folder) / f"upload{_ending(str(arguments.get('name') or ''))}"
            with path.open("wb") as file:
                for number in numbers:
                    file.write(session.get_one(UploadPiece, (work_id, number)).content)
                    session.expunge_all()
        yield path if numbers else None


def _ending(name: str) -> str:
    """The end of a file's name, which tells the door what kind it may be; the rest is not ours to trust."""
    return "".join(re.findall(r"\.[A-Za-z0-9]{1,10}\Z", name))


def _teller(sessions: sessionmaker[Session], work_id: int, clock: Callable[[], datetime]) -> Tell:
    """A function that records progress, keeps the claim alive, and notices the wish to stop."""

    def tell(done: int, of: int | None) -> None:
        with sessions.begin() as session:
            work = session.get_one(LongWork, work_id)
            work.done_count, work.of_count, work.seen_alive_at = done, of, clock()
            asked = work.stop_asked_at is not None
        if asked:
            raise StopAskedError(f"Stopped after {done:,}; what was done so far is kept.")

    return tell
