"""An application over a ledger of its own, with nobody, a helper and the owner at the door."""

import shutil
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from inbox.records import accounts, migrate
from inbox.records.engine import make_sessions, open_engine, reading_sessions
from inbox.settings import Settings
from inbox.web.application import create_app


@pytest.fixture(scope="session")
def empty_ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ledger file with its tables and nothing in them, to copy."""
    path = tmp_path_factory.mktemp("empty") / "ledger.sqlite3"
    engine = open_engine(f"sqlite:///{path}")
    migrate.upgrade(engine)
    engine.dispose()
    return path


@pytest.fixture
def fresh_engine(tmp_path: Path, empty_ledger: Path) -> Iterator[Engine]:
    """A ledger of its own, copied, which is quicker than migrating anew."""
    (tmp_path / "data").mkdir()
    shutil.copyfile(empty_ledger, tmp_path / "data" / "ledger.sqlite3")
    engine = open_engine(f"sqlite:///{tmp_path}/data/ledger.sqlite3")
    yield engine
    engine.dispose()


@pytest.fixture
def app(fresh_engine: Engine, settings: Settings, now: datetime) -> Flask:
    return create_app(settings, fresh_engine, clock=lambda: now)


@pytest.fixture
def ledger(fresh_engine: Engine) -> Iterator[Session]:
    """The application's ledger; tests commit what pages are to see, and roll back to see anew."""
    with reading_sessions(fresh_engine)() as session:
        yield session


@pytest.fixture
def nobody(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture
def sign_in(app: Flask, fresh_engine: Engine, now: datetime) -> Callable[..., FlaskClient]:
    """Makes an account and a client that is signed in by a one-time link."""

    def make(name: str, role: str) -> FlaskClient:
        with make_sessions(fresh_engine).begin() as session:
            account = accounts.create_account(session, name, role, None, now=now)
            link = accounts.make_link(session, account.id, now=now)
        client = app.test_client()
        assert client.get(f"/enter/{link}").status_code == 303
        return client

    return make


@pytest.fixture
def owner(sign_in: Callable[..., FlaskClient]) -> FlaskClient:
    return sign_in("Ines", "owner")


@pytest.fixture
def helper(sign_in: Callable[..., FlaskClient]) -> FlaskClient:
    return sign_in("Tom", "helper")
