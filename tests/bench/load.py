"""Forms that the real server takes in a second, beside bare commits on the same disk; and that none is lost.

    python -m tests.bench.load                 # 4 clients, 400 forms, at most 30 seconds a database
    python -m tests.bench.load --forms 2000    # longer

The server is a process of its own on 127.0.0.1, started as the killed ones of `tests/trust` are; PostgreSQL
is measured a second time with gunicorn and several workers (`--workers`), as "Moving, backing up, growing" in
DEVELOPERS.md has it, on an empty database of its own. A client
opens the form, sends it, and counts it as taken on the redirect to its thanks; p95 is of the sending alone.
A bare commit is one client that inserts a row of the same words into a table of one column, through the same
driver, into the same database, with the ledger's own settings. Every form that was taken is then looked for.
"""

import argparse
import http.client
import multiprocessing
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from html import unescape
from pathlib import Path
from urllib.parse import urlencode

from sqlalchemy import Engine, select, text

from inbox.records import migrate
from inbox.records.engine import make_sessions, open_engine
from inbox.records.tables import Message
from inbox.settings import Settings
from tests.postgres import database_of_its_own, start_postgres
from tests.trust import victims
from tests.trust.test_kill import FIELD, free_port

FORM_TYPE = {"Content-Type": "application/x-www-form-urlencoded"}
RATIO_BOUND = 0.02
"""Least share of the bare commits: a form is a page, a limit, a message, its raw words and an index entry."""
P95_BOUND_MS = 500
BARE_COMMITS = 300
WORDS = "I baked it twice and the middle sank both times. "


@dataclass
class Clients:
    """Readers who send one form after the other until the count or the time is used up."""

    port: int
    form_count: int
    end: float
    taken: dict[str, float] = field(default_factory=dict)
    """Words whose thanks were seen, and the seconds that sending them took."""
    refused: Counter[str] = field(default_factory=Counter)
    begun: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def next_words(self) -> str | None:
        with self.lock:
            if self.begun >= self.form_count or time.monotonic() > self.end:
                return None
            self.begun += 1
            return f"Form number {self.begun}. {WORDS}"

    def write(self) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        while words := self.next_words():
            try:
                seconds, status = send(connection, words)
            except (OSError, http.client.HTTPException) as error:
                self.refused[type(error).__name__] += 1
                connection.close()
                continue
            if status == 303:
                self.taken[words] = seconds
            else:
                self.refused[str(status)] += 1
        connection.close()


def send(connection: http.client.HTTPConnection, words: str) -> tuple[float, int]:
    """Open the form and send it; seconds from sending to the answer, and the answer's status."""
    connection.request("GET", "/f/general")
    stamp = FIELD.search(connection.getresponse().read().decode())
    if stamp is None:
        raise http.client.HTTPException("the form has no stamp")
    body = urlencode({"text": words, "stamp": unescape(stamp[1])})
    started = time.perf_counter()
    connection.request("POST", "/f/general", body, FORM_TYPE)
    answer = connection.getresponse()
    answer.read()
    return time.perf_counter() - started, answer.status


def bare_commits_a_second(engine: Engine) -> float:
    """One inserted row a commit, in a table that is dropped afterwards."""
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE bare (words TEXT)"))
    started = time.perf_counter()
    for number in range(BARE_COMMITS):
        with engine.begin() as connection:
            connection.execute(text("INSERT INTO bare VALUES (:words)"), {"words": f"{number} {WORDS}"})
    seconds = time.perf_counter() - started
    with engine.begin() as connection:
        connection.execute(text("DROP TABLE bare"))
    return BARE_COMMITS / seconds


def wait_until_up(port: int, is_alive: Callable[[], bool]) -> None:
    end = time.monotonic() + 300
    while time.monotonic() < end and is_alive():
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
        try:
            connection.request("GET", "/readyz")
            if connection.getresponse().status == 200:
                return
        except OSError:
            pass
        finally:
            connection.close()
        time.sleep(0.1)
    raise SystemExit("the server did not come up within 300 seconds")


@contextmanager
def one_process(settings: Settings, port: int) -> Iterator[None]:
    """The server that `second-batch serve` starts."""
    server = multiprocessing.get_context("spawn").Process(
        target=victims.serve, args=(settings, port), daemon=True
    )
    server.start()
    try:
        wait_until_up(port, server.is_alive)
        yield
    finally:
        server.kill()
        server.join()


@contextmanager
def gunicorn(settings: Settings, port: int, workers: int) -> Iterator[None]:
    """Several web workers on PostgreSQL."""
    words = f"-m gunicorn -w {workers} -b 127.0.0.1:{port} --no-control-socket inbox.cli.workers:pages()"
    environment = {
        **os.environ,
        "INBOX_FOLDER": str(settings.folder),
        "INBOX_DATABASE_URL": settings.database_url,
        "INBOX_FORM_POSTS_AN_HOUR": str(settings.form_posts_an_hour),
    }
    with (settings.folder / "gunicorn.log").open("w") as log:
        server = subprocess.Popen([sys.executable, *words.split()], env=environment, stdout=log, stderr=log)
        try:
            wait_until_up(port, lambda: server.poll() is None)
            yield
        finally:
            server.terminate()
            server.wait(60)


def post_forms(port: int, client_count: int, form_count: int, seconds: float) -> tuple[Clients, float]:
    """Let the clients write; what they saw, and the seconds it took."""
    started = time.monotonic()
    clients = Clients(port, form_count, started + seconds)
    threads = [threading.Thread(target=clients.write) for _ in range(client_count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return clients, time.monotonic() - started


def measure(
    name: str, settings: Settings, client_count: int, form_count: int, seconds: float, *, workers: int = 0
) -> bool:
    """Print the figures of one kind of ledger; whether all bounds are held.

    With `workers` the server is gunicorn with so many of them, else one process of our own.
    """
    settings.folder.mkdir()
    engine = open_engine(settings.engine_url)
    migrate.upgrade(engine)
    before = bare_commits_a_second(engine)
    port = free_port()
    with gunicorn(settings, port, workers) if workers else one_process(settings, port):
        clients, took = post_forms(port, client_count, form_count, seconds)
    bare = (before + bare_commits_a_second(engine)) / 2
    with make_sessions(engine)() as session:
        stored = Counter(session.scalars(select(Message.text)))
    engine.dispose()
    lost = sum(stored[words.strip()] == 0 for words in clients.taken)
    twice = sum(count > 1 for count in stored.values())
    rate = len(clients.taken) / took
    waits = sorted(clients.taken.values())
    p95_ms = 1000 * waits[int(0.95 * (len(waits) - 1))] if waits else float("inf")
    print(
        f"{name}: {len(clients.taken)} forms taken of {clients.begun}, "
        f"sent by {client_count} clients, {took:.1f} s"
    )
    print(f"  taken a second   {rate:.0f}; p95 of sending {p95_ms:.0f} ms (bound {P95_BOUND_MS})")
    print(f"  bare commits     {bare:.0f} a second; ratio {rate / bare:.3f} (bound {RATIO_BOUND})")
    print(f"  lost {lost}, stored twice {twice}, refused {dict(clients.refused) or 0}")
    held = rate / bare >= RATIO_BOUND and p95_ms <= P95_BOUND_MS
    return held and bool(waits) and not lost and not twice and not clients.refused


def main() -> int:
    """Measure both kinds of ledger; 1 if a bound is not held."""
    parser = argparse.ArgumentParser(description="How many forms the server takes in a second.")
    parser.add_argument("--clients", type=int, default=4)
    parser.add_argument("--forms", type=int, default=400)
    parser.add_argument("--seconds", type=float, default=30)
    parser.add_argument("--workers", type=int, default=2, help="gunicorn's workers, at most 8")
    asked = parser.parse_args()
    bounded = min(asked.clients, 32), min(asked.forms, 20_000), min(asked.seconds, 300)
    with tempfile.TemporaryDirectory() as passing:
        folder = Path(passing)
        settings = Settings(folder=folder / "sqlite", form_posts_an_hour=1_000_000)
        held = [measure("SQLite, one process", settings, *bounded)]
        with start_postgres(folder / "server") as server:
            for workers in (0, min(max(asked.workers, 1), 8)):
                with database_of_its_own(server) as address:
                    settings = replace(settings, folder=folder / f"{workers}", database_url=address)
                    name = f"PostgreSQL, {f'{workers} workers of gunicorn' if workers else 'one process'}"
                    held.append(measure(name, settings, *bounded, workers=workers))
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
