"""Processes that are killed: a web server, and a worker that imports, reads, judges, freezes and sends.

They run the program's own functions on a real ledger; only the model is a literal
one, since what is killed here is the storing, not the reading.
"""

import json
import logging
import socket
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import waitress
from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from inbox.calendar import Week
from inbox.digest.build import freeze, site_of
from inbox.intake.run import import_path
from inbox.pipeline.judge import judge_recipes
from inbox.pipeline.read_along import read_along
from inbox.pipeline.sources import import_options
from inbox.pipeline.weekly import caution_words
from inbox.records.engine import make_sessions, open_engine
from inbox.records.tables_out import Reply
from inbox.replies.compose import sender_of
from inbox.replies.post import mailer_of
from inbox.replies.sending import send_due
from inbox.settings import Settings
from inbox.web.application import create_app
from tests.pipeline.test_read import LiteralReader

IMPORTED_COUNT = 1_200
REPLY_COUNT = 300
FIRST_WEEK = Week.parse("2025-W01")


def serve(settings: Settings, port: int) -> None:
    """Serve the pages until killed."""
    logging.disable(logging.CRITICAL)
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listening.bind(("127.0.0.1", port))
    app = create_app(settings, open_engine(settings.engine_url))
    waitress.create_server(app, sockets=[listening], threads=4).run()


def work(settings: Settings, letters: Path) -> None:
    """Import, read, judge, freeze a digest and send replies, over and over until killed."""
    logging.disable(logging.CRITICAL)
    sessions = make_sessions(open_engine(settings.engine_url))
    week = FIRST_WEEK
    while True:
        week = work_once(settings, sessions, letters, week)


def work_once(settings: Settings, sessions: sessionmaker[Session], letters: Path, week: Week) -> Week:
    """One round of everything; returns the week that is next."""
    now = datetime.now(UTC)
    send_due(sessions, mailer_of(settings), now=now, sender=sender_of(settings), daily_limit=10_000)
    import_and_read(settings, sessions, letters)
    with sessions.begin() as session:
        judge_recipes(session, settings, now=now)
    with sessions.begin() as session:
        freeze(session, week, site=site_of(settings), caution=caution_words(settings), now=now)
    return Week.holding(week.monday + timedelta(days=7))


def import_and_read(settings: Settings, sessions: sessionmaker[Session], letters: Path) -> None:
    """Bring the letters in, and read them meanwhile by processes of their own where there may be some."""
    now = datetime.now(UTC)

    def bring_in(go_on: Callable[[], None]) -> None:
        options = import_options(settings, now=now)
        import_path(sessions, letters, options=options, progress=lambda _done, _of: go_on())

    read_along(sessions, LiteralReader, bring_in, now=now, processes=2, progress=lambda _done, _of: None)


def import_alone(settings: Settings, letters: Path) -> None:
    """The same in a process that does nothing else."""
    import_and_read(settings, make_sessions(open_engine(settings.engine_url)), letters)


def write_letters(path: Path) -> None:
    """Messages that the worker imports; each has words of its own."""
    with path.open("w", encoding="utf-8") as file:
        for number in range(IMPORTED_COUNT):
            record = {
                "id": str(number),
                "channel": "comment",
                "received_at": f"2025-0{number % 9 + 1}-11T10:00:00Z",
                "text": f"Imported number {number} has failed in its own way.",
            }
            file.write(json.dumps(record) + "\n")


def waiting_reply_count(settings: Settings) -> int:
    """Replies that still wait to go."""
    engine = open_engine(settings.engine_url)
    with make_sessions(engine)() as session:
        count = len(session.scalars(select(Reply.id).where(Reply.state == "waiting")).all())
    engine.dispose()
    return count
