"""Lines and files that are too large: set aside with a reason, never loaded whole."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, select

from inbox.errors import InputError
from inbox.intake.incoming import SET_ASIDE_LIMIT_BYTES
from inbox.intake.sources import ImportOptions, kind_of, open_source
from inbox.records.engine import make_sessions
from inbox.records.tables import SetAside

NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)
OVERLONG_BYTES = 200_000_000
SCRIPT = """
import resource, sys
from datetime import UTC, datetime
from pathlib import Path
from inbox.intake.run import import_path
from inbox.intake.sources import ImportOptions
from inbox.records.engine import make_sessions, open_engine
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
options = ImportOptions(now=datetime(2026, 11, 23, 9, tzinfo=UTC))
result = import_path(make_sessions(open_engine(sys.argv[1])), Path(sys.argv[2]), options=options)
after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(result.stored, result.set_aside, (after - before) // 1024)
"""


def write(path: Path, before: bytes, after: bytes) -> None:
    """A file with 200 MB in one line."""
    with path.open("wb") as file:
        file.write(before)
        for _ in range(200):
            file.write(b"x" * (OVERLONG_BYTES // 200))
        file.write(after)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "before", "after", "stored"),
    [
        ("messages.jsonl", b'{"text": "first"}\n{"text": "', b'"}\n{"text": "third"}\n', 2),
        ("table.csv", b"Comment,Name\nfirst,Ada\n", b",Bo\nthird,Cy\n", 2),
        (
            "mail.mbox",
            b"From ada@example.org Mon Nov  2 10:00:00 2026\nFrom: ada@example.org\n\n",
            b"\n\nFrom bo@example.org Mon Nov  2 11:00:00 2026\nFrom: bo@example.org\n\nSecond.\n",
            1,
        ),
    ],
)
def test_line_of_200_million_bytes_is_set_aside(
    fresh_engine: Engine, tmp_path: Path, name: str, before: bytes, after: bytes, stored: int
) -> None:
    path = tmp_path / name
    write(path, before, after)
    url = fresh_engine.url.render_as_string()
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, url, str(path)], check=True, capture_output=True, text=True
    )
    path.unlink()
    numbers = [int(number) for number in done.stdout.split()]
    assert numbers[:2] == [stored, 1]
    assert numbers[2] < 190, "the line was held whole"
    with make_sessions(fresh_engine).begin() as session:
        (row,) = session.scalars(select(SetAside)).all()
        assert 0 < len(row.raw) <= SET_ASIDE_LIMIT_BYTES
        assert "kept here" in row.reason


@contextmanager
def powerless() -> Iterator[None]:
    """As somebody who may not read everything, where the tests run as root."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_folders_and_files_that_cannot_be_read_are_said(tmp_path: Path) -> None:
    locked = tmp_path / "box"
    (locked / "cur").mkdir(parents=True)
    path = tmp_path / "mail.mbox"
    path.write_bytes(b"From: ada@example.org\n\nIt sank.\n")
    for place in (locked, path):
        place.chmod(0)
    try:
        with powerless():
            for place in (locked, path, locked / "inside.eml"):
                with pytest.raises(InputError, match="permission denied"):
                    with open_source(place, ImportOptions(now=NOW)):
                        pass
                with pytest.raises(InputError, match="permission denied"):
                    kind_of(place)
    finally:
        locked.chmod(0o700)


def test_folder_without_mail_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds no mail"):
        with open_source(tmp_path, ImportOptions(now=NOW)):
            pass
