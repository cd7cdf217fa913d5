"""A service that is asked to stop finishes the requests that it is at."""

import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from pathlib import Path

SERVER = """
import sys, time
from pathlib import Path
from datetime import UTC, datetime
from inbox.calendar import last_full_week
from inbox.cli import server
from inbox.records import migrate
from inbox.records.engine import make_sessions, open_engine
from inbox.records.tables_out import DigestRow
from inbox.settings import Settings

given = Settings(folder=Path(sys.argv[1]), port=int(sys.argv[2]))
engine = open_engine(given.engine_url)
migrate.upgrade(engine)
now = datetime.now(UTC)
with make_sessions(engine).begin() as session:  # so that no digest is due, which a stop would wait for
    week = str(last_full_week(now, given.zone))
    session.add(DigestRow(week=week, built_at=now, mailed_at=now, document={"week": week}))
make = server.create_app

def with_slow_page(*arguments, **named):
    app = make(*arguments, **named)
    def slow():
        Path(sys.argv[1], "begun").touch()
        time.sleep(1.5)
        return "done " * 100_000
    app.add_url_rule("/slow", view_func=slow)
    return app

server.create_app = with_slow_page
server.serve_site(given, engine, clock=lambda: datetime.now(UTC))
"""


def test_requests_under_way_are_finished(tmp_path: Path) -> None:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        port = listening.getsockname()[1]
    served = subprocess.Popen(
        [sys.executable, "-c", SERVER, str(tmp_path), str(port)],
        env={**os.environ, "PYTHONPATH": str(Path.cwd())},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    answers: list[tuple[int, int]] = []

    def ask() -> None:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/slow", timeout=30) as answer:
            answers.append((answer.status, len(answer.read())))

    try:
        assert served.stdout is not None
        served.stdout.readline()
        give_up_at = time.monotonic() + 30
        clients = [threading.Thread(target=ask) for _ in range(3)]
        for client in clients:
            client.start()
        while not (tmp_path / "begun").exists() and time.monotonic() < give_up_at:
            time.sleep(0.02)
        time.sleep(0.3)
        served.send_signal(signal.SIGTERM)
        _, said = served.communicate(timeout=40)
        for client in clients:
            client.join(timeout=30)
    finally:
        served.kill()

    assert answers == [(200, 500_000)] * 3
    assert served.returncode == 0, said[-800:]
    assert said.count("route=/slow status=200") == 3
