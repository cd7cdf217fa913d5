"""Opening the ledger: SQLite in WAL by default, PostgreSQL by its address.

No engine is made at import time; `open_engine` is called once a process.
"""

import contextlib
import sqlite3
from pathlib import Path
from typing import cast

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, OperationalError
from sqlalchemy.orm import Session, sessionmaker
from sqlalchemy.pool import ConnectionPoolEntry

from inbox.errors import InboxError, InputError

CACHE_KIB = 32 * 1024
"""What a connection to SQLite keeps of the file. Measured at 1,000,000 messages (tests/bench/pages.py): pages
take a tenth less of the processor's time than with SQLite's own 2 MB."""

BUSY_SECONDS = 30
"""How long a writer waits for another one before it gives up; a form is then refused in plain words."""

_NOTICES_A_CUT_LINE = {
    "connect_timeout": 10,
    "keepalives_idle": 10,
    "keepalives_interval": 5,
    "keepalives_count": 3,
    "tcp_user_timeout": 25_000,
}
"""Parameters of libpq (PostgreSQL's documentation, "Parameter Key Words"): a dead line is noticed in 25 s."""


def open_engine(url: str) -> Engine:
    """Engine for the ledger at `url`.

    Parameters
    ----------
    url : str
        SQLAlchemy address; for SQLite the folder is made if it is missing.

    Raises
    ------
    InputError
        If the address cannot be read, or its driver is not installed.
    InboxError
        If the folder cannot be made.
    """
    try:
        parsed = make_url(url)
        if parsed.get_backend_name() == "sqlite":
            if parsed.database and parsed.database != ":memory:":
                _make_folder(Path(parsed.database).parent)
            engine = create_engine(parsed, connect_args={"timeout": BUSY_SECONDS}, hide_parameters=True)
            event.listen(engine, "connect", _prepare_sqlite)
            event.listen(engine, "begin", _begin_sqlite)
            return engine
        # Values stay out of the errors' words: they are readers' words and addresses.
        engine = create_engine(
            parsed, connect_args=_NOTICES_A_CUT_LINE, pool_pre_ping=True, hide_parameters=True
        )
        event.listen(engine, "connect", _prepare_postgresql)
        return engine
    except (ArgumentError, NoSuchModuleError) as error:
        raise InputError(
            f"database_url is {url!r}, which cannot be used: {error}. "
            "Leave it empty for SQLite, or give postgresql://user@host/name."
        ) from error
    except ModuleNotFoundError as error:
        raise InputError(
            f"database_url needs the Python package {error.name!r}; install second-batch[postgres]."
        ) from error


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InboxError(
            f"The data folder {folder} cannot be made: {error.strerror}. Choose another with --folder."
        ) from error


def _prepare_sqlite(opened: DBAPIConnection, _record: ConnectionPoolEntry) -> None:
    # The driver's own BEGIN comes too late for savepoints and for reads that must
    # see one state; SQLAlchemy's documentation of the dialect advises this switch.
    connection = cast(sqlite3.Connection, opened)
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA secure_delete = ON")
    # FULL: a thank-you page is shown only after the words are on the disk.
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
    # A read-only folder can still be read; the first write says so in plain words.
    with contextlib.suppress(sqlite3.OperationalError):
        connection.execute("PRAGMA journal_mode = WAL")


def _prepare_postgresql(opened: DBAPIConnection, _record: ConnectionPoolEntry) -> None:
    # The server must notice a host that was cut off, too: until then it keeps that host's locks, and the
    # system's default for that is two hours. These settings are ignored on a Unix socket.
    cursor = opened.cursor()
    cursor.execute("SET tcp_keepalives_idle = 10")
    cursor.execute("SET tcp_keepalives_interval = 5")
    cursor.execute("SET tcp_keepalives_count = 3")
    cursor.execute("SET tcp_user_timeout = 25000")
    cursor.close()
    opened.commit()


def _begin_sqlite(connection: Connection) -> None:
    # A writer takes its lock at once and waits its turn; begun as a reader it could
    # fail later with "database is locked", which no waiting mends.
    mode = connection.get_execution_options().get("sqlite_begin", "IMMEDIATE")
    connection.exec_driver_sql(f"BEGIN {mode}")


def make_sessions(engine: Engine) -> sessionmaker[Session]:
    """Session factory; rows stay readable after the commit, so that pages need no further query."""
    return sessionmaker(engine, expire_on_commit=False)


def reading_sessions(engine: Engine) -> sessionmaker[Session]:
    """Session factory for work that only reads: on SQLite it waits for no writer."""
    return sessionmaker(engine.execution_options(sqlite_begin="DEFERRED"), expire_on_commit=False)


def explain_failure(error: OperationalError) -> str:
    """One sentence for a database that cannot be reached or written."""
    reason = (str(error.orig).strip().splitlines() or [str(error)])[0]
    if any(word in reason for word in ("readonly", "read-only", "unable to open", "full", "disk I/O")):
        return f"The ledger cannot be written ({reason}); check the folder's permissions and free space."
    if "locked" in reason:
        return (
            f"The ledger was busy for {BUSY_SECONDS} seconds ({reason}); "
            "another program holds it. Try again when it is done."
        )
    return f"The ledger cannot be used: {reason}. Check that its server runs and the address is right."


def is_postgresql(session: Session) -> bool:
    """Whether the ledger is on PostgreSQL rather than SQLite."""
    return session.get_bind().dialect.name == "postgresql"
