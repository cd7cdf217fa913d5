"""Sending against a real SMTP server, cut and killed at each stage: neither lost nor doubled."""

import os
import ssl
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from email import message_from_bytes
from email.policy import default
from pathlib import Path

import pytest
from aiosmtpd.smtp import AuthResult
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from inbox.records.engine import make_sessions
from inbox.records.tables import Reader
from inbox.records.tables_out import Reply
from inbox.replies.post import by_smtp
from inbox.replies.sending import SendResult, doubtful, press_send, send_due, settle_doubtful
from tests.replies.mail_server import port_of, start, taken
from tests.replies.outbox import SENDER, fill, later, make_waiting

ROOT = Path(__file__).parent.parent.parent
CERTIFICATE = Path(__file__).parent / "localhost.pem"
"""Key and certificate of "localhost", made for these tests alone."""


@contextmanager
def server(folder: Path, stage: str = "NEVER", **facts: object) -> Iterator[int]:
    controller = start(folder, stage, "cut", **facts)
    try:
        yield port_of(controller)
    finally:
        controller.stop()


def send(engine: Engine, port: int, now: datetime, **facts: object) -> SendResult:
    given: dict[str, object] = {"encrypted": False, "wait_seconds": 5.0, **facts}
    mailer = by_smtp("127.0.0.1", port, **given)  # type: ignore[arg-type]
    return send_due(make_sessions(engine), mailer, now=now, sender=SENDER, daily_limit=100)


def reply_of(engine: Engine, reply_id: int) -> Reply:
    with Session(engine) as session:
        return session.get_one(Reply, reply_id)


@pytest.mark.parametrize("stage", ["EHLO", "MAIL", "RCPT", "DATA", "TAKEN"])
def test_cut_by_the_server(fresh_engine: Engine, now: datetime, tmp_path: Path, stage: str) -> None:
    (reply_id,) = fill(fresh_engine, now, 1)
    folder = tmp_path / "taken"
    with server(folder, stage) as port:
        result = send(fresh_engine, port, now)
    known_not_gone = stage in ("EHLO", "MAIL", "RCPT")
    assert len(taken(folder)) == (1 if stage == "TAKEN" else 0)
    assert result.put_off == ((reply_id,) if known_not_gone else ())
    assert result.doubtful == (() if known_not_gone else (reply_id,))

    with server(folder) as port:
        again = send(fresh_engine, port, later(now, minutes=30))

    if known_not_gone:
        assert again.sent == (reply_id,)
        assert len(taken(folder)) == 1
    else:
        assert again.sent == ()
        assert len(taken(folder)) == (1 if stage == "TAKEN" else 0)
        reply = reply_of(fresh_engine, reply_id)
        assert (reply.state, "look before you send again" in (reply.trouble or "")) == ("sending", True)


@pytest.mark.parametrize("stage", ["MAIL", "DATA", "TAKEN"])
def test_the_server_is_killed(fresh_engine: Engine, now: datetime, tmp_path: Path, stage: str) -> None:
    (reply_id,) = fill(fresh_engine, now, 1)
    folder = tmp_path / "taken"
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.replies.mail_server", str(folder), stage, "die"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    port = int(process.stdout.readline())
    send(fresh_engine, port, now)
    process.wait(10)
    process.stdout.close()

    with server(folder) as port:
        again = send(fresh_engine, port, later(now, minutes=30))

    assert again.sent == ((reply_id,) if stage == "MAIL" else ())
    assert len(taken(folder)) == (0 if stage == "DATA" else 1)


CLIENT = """
import os, sys
from datetime import datetime
from pathlib import Path
from inbox.records.engine import make_sessions, open_engine
from inbox.replies.post import by_smtp
from inbox.replies.sending import send_due
from tests.replies.outbox import SENDER
Path(sys.argv[3]).write_text(str(os.getpid()))
talk = by_smtp("127.0.0.1", int(sys.argv[2]), encrypted=False)
def mailer(mail):
    talk(mail)
    if sys.argv[5] == "ANSWERED":
        os.kill(os.getpid(), 9)
send_due(make_sessions(open_engine(sys.argv[1])), mailer, now=datetime.fromisoformat(sys.argv[4]),
         sender=SENDER, daily_limit=100)
"""


@pytest.mark.parametrize("stage", ["EHLO", "RCPT", "DATA", "TAKEN", "ANSWERED"])
def test_the_sender_is_killed(fresh_engine: Engine, now: datetime, tmp_path: Path, stage: str) -> None:
    (reply_id,) = fill(fresh_engine, now, 1)
    folder = tmp_path / "taken"
    controller = start(folder, stage, "kill client")
    ended = subprocess.run(
        [
            sys.executable,
            "-c",
            CLIENT,
            str(fresh_engine.url),
            str(port_of(controller)),
            str(folder / "client.pid"),
            now.isoformat(),
            stage,
        ],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        timeout=60,
    )
    controller.stop()
    assert ended.returncode == -9
    assert reply_of(fresh_engine, reply_id).state == "sending"
    after = later(now, minutes=30)

    with server(folder) as port:
        assert send(fresh_engine, port, after).sent == ()
        copies = len(taken(folder))
        assert copies == (1 if stage in ("TAKEN", "ANSWERED") else 0)
        with Session(fresh_engine, expire_on_commit=False) as session, session.begin():
            assert [reply.id for reply in doubtful(session, now=after)] == [reply_id]
            assert "look before you send again" in (session.get_one(Reply, reply_id).trouble or "")
            settle_doubtful(session, reply_id, went_out=copies == 1, now=after)
            if copies == 0:
                press_send(session, reply_id, account_id=None, now=after, hold_minutes=0, sender=SENDER)
        send(fresh_engine, port, after)

    assert len(taken(folder)) == 1
    assert reply_of(fresh_engine, reply_id).state == "sent"


def test_a_refused_address_comes_back_and_is_not_written_to_again(
    fresh_engine: Engine, now: datetime, tmp_path: Path
) -> None:
    with Session(fresh_engine, expire_on_commit=False) as session, session.begin():
        reply = make_waiting(session, now, email="gone@readers.example")
    with server(tmp_path / "taken") as port:
        result = send(fresh_engine, port, now)

    assert result.came_back == (reply.id,)
    kept = reply_of(fresh_engine, reply.id)
    assert (kept.state, kept.came_back_at) == ("came_back", now)
    assert "550 5.1.1 nobody of that name" in (kept.trouble or "")
    with Session(fresh_engine, expire_on_commit=False) as session:
        assert session.get_one(Reader, kept.reader_id).bounced_at == now


def test_come_back_later_is_tried_later_and_given_up_after_days(
    fresh_engine: Engine, now: datetime, tmp_path: Path
) -> None:
    with Session(fresh_engine, expire_on_commit=False) as session, session.begin():
        reply = make_waiting(session, now, email="later@readers.example")
    with server(tmp_path / "taken") as port:
        assert send(fresh_engine, port, now).put_off == (reply.id,)
        assert send(fresh_engine, port, later(now, minutes=4)).put_off == ()
        assert send(fresh_engine, port, later(now, minutes=6)).put_off == (reply.id,)
        assert send(fresh_engine, port, later(now, days=3, hours=1)).put_off == (reply.id,)

    kept = reply_of(fresh_engine, reply.id)
    assert kept.state == "draft"
    assert "451 4.3.2" in (kept.trouble or "")


def test_no_server_stops_the_round_and_loses_nothing(fresh_engine: Engine, now: datetime) -> None:
    ids = fill(fresh_engine, now, 2)

    result = send(fresh_engine, 1, now)

    assert result.trouble is not None
    assert "127.0.0.1:1 cannot be used" in result.trouble
    assert [reply_of(fresh_engine, one).state for one in ids] == ["waiting", "waiting"]


def test_encrypted_and_signed_in(fresh_engine: Engine, now: datetime, tmp_path: Path) -> None:
    (reply_id,) = fill(fresh_engine, now, 1)
    ours = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    ours.load_cert_chain(CERTIFICATE)
    trusting = ssl.create_default_context(cafile=str(CERTIFICATE))

    def let_in(_server: object, _session: object, _envelope: object, _kind: str, given: object) -> AuthResult:
        right = (getattr(given, "login", b""), getattr(given, "password", b"")) == (b"sam", b"flour")
        return AuthResult(success=right, handled=right)

    facts = {"tls_context": ours, "require_starttls": True, "auth_required": True, "authenticator": let_in}
    with server(tmp_path / "taken", **facts) as port:
        plain = send(fresh_engine, port, now)
        assert plain.sent == ()
        stranger = send(fresh_engine, port, later(now, hours=1), encrypted=True, user="sam", password="flour")
        assert "certificate verify failed" in (stranger.trouble or "").lower()
        given = {"encrypted": True, "context": trusting, "user": "sam"}
        wrong = send(fresh_engine, port, later(now, hours=3), password="sugar", **given)
        assert "did not let 'sam' in" in (wrong.trouble or "")
        assert "sugar" not in (wrong.trouble or "")
        result = send(fresh_engine, port, later(now, hours=9), password="flour", **given)

    assert result.sent == (reply_id,)
    assert len(taken(tmp_path / "taken")) == 1


def test_a_password_is_never_sent_in_the_open(fresh_engine: Engine, now: datetime, tmp_path: Path) -> None:
    fill(fresh_engine, now, 1)
    with server(tmp_path / "taken") as port:
        result = send(fresh_engine, port, now, user="sam", password="flour")

    assert "only sent over TLS" in (result.trouble or "")


def test_lines_that_begin_with_a_dot_arrive(fresh_engine: Engine, now: datetime, tmp_path: Path) -> None:
    (reply_id,) = fill(fresh_engine, now, 1)
    with Session(fresh_engine, expire_on_commit=False) as session, session.begin():
        session.get_one(Reply, reply_id).body = "Hello,\n.\n.. two dots\nFrom the oven\nÉclairs"
    with server(tmp_path / "taken") as port:
        send(fresh_engine, port, now)

    mail = message_from_bytes(taken(tmp_path / "taken")[0], policy=default)
    assert mail.get_content().splitlines()[:5] == ["Hello,", ".", ".. two dots", "From the oven", "Éclairs"]
