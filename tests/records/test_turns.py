"""One process leads, and another takes over when it goes."""

from pathlib import Path

import pytest
from sqlalchemy import Engine, text

from inbox.records.turns import Leadership


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def engine(request: pytest.FixtureRequest) -> Engine:
    engine: Engine = request.getfixturevalue(f"{request.param}_engine")
    return engine


def test_one_leads_and_the_next_takes_over(engine: Engine, tmp_path: Path) -> None:
    with Leadership(engine, tmp_path) as first, Leadership(engine, tmp_path) as second:
        assert first.held()
        assert first.held()
        assert not second.held()

        first.give_up()

        assert second.held()
        assert not first.held()


@pytest.mark.postgres
def test_a_cut_connection_loses_the_lead(postgres_engine: Engine, tmp_path: Path) -> None:
    with Leadership(postgres_engine, tmp_path) as first, Leadership(postgres_engine, tmp_path) as second:
        assert first.held()
        with postgres_engine.connect() as connection:
            connection.execute(
                text(
                    "SELECT pg_terminate_backend(pid) FROM pg_locks "
                    "WHERE locktype = 'advisory' AND pid <> pg_backend_pid()"
                )
            )

        assert not first.held()
        assert second.held()
