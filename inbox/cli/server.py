"""Serving the pages and keeping the schedule until somebody stops it."""

import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, nullcontext
from datetime import datetime
from types import FrameType

import click
from sqlalchemy import Engine

from inbox.cli.log_lines import log_to_standard_error
from inbox.cli.refusing import make_server
from inbox.digest.schedule import scheduler
from inbox.errors import InboxError
from inbox.pipeline.jobs import Jobs
from inbox.pipeline.rounds import Kitchen
from inbox.records import accounts
from inbox.records.engine import make_sessions
from inbox.records.turns import Leadership
from inbox.settings import Settings
from inbox.sparing import spare_collection
from inbox.web.application import create_app

_THREADS = 8
"""Requests served at a time; SQLite lets all of them read and one of them write."""


def serve_site(
    settings: Settings, engine: Engine, *, clock: Callable[[], datetime], sign_in_as: int | None = None
) -> None:
    """Serve until interrupted; on SQLite the schedule is kept beside it.

    Parameters
    ----------
    sign_in_as : int, optional
        Account for which a one-time link is printed; without it the plain address is.

    Raises
    ------
    InboxError
        If the port cannot be listened on.
    """
    with closing(_listen(settings)) as listening:
        log_to_standard_error(settings.log_level)
        port = listening.getsockname()[1]
        address = f"http://{settings.bind}:{port}"
        kitchen = Kitchen(settings)
        app = create_app(settings, engine, clock=clock, kitchen=kitchen)
        server = make_server(app, settings, listening, threads=_THREADS)
        where = address + (_link(engine, sign_in_as, clock()) if sign_in_as is not None else "/")
        click.echo(f"Open {where}\nStop with Ctrl-C.")
        # One process that an owner starts does all; on PostgreSQL there may be several web workers.
        beside = (
            _schedule_beside(settings, engine, clock, kitchen)
            if engine.dialect.name == "sqlite"
            else nullcontext()
        )
        spare_collection()
        with beside, _stopped_by_signals():
            try:
                server.run()
            finally:
                server.close()


@contextmanager
def _schedule_beside(
    settings: Settings, engine: Engine, clock: Callable[[], datetime], kitchen: Kitchen
) -> Iterator[None]:
    """Keep the schedule in threads of this process."""
    with Leadership(engine, settings.folder) as leader:
        jobs = Jobs(settings, engine, leader, clock=clock, kitchen=kitchen)
        kept = scheduler(jobs.all(), zone=settings.zone, clock=clock)
        kept.start()
        try:
            yield
        finally:
            kept.shutdown(wait=True)


def keep_schedule(settings: Settings, engine: Engine, *, clock: Callable[[], datetime]) -> None:
    """Keep the schedule until interrupted; where another process leads, stand by to take over."""
    log_to_standard_error(settings.log_level)
    with Leadership(engine, settings.folder) as leader:
        kept = scheduler(
            Jobs(settings, engine, leader, clock=clock).all(), zone=settings.zone, clock=clock, blocking=True
        )
        click.echo("Keeping the schedule. Stop with Ctrl-C.")
        with _stopped_by_signals():
            try:
                kept.start()
            finally:
                if kept.running:
                    kept.shutdown(wait=True)


@contextmanager
def _stopped_by_signals() -> Iterator[None]:
    """Let SIGTERM end the work as Ctrl-C does: what is under way is finished first."""

    def stop(_number: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    except (KeyboardInterrupt, SystemExit):
        click.echo("Stopped.")
    finally:
        signal.signal(signal.SIGTERM, before)


def _listen(settings: Settings) -> socket.socket:
    listening = socket.socket(socket.AF_INET6 if ":" in settings.bind else socket.AF_INET)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((settings.bind, settings.port))
    except OSError as error:
        listening.close()
        raise InboxError(
            f"Port {settings.port} on {settings.bind} cannot be used ({error.strerror}); "
            "choose another with --port."
        ) from error
    return listening


def _link(engine: Engine, account_id: int, now: datetime) -> str:
    with make_sessions(engine).begin() as session:
        return f"/enter/{accounts.make_link(session, account_id, now=now)}"
