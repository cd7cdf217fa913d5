"""Two hosts with web workers and a scheduler each, on one PostgreSQL; the one that leads is cut off."""

import os
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory
from zlib import crc32

import pytest
from sqlalchemy import Engine, exists, func, select, text

from inbox.records import migrate
from inbox.records.check import check_ledger
from inbox.records.engine import make_sessions, open_engine
from inbox.records.tables import Message, MessageReading
from inbox.records.tables_out import DigestRow
from tests.trust import victims
from tests.trust.hosts import PORT, Network, a_network, postgres_in

HOSTS = {"east": "10.77.0.2", "west": "10.77.0.3"}
POSTS_AN_HOUR = 30
LETTERS = 100
LEAD = crc32(b"second-batch schedule")  # the lock's number, as inbox.records.turns has it
WRITE = """
import sys
from tests.trust.test_kill import Writers
writers = Writers(8000, sys.argv[1])
for number in range(int(sys.argv[2])):
    words = f"Written to {sys.argv[1]}, number {number} at {__import__('time').monotonic_ns()}."
    if writers.send(words):
        print(words)
"""
SCHEDULE = """
import sys
from pathlib import Path
from inbox.settings import load
from tests.trust.victims import work_while_leading
work_while_leading(load({})[0], Path(sys.argv[1]))
"""
GUNICORN = "-m gunicorn -w 2 -b 0.0.0.0:8000 --no-control-socket inbox.cli.workers:pages()"


def eventually(what: str, holds: Callable[[], bool], seconds: float = 90) -> None:
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, f"not within {seconds} s: {what}"
        time.sleep(0.3)


def readers_write(network: Network, sender: str, host: str, count: int) -> list[str]:
    """Readers at `sender` fill in a host's form; returns the words they were thanked for."""
    call = network.command(sender, sys.executable, "-c", WRITE, HOSTS[host], str(count))
    done = subprocess.run(call, capture_output=True, text=True, timeout=120, check=True)
    return done.stdout.splitlines()


def leading_address(engine: Engine) -> set[str]:
    """Where the schedule is kept, as the database sees it."""
    query = text(
        "SELECT DISTINCT host(client_addr) FROM pg_locks JOIN pg_stat_activity USING (pid)"
        " WHERE locktype = 'advisory' AND objid = :number AND granted"
    )
    with engine.connect() as connection:
        return set(connection.scalars(query, {"number": LEAD}))


@pytest.mark.slow
@pytest.mark.postgres
@pytest.mark.usefixtures("postgres_url")
def test_the_host_that_leads_is_cut_off(tmp_path: Path) -> None:
    letters = tmp_path / "letters.jsonl"
    victims.write_letters(letters, LETTERS)
    with ExitStack() as stack:
        network = stack.enter_context(a_network())
        for name, address in {**HOSTS, "readers": "10.77.0.4", "others": "10.77.0.5"}.items():
            network.add_host(name, address)
        folder = Path(stack.enter_context(TemporaryDirectory(prefix="postgres-")))
        url = stack.enter_context(postgres_in(network, folder))
        engine = open_engine(f"postgresql://postgres@/postgres?host={folder}&port={PORT}")
        stack.callback(engine.dispose)

        def start(host: str, *words: str) -> None:
            environment = {
                **os.environ,
                "INBOX_FOLDER": str(tmp_path / host),
                "INBOX_DATABASE_URL": url,
                "INBOX_FORM_POSTS_AN_HOUR": str(POSTS_AN_HOUR),
            }
            log = stack.enter_context((tmp_path / f"{host}.log").open("a"))
            started = subprocess.Popen(
                network.command(host, sys.executable, *words), env=environment, stdout=log, stderr=log
            )
            stack.callback(started.wait)
            stack.callback(started.terminate)

        for host in HOSTS:  # all at once, on an empty database
            start(host, *GUNICORN.split())
        eventually("the tables are there", lambda: is_made(engine))
        for host in HOSTS:
            start(host, "-c", SCHEDULE, str(letters))
        eventually("one leads", lambda: len(leading_address(engine)) == 1)

        # One sender's posts are counted together, whichever host and worker takes them.
        thanked = readers_write(network, "readers", "east", 20) + readers_write(
            network, "readers", "west", 20
        )
        assert len(thanked) == POSTS_AN_HOUR

        (led_from,) = leading_address(engine)
        cut = next(name for name, address in HOSTS.items() if address == led_from)
        other = next(name for name in HOSTS if name != cut)
        network.cable(cut, "down")
        thanked += readers_write(network, "others", other, 10)
        assert len(thanked) == POSTS_AN_HOUR + 10
        eventually("the other leads", lambda: leading_address(engine) == {HOSTS[other]})
        eventually("the other works", lambda: left_to_do(engine, len(thanked)) == (0, 0))

        network.cable(cut, "up")
        thanked += readers_write(network, "others", cut, 5)
        assert len(thanked) == POSTS_AN_HOUR + 15
        eventually("all is read", lambda: left_to_do(engine, len(thanked)) == (0, 0))
        assert leading_address(engine) == {HOSTS[other]}
        nothing_is_lost_or_twice(engine, thanked)


def nothing_is_lost_or_twice(engine: Engine, thanked: list[str]) -> None:
    with make_sessions(engine)() as session:
        texts = Counter(session.scalars(select(Message.text)))
        digests = session.scalars(select(DigestRow.document)).all()
        findings = [finding for finding in check_ledger(session) if finding.check != "nothing stuck"]
    assert {texts[words] for words in thanked} == {1}
    imported = [count for words, count in texts.items() if words.startswith("Imported number")]
    assert imported == [1] * LETTERS
    assert digests
    assert all(digest["week"] for digest in digests)
    assert findings == []


def is_made(engine: Engine) -> bool:
    return migrate.is_current(engine)


def left_to_do(engine: Engine, form_count: int) -> tuple[int, int]:
    """How many messages wait to be read, and how many are missing."""
    # Forms that are sent as quickly as here are kept apart for the owner to look at, and not read.
    waits = Message.kept_apart.is_(None) & ~exists().where(MessageReading.message_id == Message.id)
    unread = select(func.count()).select_from(Message).where(waits)
    with make_sessions(engine)() as session:
        here = session.scalar(select(func.count()).select_from(Message)) or 0
        return session.scalar(unread) or 0, form_count + LETTERS - here
