"""Backups, and moving between the two databases: one mechanism for both.

A backup is one SQLite file whichever database the ledger is on, so it can be
looked into anywhere and restored into either. `make_backup` reads one consistent
state while the service goes on writing; `restore` fills an empty ledger.
"""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, Engine, Table, func, insert, select, text, update

from inbox.errors import InboxError, InputError
from inbox.records import migrate
from inbox.records.base import Row
from inbox.records.engine import open_engine

_BATCH_ROWS = 2_000
_NAME = "second-batch-{:%Y%m%d-%H%M%S}.sqlite3"
_PATTERN = "second-batch-*.sqlite3"


def make_backup(engine: Engine, folder: Path, *, keep_count: int, now: datetime) -> Path:
    """Write a backup into `folder`, verify it, and remove the oldest beyond `keep_count`.

    Returns
    -------
    Path
        The file; it has its name only once it is whole and verified.

    Raises
    ------
    InboxError
        If it cannot be written, or what was written does not hold what the ledger held.
    """
    final = folder / _NAME.format(now)
    part = final.with_suffix(".part")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        if engine.dialect.name == "sqlite":
            _copy_sqlite_file(engine, part)
        else:
            _copy_to_new_file(engine, part)
        verify_backup(part)
        part.replace(final)
    except (OSError, sqlite3.Error) as error:
        part.unlink(missing_ok=True)
        raise InboxError(
            f"The backup {final} cannot be written: {error}. Check the folder and free space."
        ) from error
    for old in sorted(folder.glob(_PATTERN))[: -max(keep_count, 1)]:
        old.unlink()
    return final


def _copy_sqlite_file(engine: Engine, target: Path) -> None:
    with engine.connect() as connection, closing(sqlite3.connect(target)) as out:
        source = connection.connection.driver_connection
        if not isinstance(source, sqlite3.Connection):
            raise TypeError(f"expected a connection of sqlite3, found {type(source)}")
        connection.rollback()
        source.backup(out)
        # One file, with nothing left in a log beside it, and no trace of what was deleted.
        out.execute("PRAGMA journal_mode = DELETE")
        out.execute("VACUUM")


def _copy_to_new_file(engine: Engine, target: Path) -> None:
    out = open_engine(f"sqlite:///{target}")
    try:
        migrate.upgrade(out)
        with engine.connect().execution_options(isolation_level="REPEATABLE READ") as source:
            with out.begin() as connection:
                copy_rows(source, connection)
        with out.connect() as connection:
            connection.rollback()
            connection.connection.driver_connection.execute("PRAGMA journal_mode = DELETE")  # type: ignore[union-attr]
    finally:
        out.dispose()


def verify_backup(path: Path) -> dict[str, int]:
    """Read a backup from end to end.

    Returns
    -------
    dict of str to int
        Rows of each table.

    Raises
    ------
    InputError
        If the file is no backup of this program, is damaged, or is of a newer version.
    """
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as file:
            state = file.execute("PRAGMA integrity_check").fetchone()[0]
            if state != "ok":
                raise InputError(f"{path} is damaged ({state}); use an older backup.")
            revision = file.execute("SELECT version_num FROM alembic_version").fetchone()
            counts = {
                table.name: file.execute(f'SELECT count(*) FROM "{table.name}"').fetchone()[0]  # noqa: S608
                for table in Row.metadata.sorted_tables
                if _has(file, table.name)
            }
    except sqlite3.Error as error:
        raise InputError(
            f"{path} is no backup that can be read: {error}. Give a file that backup made."
        ) from error
    if revision is None or not migrate.is_known(revision[0]):
        raise InputError(f"{path} was made by a newer version of this program; upgrade first.")
    return counts


def _has(file: sqlite3.Connection, name: str) -> bool:
    found = file.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", (name,))
    return found.fetchone() is not None


def restore(
    path: Path, engine: Engine, *, progress: Callable[[str, int], None] = lambda _table, _rows: None
) -> dict[str, int]:
    """Fill the empty ledger behind `engine` from a backup, of this version or an older one.

    Raises
    ------
    InputError
        If the file cannot be used, or the ledger already holds something.
    """
    verify_backup(path)
    migrate.upgrade(engine)
    with engine.connect() as connection:
        for table in Row.metadata.sorted_tables:
            if connection.scalar(select(func.count()).select_from(table)):
                raise InputError(
                    f"The ledger already holds {table.name}; restore fills an empty one only. "
                    "Give another --folder or database."
                )
    copy = path.with_name(path.name + ".upgrading")
    try:
        # The backup stays as it is: an older one is brought up to date in a copy.
        copy.write_bytes(path.read_bytes())
        source = open_engine(f"sqlite:///{copy}")
        migrate.upgrade(source)
        with source.connect() as reading, engine.begin() as writing:
            counts = copy_rows(reading, writing, progress)
        source.dispose()
        return counts
    finally:
        for left in (copy, copy.with_name(copy.name + "-wal"), copy.with_name(copy.name + "-shm")):
            left.unlink(missing_ok=True)


def copy_rows(
    source: Connection, target: Connection, progress: Callable[[str, int], None] = lambda _table, _rows: None
) -> dict[str, int]:
    """Copy every row of every table, numbers included; returns rows per table."""
    counts = {}
    for table in Row.metadata.sorted_tables:
        counts[table.name] = _copy_table(source, target, table)
        progress(table.name, counts[table.name])
    if target.dialect.name == "postgresql":
        _advance_sequences(target)
    return counts


def _copy_table(source: Connection, target: Connection, table: Table) -> int:
    """Copy one table; columns that point into the table itself are filled once all rows are there."""
    to_itself = [
        column.name
        for column in table.columns
        if any(key.column.table is table for key in column.foreign_keys)
    ]
    later: list[dict[str, object]] = []
    count = 0
    key = list(table.primary_key.columns)
    rows = source.execution_options(yield_per=_BATCH_ROWS).execute(select(table).order_by(*key))
    for batch in rows.mappings().partitions():
        records = [dict(row) for row in batch]
        for record in records:
            pointers = {name: record[name] for name in to_itself if record[name] is not None}
            if pointers:
                later.append(
                    {"row": record[key[0].name], **{f"to_{name}": record[name] for name in to_itself}}
                )
                record.update(dict.fromkeys(pointers))
        target.execute(insert(table), records)
        count += len(records)
    for record in later:
        target.execute(
            update(table)
            .where(key[0] == record["row"])
            .values({name: record[f"to_{name}"] for name in to_itself})
        )
    return count


def _advance_sequences(connection: Connection) -> None:
    """Let the next row get a number above those that were copied."""
    for table in Row.metadata.sorted_tables:
        column = table.autoincrement_column
        if column is not None:
            connection.execute(
                text(
                    f"SELECT setval(pg_get_serial_sequence('{table.name}', '{column.name}'), "  # noqa: S608
                    f"GREATEST((SELECT max({column.name}) FROM {table.name}), 1))"
                )
            )
