"""kill -9 in the middle of an import, and again: the same rows as if it had run once."""

import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, func, select

from inbox.intake.run import import_path
from inbox.intake.sources import ImportOptions
from inbox.records import migrate
from inbox.records.engine import make_sessions, open_engine
from inbox.records.tables import IntakeRun, Message, RawItem, Reader
from tests.intake.test_run import mbox

NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)
COUNT = 3000
SCRIPT = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from inbox.intake.run import import_path
from inbox.intake.sources import ImportOptions
from inbox.records.engine import make_sessions, open_engine
sessions = make_sessions(open_engine(sys.argv[1]))
print("begun", flush=True)
import_path(sessions, Path(sys.argv[2]), options=ImportOptions(now=datetime(2026, 11, 23, 9, tzinfo=UTC)),
    progress=lambda done, of: print(done, flush=True))
"""


def rows(engine: Engine) -> list[tuple[str, str, str]]:
    with make_sessions(engine).begin() as session:
        found = session.execute(select(Message.key, Message.text, Reader.email).join(Message.reader))
        return sorted((key, text, str(email)) for key, text, email in found)


@pytest.mark.slow
def test_killed_import_run_again_is_as_if_run_once(fresh_engine: Engine, tmp_path: Path) -> None:
    path = tmp_path / "mail.mbox"
    path.write_text(mbox(COUNT).replace("Date: Mon", "X-Number: 1\nDate: Mon"))
    url = fresh_engine.url.render_as_string()
    for batches in (2, 1):
        process = subprocess.Popen(
            [sys.executable, "-c", SCRIPT, url, str(path)], stdout=subprocess.PIPE, text=True
        )
        assert process.stdout is not None
        for _ in range(batches + 1):
            process.stdout.readline()
        time.sleep(0.02)
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        process.stdout.close()
    with make_sessions(fresh_engine).begin() as session:
        run = session.scalars(select(IntakeRun)).one()
        assert 0 < run.position < COUNT
        assert run.finished_at is None
        assert session.scalar(select(func.count()).select_from(Message)) == run.stored_count == run.position
        assert session.scalar(select(func.count()).select_from(RawItem)) == run.position
    result = import_path(make_sessions(fresh_engine), path, options=ImportOptions(now=NOW))
    assert (result.stored, result.already_here, result.set_aside) == (COUNT, 0, 0)
    killed = rows(fresh_engine)
    assert len(killed) == COUNT

    once = open_engine(f"sqlite:///{tmp_path}/once/ledger.sqlite3")
    migrate.upgrade(once)
    import_path(make_sessions(once), path, options=ImportOptions(now=NOW))
    assert rows(once) == killed
    once.dispose()
