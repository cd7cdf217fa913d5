"""No reader's words or addresses in the log, and nothing in a line that could forge another (ASVS 16.4.1)."""

import io
import logging
import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from inbox.cli.log_lines import OneLine
from inbox.digest.schedule import Job, once, scheduler
from inbox.errors import InboxError
from inbox.intake.run import import_path
from inbox.pipeline.long_work import ask, do_next
from inbox.pipeline.sources import import_options
from inbox.records.engine import make_sessions
from inbox.records.tables import Reader
from inbox.records.tables_out import LongWork, Reply
from inbox.replies.compose import sender_of
from inbox.replies.sending import send_due
from inbox.settings import Settings
from inbox.web.application import create_app
from tests.makers import THEN, make_message, make_reader

WORDS = "zanzibarred"
ADDRESS = "xanthippe@example.org"
MARKS = (WORDS, "anthippe", "192.0.2.77", "curl/9.9")
LINE = re.compile(r"request id=[0-9a-f]{16} method=[A-Z]+ route=\S+ status=\d{3} ms=\d+$")


@pytest.fixture
def lines() -> Iterator[io.StringIO]:
    """Everything that any logger says, as the service writes it."""
    out = io.StringIO()
    listening = logging.StreamHandler(out)
    listening.setFormatter(OneLine())
    root = logging.getLogger()
    before = root.level
    root.addHandler(listening)
    root.setLevel(logging.DEBUG)
    yield out
    root.removeHandler(listening)
    root.setLevel(before)


def quiet(lines: io.StringIO) -> list[str]:
    said = lines.getvalue()
    assert [mark for mark in MARKS if mark in said] == []
    return said.splitlines()


def test_an_import_a_form_and_a_reply_say_nothing_of_the_reader(
    lines: io.StringIO, fresh_engine: Engine, settings: Settings, now: datetime, tmp_path: Path
) -> None:
    sessions = make_sessions(fresh_engine)
    letters = tmp_path / "letters.jsonl"
    letters.write_text(
        f'{{"text": "It {WORDS}.", "email": "{ADDRESS}", "name": "Xanthippe"}}\nnot json {WORDS} {ADDRESS}\n'
    )
    assert import_path(sessions, letters, options=import_options(settings, now=now)).set_aside == 1

    moment = [now]
    client = create_app(settings, fresh_engine, clock=lambda: moment[0]).test_client()
    seen = {"REMOTE_ADDR": "192.0.2.77", "HTTP_USER_AGENT": "curl/9.9"}
    stamp = client.get("/f/ask", environ_base=seen).text.split('name="stamp" value="')[1].split('"')[0]
    moment[0] += timedelta(seconds=20)
    fields = {"stamp": stamp, "text": WORDS, "email": ADDRESS, "reply_wanted": "yes"}
    assert client.post("/f/ask", data=fields, environ_base=seen).status_code == 303
    assert client.post("/f/ask", data={**fields, "email": f"{ADDRESS} "}).status_code in (303, 422)
    client.get(f"/f/{WORDS}?from={ADDRESS}", environ_base=seen)
    client.get(f"/unsubscribe/{WORDS}")
    client.post("/sign-in", data={"name": "Xanthippe", "password": WORDS})

    with sessions.begin() as session:
        _waiting_reply(session)
    given = Settings(folder=settings.folder, owner_email="owner@kitchen.example")
    sent = []
    send_due(sessions, sent.append, now=now, sender=sender_of(given), daily_limit=9)
    assert len(sent) == 1

    said = quiet(lines)
    assert sum(1 for line in said if LINE.search(line)) == 6
    assert any("route=/unsubscribe/<token>" in line for line in said)


def _waiting_reply(session: Session) -> None:
    reader = make_reader(session, name="Xanthippe", email=f"second.{ADDRESS}")
    message = make_message(session, reader_id=reader.id, text=WORDS)
    session.add(
        Reply(
            message_id=message.id,
            reader_id=reader.id,
            state="waiting",
            to_address=reader.email,
            subject=f"Re: {WORDS}",
            body=f"Dear Xanthippe, it {WORDS}.",
            rfc_message_id="one@kitchen.example",
            created_at=THEN,
            changed_at=THEN,
            pressed_at=THEN,
            leaves_at=THEN,
        )
    )


def test_an_error_of_the_ledger_does_not_carry_the_values(fresh_engine: Engine) -> None:
    sessions = make_sessions(fresh_engine)
    with sessions() as session:
        make_reader(session, email=ADDRESS)
        session.add(Reader(email=ADDRESS, name=WORDS, first_seen_at=THEN))
        with pytest.raises(DBAPIError) as caught:
            session.flush()

    assert ADDRESS not in str(caught.value)
    assert WORDS not in str(caught.value)


def test_mistakes_of_pages_jobs_and_work_are_named_without_their_words(
    lines: io.StringIO, fresh_engine: Engine, settings: Settings, now: datetime
) -> None:
    def broken(*_: object) -> str:
        raise RuntimeError(f"{ADDRESS} wrote {WORDS}")

    app = create_app(settings, fresh_engine, clock=lambda: now)
    app.add_url_rule("/broken", view_func=broken)
    answer = app.test_client().get("/broken")
    sessions = make_sessions(fresh_engine)
    assert not once(sessions, "digest", "2026-W47", broken, by="one", now=now)  # type: ignore[arg-type]
    scheduler([Job("alert", 60, broken)], zone=settings.zone, clock=lambda: now).get_job("alert").func()
    with sessions.begin() as session:
        work_id = ask(session, "broken", {}, now=now)
    do_next(sessions, {"broken": broken}, clock=lambda: now)
    logging.getLogger("somebody.elses").exception("it broke", exc_info=_raised(broken))

    said = quiet(lines)
    mistakes = [line for line in said if "RuntimeError at test_quiet_logs.py:" in line]
    assert len(mistakes) == 4
    assert f"request id={answer.headers['X-Request-Id']}" in mistakes[0]
    with sessions() as session:
        assert WORDS not in str(session.get_one(LongWork, work_id).trouble)


def _raised(broken: object) -> BaseException:
    try:
        broken()  # type: ignore[operator]
    except RuntimeError as error:
        return error
    raise AssertionError


@pytest.mark.parametrize("steering", ["\n", "\r\n", "\x1b[2J", "\u2028", "\u202e", "\x00", "\x85"])
def test_a_line_cannot_be_forged(lines: io.StringIO, steering: str) -> None:
    logging.getLogger("waitress").info("asked for %s", f"/x{steering}2026-11-25 ERROR forged")

    (line,) = lines.getvalue().split("\n")[:-1]
    assert steering not in line
    assert "forged" in line


def test_errors_of_our_own_still_say_what_to_do(fresh_engine: Engine, now: datetime) -> None:
    def work() -> None:
        raise InboxError("The outbox cannot be written; check its permissions.")

    sessions = make_sessions(fresh_engine)
    assert not once(sessions, "digest", "2026-W47", work, by="one", now=now)


def test_the_requests_number_is_ours(fresh_engine: Engine, settings: Settings) -> None:
    client = create_app(settings, fresh_engine).test_client()
    answer = client.get("/healthz", headers={"X-Request-Id": "forged"})

    assert re.fullmatch(r"[0-9a-f]{16}", answer.headers["X-Request-Id"])
    assert answer.headers["X-Request-Id"] != client.get("/healthz").headers["X-Request-Id"]
