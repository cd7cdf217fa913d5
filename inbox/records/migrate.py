"""Bringing the ledger to the newest form of its tables."""

from pathlib import Path

from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, text

from inbox.records import tables, tables_out
from inbox.records.base import Row

_FOLDER = Path(__file__).parent / "migrations"
_LOCK_NUMBER = 20_261_125
"""Advisory lock on PostgreSQL under which one process migrates while the others wait."""

__all__ = ["differences", "is_current", "is_known", "newest", "tables", "tables_out", "upgrade"]


def _config(connection: Connection | None = None) -> Config:
    config = Config()
    config.set_main_option("script_location", str(_FOLDER))
    config.attributes["connection"] = connection
    return config


def newest() -> str | None:
    """Name of the newest migration."""
    return ScriptDirectory.from_config(_config()).get_current_head()


def is_known(revision: str) -> bool:
    """Whether `revision` is one of this version's migrations."""
    return any(
        script.revision == revision for script in ScriptDirectory.from_config(_config()).walk_revisions()
    )


def upgrade(engine: Engine, to: str = "head") -> None:
    """Make or change the tables, up to migration `to`; does nothing where they are current."""
    with engine.begin() as connection:
        if engine.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _LOCK_NUMBER})
        command.upgrade(_config(connection), to)


def is_current(engine: Engine) -> bool:
    """Whether the ledger can be read and has the newest form; on SQLite this waits for no writer."""
    with engine.execution_options(sqlite_begin="DEFERRED").connect() as connection:
        return MigrationContext.configure(connection).get_current_revision() == newest()


def is_described(_item: object, name: str | None, *_more: object) -> bool:
    """Whether a table or index has a class; the index over the messages' words has none."""
    return not (name or "").startswith("message_words")


def differences(engine: Engine) -> list[object]:
    """Compare the ledger's tables with the classes; empty when they agree."""
    with engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "include_object": is_described}
        )
        return list(compare_metadata(context, Row.metadata))
