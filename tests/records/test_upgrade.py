"""A ledger of each earlier form comes to the newest one with its rows kept."""

from pathlib import Path

import pytest
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, text

from inbox.records import migrate
from inbox.records.check import check_ledger
from inbox.records.engine import make_sessions, open_engine

ROWS = (
    "INSERT INTO readers (id, email, name, first_seen_at) "
    "VALUES (1, 'ada@example.org', 'Ada', '2026-11-01 10:00:00')",
    "INSERT INTO recipes (id, slug, title, ingredients, steps, tags, created_at) "
    "VALUES (1, 'rye', 'Rye loaf', '[]', '[]', '{}', '2026-11-01 10:00:00')",
    "INSERT INTO themes (id, name, named_by_hand, facets, shelf, coverage, created_at) "
    "VALUES (1, 'gluten-free stollen', true, '{}', 'on_the_bench', 0.0, '2026-11-01 10:00:00')",
    "INSERT INTO digests (id, week, built_at, document) "
    "VALUES (1, '2026-W44', '2026-11-01 10:00:00', '{\"week\": \"2026-W44\"}')",
)
QUESTIONS = {
    "SELECT email FROM readers": "ada@example.org",
    "SELECT title FROM recipes": "Rye loaf",
    "SELECT name FROM themes": "gluten-free stollen",
    "SELECT shelf FROM themes": "on_the_bench",
    "SELECT week FROM digests": "2026-W44",
}


def earlier_forms() -> list[str]:
    """Every migration but the newest, oldest first."""
    scripts = ScriptDirectory.from_config(migrate._config()).walk_revisions()
    return [script.revision for script in scripts][:0:-1]


def rise(engine: Engine, start: str) -> None:
    migrate.upgrade(engine, start)
    with engine.begin() as connection:
        for row in ROWS:
            connection.exec_driver_sql(row)
    assert not migrate.is_current(engine)

    migrate.upgrade(engine)

    assert migrate.is_current(engine)
    assert migrate.differences(engine) == []
    with engine.connect() as connection:
        assert {asked: connection.execute(text(asked)).scalar_one() for asked in QUESTIONS} == QUESTIONS
    with make_sessions(engine)() as session:
        assert check_ledger(session) == []


@pytest.mark.parametrize("start", earlier_forms())
def test_a_ledger_of_an_earlier_form_keeps_its_rows(tmp_path: Path, start: str) -> None:
    engine = open_engine(f"sqlite:///{tmp_path}/ledger.sqlite3")
    rise(engine, start)
    engine.dispose()
