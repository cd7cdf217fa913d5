"""A real Chromium before a real server; skipped with a reason where there is none, required in .ci/run."""

import contextlib
import shutil
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
import waitress
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from inbox.records import accounts, migrate
from inbox.records.engine import make_sessions, open_engine
from inbox.settings import Settings
from inbox.web.application import create_app
from tests.web.filled import fill, fill_findings


@dataclass
class Site:
    """A running server and its ledger."""

    address: str
    engine: Engine
    now: datetime

    def change(self, work: Callable[[Session], object]) -> object:
        """Do something in the ledger and commit it."""
        with make_sessions(self.engine).begin() as session:
            return work(session)

    def link(self, name: str = "Ines") -> str:
        """Address that signs somebody in, once."""

        def make(session: Session) -> str:
            person = next(row for row in accounts.accounts(session) if row.name == name)
            return accounts.make_link(session, person.id, now=datetime.now(UTC))

        return f"{self.address}/enter/{self.change(make)}"


def _serve(folder: Path) -> Iterator[Site]:
    settings = Settings(
        folder=folder, timezone="Europe/London", country="GB", site_name="Second Rise", owner_name="Ines",
        owner_email="ines@example.org", site_url="https://kitchen.example",
    )  # fmt: skip
    engine = open_engine(settings.engine_url)
    migrate.upgrade(engine)
    server = waitress.create_server(create_app(settings, engine), host="127.0.0.1", port=0, threads=4)

    def run() -> None:
        # Closed from another thread, the server may still be waiting on a socket that is gone.
        with contextlib.suppress(OSError):
            server.run()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    yield Site(f"http://127.0.0.1:{server.effective_port}", engine, datetime.now(UTC))
    server.close()
    thread.join(5)
    engine.dispose()


@pytest.fixture
def empty_site(tmp_path: Path) -> Iterator[Site]:
    """A server that nobody has set up."""
    yield from _serve(tmp_path / "data")


@pytest.fixture(scope="session")
def filled_ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ledger file with messages, themes, standings, a digest, and an owner."""
    folder = tmp_path_factory.mktemp("filled")
    settings = Settings(folder=folder, timezone="Europe/London", country="GB", site_name="Second Rise")
    engine = open_engine(settings.engine_url)
    migrate.upgrade(engine)
    now = datetime.now(UTC)
    with make_sessions(engine).begin() as session:
        accounts.create_account(session, "Ines", "owner", "rye and caraway", now=now)
        fill(session, now=now)
        fill_findings(session, settings, now=now)
    engine.dispose()
    return folder / "ledger.sqlite3"


@pytest.fixture
def site(tmp_path: Path, filled_ledger: Path) -> Iterator[Site]:
    """A server over a copy of the filled ledger."""
    (tmp_path / "data").mkdir()
    shutil.copyfile(filled_ledger, tmp_path / "data" / "ledger.sqlite3")
    yield from _serve(tmp_path / "data")
