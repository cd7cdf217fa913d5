"""Days on which the ledger cannot be written: the reader hears so, and the words stay in the form."""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from sqlalchemy import Engine, event, func, select

from inbox.digest.schedule import make_due_digests, once
from inbox.records import accounts
from inbox.records.check import check_ledger
from inbox.records.engine import make_sessions, open_engine
from inbox.records.limits import count_tries, note_try
from inbox.records.tables import Message
from inbox.settings import Settings
from inbox.web.application import create_app

WORDS = "My lemon tart was soup. "
LONG = WORDS * 300


class Kitchen:
    """A reader before a form, and a clock that can be moved."""

    def __init__(self, settings: Settings, engine: Engine, now: datetime) -> None:
        self.now, self.engine = now, engine
        self.client: FlaskClient = create_app(settings, engine, clock=lambda: self.now).test_client()

    def open_form(self) -> str:
        return self.client.get("/f/general").text.split('name="stamp" value="')[1].split('"')[0]

    def send(self, stamp: str, text: str = LONG):
        return self.client.post("/f/general", data={"stamp": stamp, "text": text, "name": "Ada"})

    def kept(self) -> list[str | None]:
        """Why each stored message is kept apart; the ledger must be sound."""
        with make_sessions(self.engine)() as session:
            assert check_ledger(session) == []
            return list(session.scalars(select(Message.kept_apart)))


@pytest.fixture
def kitchen(settings: Settings, fresh_engine: Engine, now: datetime) -> Kitchen:
    return Kitchen(settings, fresh_engine, now)


@contextmanager
def each_connection(engine: Engine, pragma: str) -> Iterator[None]:
    """Connections of `engine` under a pragma, for as long as it holds."""

    def limit(opened, _record) -> None:
        opened.execute(pragma)

    engine.dispose()
    event.listen(engine, "connect", limit)
    try:
        yield
    finally:
        event.remove(engine, "connect", limit)
        engine.dispose()


def refused_with_words(answer) -> None:
    assert answer.status_code == 503
    assert "Not taken, please try again" in answer.text
    assert answer.text.count(WORDS.strip()) >= 300
    assert 'value="Ada"' in answer.text


def goes_on(kitchen: Kitchen, stamp: str) -> None:
    """The same form, sent once more, is taken once."""
    assert kitchen.send(stamp).status_code == 303
    assert kitchen.send(stamp).status_code == 303
    assert kitchen.kept() == [None]


def test_a_full_disk(kitchen: Kitchen) -> None:
    stamp = kitchen.open_form()
    kitchen.now += timedelta(seconds=20)
    with kitchen.engine.connect() as connection:
        page_count = connection.exec_driver_sql("PRAGMA page_count").scalar_one()

    with each_connection(kitchen.engine, f"PRAGMA max_page_count = {page_count}"):
        refused_with_words(kitchen.send(stamp))
        assert kitchen.client.get("/f/general").status_code == 200, "looking still works"
    goes_on(kitchen, stamp)


def test_another_program_holds_the_ledger(kitchen: Kitchen) -> None:
    stamp = kitchen.open_form()
    kitchen.now += timedelta(seconds=20)
    with each_connection(kitchen.engine, "PRAGMA busy_timeout = 200"):
        other = open_engine(str(kitchen.engine.url))
        with other.begin():
            refused_with_words(kitchen.send(stamp))
            assert kitchen.client.get("/f/general").status_code == 200
        other.dispose()
    goes_on(kitchen, stamp)


AS_SOMEBODY_ELSE = """
import json, sys
from pathlib import Path
from datetime import datetime, timedelta
from inbox.records.engine import open_engine
from inbox.settings import Settings
from inbox.web.application import create_app
settings = Settings(folder=Path(sys.argv[1]))
client = create_app(settings, open_engine(settings.engine_url)).test_client()
answer = client.post("/f/general", data={"stamp": sys.argv[2], "text": sys.argv[3], "name": "Ada"})
looked = client.get("/f/general")
print(json.dumps({"status": answer.status_code, "text": answer.text, "looked": looked.status_code}))
"""


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="only root can become somebody else")
@pytest.mark.skipif(shutil.which("setpriv") is None, reason="no setpriv to become somebody else with")
def test_a_read_only_folder(kitchen: Kitchen, fresh_engine: Engine) -> None:
    """Served by somebody who may read the folder and not write it."""
    stamp = kitchen.open_form()
    with tempfile.TemporaryDirectory(prefix="readonly-") as name:
        folder = Path(name)
        fresh_engine.dispose()
        shutil.copy(str(fresh_engine.url.database), folder / "ledger.sqlite3")
        (folder / "ledger.sqlite3").chmod(0o444)
        folder.chmod(0o555)
        done = subprocess.run(
            ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", sys.executable, "-c",
             AS_SOMEBODY_ELSE, name, stamp, LONG],
            capture_output=True, text=True, timeout=120, check=False,
            env={"PATH": os.environ["PATH"], "PYTHONPATH": str(Path.cwd()), "HOME": "/nonexistent"},
        )  # fmt: skip
        folder.chmod(0o755)
    if done.returncode and "PermissionError" in done.stderr and "sqlite" not in done.stderr:
        pytest.skip("somebody else may not read the program itself here")
    assert done.returncode == 0, done.stderr[-1000:]
    said = json.loads(done.stdout)
    assert said["status"] == 503
    assert "Not taken, please try again" in said["text"]
    assert WORDS in said["text"]
    assert said["looked"] in (200, 503)
    kitchen.now += timedelta(seconds=20)
    goes_on(kitchen, stamp)


@pytest.mark.parametrize("back", [timedelta(seconds=90), timedelta(hours=3), timedelta(days=400)])
def test_a_clock_that_was_set_back_makes_no_robot_of_a_reader(kitchen: Kitchen, back: timedelta) -> None:
    stamp = kitchen.open_form()
    kitchen.now -= back

    goes_on(kitchen, stamp)


def test_a_clock_that_was_set_back_locks_nobody_out(fresh_engine: Engine, now: datetime) -> None:
    with make_sessions(fresh_engine).begin() as session:
        accounts.create_account(session, "Ines", "owner", "rye and caraway", now=now)
        for _ in range(accounts.TRIES_A_QUARTER_HOUR):
            note_try(session, "sign_in", "here", now=now)
        earlier = now - timedelta(days=400)

        assert count_tries(session, "sign_in", "here", now - timedelta(minutes=15)) == 10
        assert accounts.give_password(session, "Ines", "rye and caraway", "here", now=earlier)


def test_a_clock_that_was_set_back_makes_no_digest_twice(
    settings: Settings, fresh_engine: Engine, now: datetime
) -> None:
    sessions, made = make_sessions(fresh_engine), []
    for moment in (now, now - timedelta(days=3), now - timedelta(hours=1), now):
        make_due_digests(
            sessions,
            lambda week: made.append(str(week)),
            now=moment,
            zone=settings.zone,
            weekday=0,
            hour=7,
            by="one",
        )
        once(sessions, "backup", now.date().isoformat(), lambda: made.append("backup"), by="one", now=moment)

    assert sorted(made) == sorted(set(made))
    with sessions() as session:
        assert session.scalar(select(func.count()).select_from(Message)) == 0
