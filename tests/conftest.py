"""Fixtures that every test may ask for: settings, a ledger, a clock that stands still."""

import os

# One thread for small matrices: on a busy machine several wait for each other (measured: 13 times slower).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from inbox.records import migrate
from inbox.records.engine import open_engine
from inbox.settings import Settings

if TYPE_CHECKING:
    from inbox.pipeline.rounds import Kitchen
    from inbox.themes.likeness import Likeness

NOW = datetime(2026, 11, 23, 9, 0, tzinfo=UTC)
"""A Monday morning."""

CHROMIUM = Path("/usr/bin/chromium")


@pytest.fixture
def now() -> datetime:
    return NOW


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(
        folder=tmp_path / "data", timezone="Europe/London", country="GB", site_name="Test kitchen"
    )


@pytest.fixture(scope="session")
def sqlite_engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    engine = open_engine(f"sqlite:///{tmp_path_factory.mktemp('ledger')}/ledger.sqlite3")
    migrate.upgrade(engine)
    yield engine
    engine.dispose()


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """Address of a real PostgreSQL that lives as long as the tests do."""
    from tests.postgres import start_postgres

    # Not below pytest's own folder: other runs beside this one would clear it away.
    with TemporaryDirectory(prefix="postgres-") as folder, start_postgres(Path(folder)) as url:
        yield url


@pytest.fixture(scope="session")
def postgres_engine(postgres_url: str) -> Iterator[Engine]:
    engine = open_engine(postgres_url)
    migrate.upgrade(engine)
    yield engine
    engine.dispose()


def _rolled_back(engine: Engine) -> Iterator[Session]:
    """A session whose work is undone at the end, commits and all."""
    with engine.connect() as connection:
        transaction = connection.begin()
        session = Session(connection, join_transaction_mode="create_savepoint", expire_on_commit=False)
        yield session
        session.close()
        transaction.rollback()


@pytest.fixture
def session(sqlite_engine: Engine) -> Iterator[Session]:
    """A session on SQLite."""
    yield from _rolled_back(sqlite_engine)


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def any_session(request: pytest.FixtureRequest) -> Iterator[Session]:
    """A session on SQLite and then on PostgreSQL."""
    engine: Engine = request.getfixturevalue(f"{request.param}_engine")
    yield from _rolled_back(engine)


@pytest.fixture
def fresh_engine(tmp_path: Path) -> Iterator[Engine]:
    """A ledger of its own on disk, for tests that commit or start processes."""
    engine = open_engine(f"sqlite:///{tmp_path}/data/ledger.sqlite3")
    migrate.upgrade(engine)
    yield engine
    engine.dispose()


@pytest.fixture(scope="session")
def kitchen(tmp_path_factory: pytest.TempPathFactory) -> "Kitchen":
    """Trained models, made once for all tests."""
    from inbox.pipeline.rounds import Kitchen

    return Kitchen(Settings(folder=tmp_path_factory.mktemp("kitchen")))


@pytest.fixture(scope="session")
def seed_likeness(kitchen: "Kitchen") -> "Likeness":
    """The measure of likeness that the program starts with."""
    return kitchen.likeness()


@pytest.fixture
def fresh_postgres_url(postgres_url: str) -> Iterator[str]:
    """Address of an empty ledger of its own on PostgreSQL."""
    from tests.postgres import ledger_of_its_own

    with ledger_of_its_own(postgres_url) as url:
        yield url


@pytest.fixture(scope="session")
def trained_folder(request: pytest.FixtureRequest) -> Path:
    """Folder with a trained reading model; kept between runs, and trained anew whenever it no longer fits."""
    from inbox.reading.saved import load_or_train

    folder = request.config.cache.mkdir("reading-model")
    load_or_train(folder)
    return folder


@pytest.fixture(scope="session")
def chromium() -> Iterator[object]:
    """Debian's Chromium, driven by Playwright."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _cannot("the package playwright is not installed")
    if not CHROMIUM.exists():
        _cannot(f"there is no {CHROMIUM}")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        yield browser
        browser.close()


def _cannot(reason: str) -> None:
    if os.environ.get("INBOX_TESTS_REQUIRE") == "all":
        pytest.fail(reason)
    pytest.skip(reason)
