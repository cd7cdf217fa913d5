"""Taking turns between processes: one at a time within a transaction, and one leader for the schedule.

PostgreSQL's advisory locks do it there. SQLite has one writer anyway, and its
leader holds a lock on a file in the data folder.
"""

import contextlib
import fcntl
from pathlib import Path
from types import TracebackType
from typing import IO, Self
from zlib import crc32

from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from inbox.records.engine import is_postgresql

_LEADER = crc32(b"second-batch schedule")


def one_at_a_time(session: Session, what: str) -> None:
    """Wait until no other transaction does `what`; held until this one ends."""
    if is_postgresql(session):
        session.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": crc32(what.encode())})


class Leadership:
    """The right to keep the schedule, held by one process at a time; a dead holder loses it at once.

    Parameters
    ----------
    engine : Engine
        The ledger.
    folder : Path
        The data folder; its lock file is used on SQLite.
    """

    def __init__(self, engine: Engine, folder: Path) -> None:
        self._engine = engine
        self._file_name = folder / "schedule.lock"
        self._connection: Connection | None = None
        self._file: IO[bytes] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.give_up()

    def held(self) -> bool:
        """Whether this process leads now; takes the lead where nobody has it."""
        return self._held_in_database() if self._engine.dialect.name == "postgresql" else self._held_in_file()

    def _held_in_database(self) -> bool:
        try:
            if self._connection is not None:
                # A lost connection has lost the lock with it.
                self._connection.execute(text("SELECT 1"))
                self._connection.rollback()
                return True
            connection = self._engine.connect()
            got = connection.scalar(text("SELECT pg_try_advisory_lock(:number)"), {"number": _LEADER})
            connection.rollback()
        except SQLAlchemyError:
            self.give_up()
            return False
        if got:
            self._connection = connection
        else:
            connection.close()
        return bool(got)

    def _held_in_file(self) -> bool:
        if self._file is None:
            file = self._file_name.open("ab")
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                file.close()
                return False
            self._file = file
        return True

    def give_up(self) -> None:
        """Let another process lead."""
        if self._connection is not None:
            with contextlib.suppress(SQLAlchemyError):
                self._connection.execute(text("SELECT pg_advisory_unlock(:number)"), {"number": _LEADER})
                self._connection.rollback()
            # Never back into the pool: a lock that was not let go would live on with it.
            with contextlib.suppress(SQLAlchemyError):
                self._connection.invalidate()
            self._connection.close()
            self._connection = None
        if self._file is not None:
            self._file.close()
            self._file = None
