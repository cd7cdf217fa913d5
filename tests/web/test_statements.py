"""How many statements each main page asks the ledger; it does not grow with what the ledger holds."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from sqlalchemy import Engine, event, select

from inbox.records import accounts
from inbox.records.engine import make_sessions, open_engine
from inbox.records.search import Position
from inbox.records.tables import Message
from inbox.settings import Settings
from inbox.web.application import create_app
from inbox.web.pages.address import position_text
from tests.bench.pages import NOW, PAGES, fill

SMALL, LARGE = 600, 3_000


@contextmanager
def statements_of(engine: Engine) -> Iterator[list[str]]:
    """Every statement that is executed within."""
    heard: list[str] = []

    def hear(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        heard.append(statement)

    event.listen(engine, "before_cursor_execute", hear)
    try:
        yield heard
    finally:
        event.remove(engine, "before_cursor_execute", hear)


def _filled(folder: Path, empty_ledger: Path, count: int) -> tuple[Engine, FlaskClient, dict[str, str]]:
    folder.mkdir()
    path = folder / "ledger.sqlite3"
    path.write_bytes(empty_ledger.read_bytes())
    engine = open_engine(f"sqlite:///{path}")
    fill(engine, count)
    with make_sessions(engine).begin() as session:
        owner = accounts.create_account(session, "Ines", "owner", None, now=NOW)
        link = accounts.make_link(session, owner.id, now=NOW)
        half = session.scalars(select(Message).where(Message.id == count // 2)).one()
        middle = position_text(Position(half.received_at, half.id))
    client = create_app(Settings(folder=folder), engine, clock=lambda: NOW).test_client()
    assert client.get(f"/enter/{link}").status_code == 303
    return engine, client, {name: path.format(middle=middle, one=count) for name, path in PAGES.items()}


def _counts(folder: Path, empty_ledger: Path, count: int) -> dict[str, int]:
    engine, client, addresses = _filled(folder, empty_ledger, count)
    found = {}
    for name, address in addresses.items():
        with statements_of(engine) as heard:
            assert client.get(address).status_code == 200, address
        found[name] = len(heard)
    engine.dispose()
    return found


@pytest.fixture(scope="module")
def counts(
    tmp_path_factory: pytest.TempPathFactory, empty_ledger: Path
) -> tuple[dict[str, int], dict[str, int]]:
    """Statements of each page on a small and a five times larger ledger."""
    folder = tmp_path_factory.mktemp("statements")
    return (
        _counts(folder / "small", empty_ledger, SMALL),
        _counts(folder / "large", empty_ledger, LARGE),
    )


@pytest.mark.parametrize("name", PAGES)
def test_a_page_asks_no_more_of_a_larger_ledger(
    counts: tuple[dict[str, int], dict[str, int]], name: str
) -> None:
    small, large = counts

    assert large[name] <= small[name] + 3, "where a list is no longer empty: entries, faults, marks"
    assert large[name] <= 25


def test_statements_are_heard(empty_ledger: Path) -> None:
    engine = open_engine(f"sqlite:///{empty_ledger}")
    with statements_of(engine) as heard, engine.connect() as connection:
        connection.exec_driver_sql("SELECT 1")
    engine.dispose()

    assert heard.count("SELECT 1") == 1
