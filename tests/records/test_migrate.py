"""The migrations make exactly the tables that the classes describe, on both databases."""

from pathlib import Path

import pytest
from sqlalchemy import Engine, create_engine, text

from inbox.records import migrate
from inbox.records.engine import open_engine


def test_fresh_install_agrees_with_the_classes(sqlite_engine: Engine) -> None:
    assert migrate.is_current(sqlite_engine)
    assert migrate.differences(sqlite_engine) == []


@pytest.mark.postgres
def test_fresh_install_agrees_with_the_classes_on_postgresql(postgres_engine: Engine) -> None:
    assert migrate.is_current(postgres_engine)
    assert migrate.differences(postgres_engine) == []


def test_a_missing_column_is_noticed(tmp_path: Path) -> None:
    """The comparison that the tests above rest on can fail."""
    engine = open_engine(f"sqlite:///{tmp_path}/ledger.sqlite3")
    migrate.upgrade(engine)
    with engine.begin() as connection:
        connection.execute(text("ALTER TABLE phrases DROP COLUMN body"))

    assert migrate.differences(engine)
    engine.dispose()


def test_upgrade_twice_changes_nothing(tmp_path: Path) -> None:
    engine = open_engine(f"sqlite:///{tmp_path}/ledger.sqlite3")
    migrate.upgrade(engine)
    migrate.upgrade(engine)

    assert migrate.is_current(engine)
    engine.dispose()


def test_every_connection_keeps_foreign_keys_and_wal(sqlite_engine: Engine) -> None:
    with sqlite_engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2


def test_an_empty_database_is_not_current(tmp_path: Path) -> None:
    engine = create_engine(f"sqlite:///{tmp_path}/empty.sqlite3")

    assert not migrate.is_current(engine)
    engine.dispose()
