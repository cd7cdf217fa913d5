"""Eight processes that start at once bring the ledger to its newest form, and each migration runs once."""

import multiprocessing
import re
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from alembic.script import ScriptDirectory

from inbox.records import migrate
from inbox.records.check import check_ledger
from inbox.records.engine import make_sessions, open_engine
from inbox.settings import Settings
from tests.postgres import database_of_its_own
from tests.records import starters
from tests.records.test_upgrade import QUESTIONS, ROWS, earlier_forms

EIGHT = 8


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def empty_place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Settings]:
    """Settings of an installation whose database has no tables yet."""
    with ExitStack() as stack:
        url = ""
        if request.param == "postgres":
            url = stack.enter_context(database_of_its_own(request.getfixturevalue("postgres_url")))
        yield Settings(folder=tmp_path / "data", database_url=url)


def start_eight(settings: Settings, log: Path) -> list[str]:
    """Start them at once; returns the migrations that were run, in their order."""
    log.touch()
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.records.starters"])
    start = context.Barrier(EIGHT)
    started = [context.Process(target=starters.run, args=(settings, str(log), start)) for _ in range(EIGHT)]
    for one in started:
        one.start()
    for one in started:
        one.join(120)

    assert [one.exitcode for one in started] == [0] * EIGHT
    return re.findall(r"^Running upgrade \S* ?-> (\w+)", log.read_text(), re.MULTILINE)


def all_migrations() -> list[str]:
    """Names of the migrations, oldest first."""
    return [script.revision for script in ScriptDirectory.from_config(migrate._config()).walk_revisions()][
        ::-1
    ]


def test_they_make_an_empty_ledger_once(empty_place: Settings, tmp_path: Path) -> None:
    assert start_eight(empty_place, tmp_path / "log") == all_migrations()

    engine = open_engine(empty_place.engine_url)
    assert migrate.differences(engine) == []
    engine.dispose()


def test_they_raise_a_ledger_of_the_oldest_form_once_and_keep_its_rows(
    empty_place: Settings, tmp_path: Path
) -> None:
    oldest = earlier_forms()[0]
    engine = open_engine(empty_place.engine_url)
    migrate.upgrade(engine, oldest)
    with engine.begin() as connection:
        for row in ROWS:
            connection.exec_driver_sql(row)
    engine.dispose()

    later = all_migrations()
    assert start_eight(empty_place, tmp_path / "log") == later[later.index(oldest) + 1 :]
    assert migrate.differences(engine) == []
    with engine.connect() as connection:
        assert {asked: connection.exec_driver_sql(asked).scalar_one() for asked in QUESTIONS} == QUESTIONS
    with make_sessions(engine)() as session:
        assert check_ledger(session) == []
    engine.dispose()
