"""kill -9 at random moments loses nothing that was accepted, and leaves nothing half-stored.

A plain run kills a few times; with INBOX_TESTS_REQUIRE=all, as in `.ci/run`, a hundred
times on SQLite and thirty on PostgreSQL.
"""

import email
import http.client
import multiprocessing
import os
import random
import re
import socket
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import timedelta
from html import unescape
from pathlib import Path
from urllib.parse import urlencode

import pytest
from sqlalchemy import select

from inbox.intake.run import import_path
from inbox.pipeline.read import read_messages
from inbox.pipeline.sources import import_options
from inbox.records import migrate
from inbox.records.check import check_ledger
from inbox.records.engine import make_sessions, open_engine
from inbox.records.tables import Message
from inbox.records.tables_out import DigestRow, Reply
from inbox.settings import Settings
from tests.conftest import NOW
from tests.makers import make_message, make_reader
from tests.pipeline.test_read import LiteralReader
from tests.trust import victims

ALL = os.environ.get("INBOX_TESTS_REQUIRE") == "all"
CLIENTS = 3
FIELD = re.compile(r'name="stamp" value="([^"]+)"')


@dataclass
class Writers:
    """Several readers who send forms as long as the server answers."""

    port: int
    host: str = "127.0.0.1"
    thanked: list[str] = field(default_factory=list)
    stopped: threading.Event = field(default_factory=threading.Event)
    count: int = 0

    def write(self, name: str) -> None:
        while not self.stopped.is_set():
            self.count += 1
            words = f"Reader {name} wrote number {self.count} at {time.monotonic_ns()}."
            try:
                if self.send(words):
                    self.thanked.append(words)
            except (OSError, http.client.HTTPException):
                time.sleep(0.02)

    def send(self, words: str) -> bool:
        """Fill the form in as a browser does; True once the thank-you page was seen."""
        connection = http.client.HTTPConnection(self.host, self.port, timeout=5)
        try:
            connection.request("GET", "/f/general")
            stamp = FIELD.search(connection.getresponse().read().decode())
            if stamp is None:
                return False
            body = urlencode({"text": words, "stamp": unescape(stamp[1])})
            kind = {"Content-Type": "application/x-www-form-urlencoded"}
            connection.request("POST", "/f/general", body, kind)
            answer = connection.getresponse()
            answer.read()
            if answer.status != 303:
                return False
            connection.request("GET", answer.headers["Location"])
            return b"hank" in connection.getresponse().read()
        finally:
            connection.close()


def prepare(settings: Settings) -> None:
    """A ledger with replies that wait to go."""
    engine = open_engine(settings.engine_url)
    migrate.upgrade(engine)
    with make_sessions(engine).begin() as session:
        for number in range(victims.REPLY_COUNT):
            reader = make_reader(session, email=f"kill{number}@example.org")
            message = make_message(session, reader_id=reader.id)
            session.add(
                Reply(
                    message_id=message.id,
                    reader_id=reader.id,
                    state="waiting",
                    to_address=reader.email,
                    subject="Re: your question",
                    body=f"Answer number {number}.",
                    rfc_message_id=f"kill{number}@kitchen.example",
                    created_at=NOW,
                    changed_at=NOW,
                    pressed_at=NOW,
                    leaves_at=NOW - timedelta(days=1),
                )
            )
    engine.dispose()


def free_port() -> int:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return int(listening.getsockname()[1])


def kill_again_and_again(settings: Settings, letters: Path, kills: int) -> list[str]:
    """Start both victims, let readers write, kill both; returns the words whose thanks were seen."""
    processes = multiprocessing.get_context("forkserver")
    processes.set_forkserver_preload(["tests.trust.victims"])
    chance = random.Random(20_261_125)
    writers = Writers(free_port())
    threads = [threading.Thread(target=writers.write, args=(name,)) for name in "abc"[:CLIENTS]]
    for thread in threads:
        thread.start()
    for _ in range(kills):
        before = len(writers.thanked)
        web = processes.Process(target=victims.serve, args=(settings, writers.port), daemon=True)
        worker = processes.Process(target=victims.work, args=(settings, letters), daemon=True)
        web.start()
        worker.start()
        give_up_at = time.monotonic() + 30
        while len(writers.thanked) == before and time.monotonic() < give_up_at:
            time.sleep(0.01)
        time.sleep(chance.uniform(0.0, 0.4))
        for victim in (web, worker):
            victim.kill()
            victim.join()
    writers.stopped.set()
    for thread in threads:
        thread.join()
    return writers.thanked


def look_after(settings: Settings, letters: Path, thanked: list[str]) -> None:
    """Finish what was cut, then count everything."""
    engine = open_engine(settings.engine_url)
    sessions = make_sessions(engine)
    result = import_path(sessions, letters, options=import_options(settings, now=NOW))
    read_messages(sessions, LiteralReader(), now=NOW)
    with sessions() as session:
        texts = Counter(session.scalars(select(Message.text)))
        sent = session.scalars(select(Reply.rfc_message_id).where(Reply.state == "sent")).all()
        doubtful = session.scalars(select(Reply.rfc_message_id).where(Reply.state == "sending")).all()
        digests = session.scalars(select(DigestRow.document)).all()
        findings = [finding for finding in check_ledger(session) if finding.check != "nothing stuck"]
    engine.dispose()

    assert [words for words in thanked if texts[words] != 1] == []
    imported = [count for text, count in texts.items() if text.startswith("Imported number")]
    assert imported == [1] * victims.IMPORTED_COUNT
    assert (result.stored + result.already_here, result.set_aside) == (victims.IMPORTED_COUNT, 0)
    assert all(digest["week"] for digest in digests)
    assert findings == []
    letters_out = [
        email.message_from_bytes(path.read_bytes())["Message-ID"].strip("<>")
        for path in settings.outbox_folder.rglob("*.eml")
    ]
    assert max(Counter(letters_out).values(), default=0) <= 1
    assert set(sent) <= set(letters_out) <= set(sent) | set(doubtful)


IMPORTS = """
import sys
from pathlib import Path
from inbox.settings import Settings
from tests.trust import victims
victims.import_alone(Settings(folder=Path(sys.argv[1]), database_url=sys.argv[2]), Path(sys.argv[3]))
"""


def kill_imports(settings: Settings, letters: Path, kills: int) -> None:
    """Kill an import that is read meanwhile, again and again, each time a little later."""
    words = [sys.executable, "-c", IMPORTS, str(settings.folder), settings.database_url or "", str(letters)]
    for number in range(kills):
        with subprocess.Popen(words) as victim:
            with suppress(subprocess.TimeoutExpired):
                victim.wait(1.5 + 2.5 * number / kills)
            victim.kill()


@pytest.mark.slow
def test_an_import_that_is_read_meanwhile_is_killed_on_sqlite(tmp_path: Path) -> None:
    settings = Settings(folder=tmp_path / "data", owner_email="owner@kitchen.example")
    prepare(settings)
    victims.write_letters(tmp_path / "letters.jsonl")

    kill_imports(settings, tmp_path / "letters.jsonl", kills=12 if ALL else 4)

    look_after(settings, tmp_path / "letters.jsonl", [])


@pytest.mark.slow
@pytest.mark.postgres
def test_an_import_that_is_read_meanwhile_is_killed_on_postgresql(
    tmp_path: Path, fresh_postgres_url: str
) -> None:
    settings = Settings(
        folder=tmp_path / "data", database_url=fresh_postgres_url, owner_email="owner@kitchen.example"
    )
    prepare(settings)
    victims.write_letters(tmp_path / "letters.jsonl")

    kill_imports(settings, tmp_path / "letters.jsonl", kills=12 if ALL else 4)

    look_after(settings, tmp_path / "letters.jsonl", [])


@pytest.mark.slow
def test_nothing_accepted_is_lost_on_sqlite(tmp_path: Path) -> None:
    settings = Settings(
        folder=tmp_path / "data", form_posts_an_hour=1_000_000, owner_email="owner@kitchen.example"
    )
    prepare(settings)
    victims.write_letters(tmp_path / "letters.jsonl")

    thanked = kill_again_and_again(settings, tmp_path / "letters.jsonl", kills=100 if ALL else 4)

    assert len(thanked) >= (100 if ALL else 4)
    look_after(settings, tmp_path / "letters.jsonl", thanked)


@pytest.mark.slow
@pytest.mark.postgres
def test_nothing_accepted_is_lost_on_postgresql(tmp_path: Path, fresh_postgres_url: str) -> None:
    settings = Settings(
        folder=tmp_path / "data",
        database_url=fresh_postgres_url,
        form_posts_an_hour=1_000_000,
        owner_email="owner@kitchen.example",
    )
    prepare(settings)
    victims.write_letters(tmp_path / "letters.jsonl")

    thanked = kill_again_and_again(settings, tmp_path / "letters.jsonl", kills=30 if ALL else 3)

    assert len(thanked) >= 3
    look_after(settings, tmp_path / "letters.jsonl", thanked)
