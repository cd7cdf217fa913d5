"""A backup holds the whole ledger and fills either database with it."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine, create_engine, select, text
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.records import migrate
from inbox.records.backup import make_backup, restore, verify_backup
from inbox.records.base import Row
from inbox.records.engine import make_sessions, open_engine
from inbox.records.settle import set_hand_label
from inbox.records.tables import Message
from inbox.records.tables_out import ThemeMember
from tests.makers import THEN, make_message, make_reader, make_recipe, make_theme


def fill(session: Session, now: datetime) -> None:
    """A ledger with a hand label, a thread whose answer has the lower number, and a merged theme."""
    recipe, reader = make_recipe(session), make_reader(session)
    answer = make_message(session, reader_id=reader.id, page_recipe_id=recipe.id)
    asked = make_message(
        session, text="Bitte ein Rezept für Brötchen – ünïcödé 🥖", links=["https://a.example"]
    )
    answer.answers_message_id = asked.id
    set_hand_label(session, answer.id, "outcome", None, account_id=None, now=now)
    set_hand_label(session, answer.id, "kinds", ["made_it", "problem"], account_id=None, now=now)
    kept, gone = make_theme(session, named_by_hand=True), make_theme(session)
    gone.merged_into_id = kept.id
    session.add(
        ThemeMember(message_id=asked.id, theme_id=kept.id, by_hand=True, similarity=1.0, joined_at=THEN)
    )
    session.flush()


def contents(engine: Engine) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table, in order."""
    with engine.connect() as connection:
        return {
            table.name: [tuple(row) for row in connection.execute(select(table).order_by(*table.primary_key))]
            for table in Row.metadata.sorted_tables
        }


@pytest.fixture
def emptied_postgres(postgres_url: str) -> Iterator[Engine]:
    """A database of its own on the PostgreSQL server."""
    admin = create_engine(open_engine(postgres_url).url, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text("DROP DATABASE IF EXISTS moving"))
        connection.execute(text("CREATE DATABASE moving"))
    engine = create_engine(admin.url.set(database="moving"))
    yield engine
    engine.dispose()
    admin.dispose()


def test_backup_and_restore_keep_every_row(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    with make_sessions(fresh_engine).begin() as session:
        fill(session, now)

    path = make_backup(fresh_engine, tmp_path / "backups", keep_count=3, now=now)
    other = open_engine(f"sqlite:///{tmp_path}/other/ledger.sqlite3")
    counts = restore(path, other)

    assert counts["messages"] == 2
    assert counts["hand_labels"] == 2
    assert contents(other) == contents(fresh_engine)
    other.dispose()


@pytest.mark.postgres
def test_moving_to_postgresql_and_back_keeps_every_row(
    fresh_engine: Engine, emptied_postgres: Engine, tmp_path: Path, now: datetime
) -> None:
    with make_sessions(fresh_engine).begin() as session:
        fill(session, now)
    there = make_backup(fresh_engine, tmp_path / "there", keep_count=1, now=now)
    restore(there, emptied_postgres)
    assert contents(emptied_postgres) == contents(fresh_engine)

    back = make_backup(emptied_postgres, tmp_path / "back", keep_count=1, now=now)
    home = open_engine(f"sqlite:///{tmp_path}/home/ledger.sqlite3")
    restore(back, home)

    assert contents(home) == contents(fresh_engine)
    home.dispose()


@pytest.mark.postgres
def test_rows_after_a_move_get_new_numbers(
    fresh_engine: Engine, emptied_postgres: Engine, tmp_path: Path, now: datetime
) -> None:
    with make_sessions(fresh_engine).begin() as session:
        fill(session, now)
    restore(make_backup(fresh_engine, tmp_path, keep_count=1, now=now), emptied_postgres)

    with make_sessions(emptied_postgres).begin() as session:
        highest = max(session.scalars(select(Message.id)))
        assert make_message(session).id > highest


def test_only_an_empty_ledger_is_filled(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    with make_sessions(fresh_engine).begin() as session:
        fill(session, now)
    path = make_backup(fresh_engine, tmp_path / "backups", keep_count=3, now=now)

    with pytest.raises(InputError, match="already holds"):
        restore(path, fresh_engine)


def test_oldest_backups_go(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    made = [
        make_backup(fresh_engine, tmp_path / "backups", keep_count=2, now=now + timedelta(days=day))
        for day in range(4)
    ]

    assert sorted((tmp_path / "backups").iterdir()) == made[2:]


def test_damaged_file_is_refused(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    path = make_backup(fresh_engine, tmp_path / "backups", keep_count=1, now=now)
    content = bytearray(path.read_bytes())
    content[4096:12288] = bytes(8192)
    path.write_bytes(content)

    with pytest.raises(InputError, match=r"damaged|no backup"):
        verify_backup(path)


def test_a_file_of_another_kind_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "letters.mbox"
    path.write_text("From somebody\n")

    with pytest.raises(InputError, match="no backup that can be read"):
        verify_backup(path)


def test_backup_of_a_newer_version_is_refused(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    with fresh_engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = 'from_the_future'"))

    with pytest.raises(InputError, match="newer version"):
        make_backup(fresh_engine, tmp_path / "backups", keep_count=1, now=now)
    assert not migrate.is_known("from_the_future")
