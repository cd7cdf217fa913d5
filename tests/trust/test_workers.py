"""Gunicorn's workers share one PostgreSQL, made by whichever of them comes first."""

import os
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from inbox.cli.workers import pages
from inbox.errors import InputError
from tests.trust.test_kill import free_port


def test_sqlite_is_refused_with_what_to_do(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("INBOX_FOLDER", str(tmp_path))
    monkeypatch.delenv("INBOX_DATABASE_URL", raising=False)

    with pytest.raises(InputError, match="second-batch serve"):
        pages()


@pytest.mark.postgres
def test_gunicorn_serves_and_stops(tmp_path: Path, fresh_postgres_url: str) -> None:
    address = f"127.0.0.1:{free_port()}"
    command = f"-m gunicorn -w 2 -b {address} --no-control-socket inbox.cli.workers:pages()"
    served = subprocess.Popen(
        [sys.executable, *command.split()],
        env={**os.environ, "INBOX_FOLDER": str(tmp_path), "INBOX_DATABASE_URL": fresh_postgres_url},
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert ready(address)
    finally:
        served.terminate()
        _, said = served.communicate(timeout=60)
    assert served.returncode == 0, said


def ready(address: str) -> bool:
    end = time.monotonic() + 60
    while time.monotonic() < end:
        try:
            with urllib.request.urlopen(f"http://{address}/readyz", timeout=20) as answer:
                return bool(answer.read().startswith(b"ready"))
        except OSError:
            time.sleep(0.2)
    return False
