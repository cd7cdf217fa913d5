"""Whatever bytes come: no exception escapes, and the counts add up."""

import io
import json
import shutil
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine, delete
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InputError
from inbox.intake.deliver import deliver_all
from inbox.intake.html_text import read_html
from inbox.intake.mbox import split_mbox
from inbox.intake.mime import MailOptions, read_mail
from inbox.intake.own_words import own_words
from inbox.intake.run import import_path
from inbox.intake.sources import ImportOptions
from inbox.records.engine import make_sessions
from inbox.records.tables import IntakeRun, Message, Reader, SetAside

NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)
MAIL = b"""From ada@example.org Mon Nov  2 10:00:00 2026
From: =?utf-8?q?Ada?= <ada@example.org>
Date: Mon, 2 Nov 2026 10:00:00 +0000
Message-ID: <a@x>
Subject: =?utf-8?b?TG9hZg==?=
MIME-Version: 1.0
Content-Type: multipart/mixed; boundary="b"

--b
Content-Type: text/plain; charset=utf-8; format=flowed; delsp=yes
Content-Transfer-Encoding: quoted-printable

It sank=20
in the middle, =C3=A8.

On 1 Nov 2026, Kitchen <hello@kitchen.example> wrote:
> Dear reader

--b
Content-Type: text/html; charset=iso-8859-1

<p style="display:none">x</p><p>It sank &amp; cracked.</p>
--b
Content-Type: application/octet-stream; name*=utf-8''%e2%82%ac.bin
Content-Transfer-Encoding: base64

AAECAwQFBgcICQ==
--b--

"""
LETTER = MAIL.split(b"\n", 1)[1]


def xlsx() -> bytes:
    """A small workbook."""
    book = openpyxl.Workbook()
    for row in (["id", "Comment", "Stars"], [1, "It sank, twice", 4], [2, "Fine", 5]):
        book.active.append(row)
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


FILES = {
    "mail.mbox": MAIL * 3,
    "mail.eml": LETTER,
    "answers.xlsx": xlsx(),
    "table.csv": b'id,Comment,Name,Date,Stars\n1,"It sank, twice",Ada,2026-11-02,4\n2,Fine,Bo,2026-11-03,5\n',
    "messages.jsonl": b"\n".join(
        json.dumps({"id": number, "text": "It sank", "stars": 4, "hand": {"kinds": ["problem"]}}).encode()
        for number in range(3)
    ),
    "feed.xml": b"""<?xml version="1.0"?><feed xmlns="http://www.w3.org/2005/Atom"><id>x</id>
<entry><id>1</id><title>t</title><updated>2026-11-02T10:00:00Z</updated>
<content>It sank</content></entry></feed>""",
}


@st.composite
def mutated(draw: st.DrawFn, content: bytes) -> bytes:
    """`content` with bytes changed, taken out, put in, or doubled in a few places."""
    changed = bytearray(content)
    for _ in range(draw(st.integers(1, 8))):
        place = draw(st.integers(0, max(len(changed) - 1, 0)))
        length = draw(st.integers(0, 12))
        kind = draw(st.sampled_from(["change", "cut", "insert", "double", "truncate"]))
        if kind == "change":
            changed[place : place + 1] = draw(st.binary(min_size=1, max_size=2))
        elif kind == "cut":
            del changed[place : place + length]
        elif kind == "insert":
            changed[place:place] = draw(
                st.sampled_from([b"\x00", b"\r", b"\n", b'"', b"=?", b"--b\n", b"\xff\xfe", b"<!--"])
            )
        elif kind == "double":
            changed[place:place] = changed[place : place + length]
        else:
            del changed[place:]
    return bytes(changed)


@given(raw=mutated(MAIL))
@settings(max_examples=300, deadline=None)
def test_mail_never_raises(raw: bytes) -> None:
    for piece in split_mbox(io.BytesIO(raw)):
        read_mail(piece.raw, MailOptions(NOW))


@given(raw=st.binary(max_size=400))
@settings(max_examples=200, deadline=None)
def test_any_bytes_never_raise(raw: bytes) -> None:
    read_mail(raw, MailOptions(NOW))
    own_words(raw.decode("latin-1"), is_answer=True)
    read_html(raw.decode("latin-1"))


@pytest.mark.parametrize("name", FILES)
@given(data=st.data())
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_counts_of_any_file_add_up(
    name: str, data: st.DataObject, fresh_engine: Engine, tmp_path: Path
) -> None:
    path = tmp_path / name
    path.write_bytes(data.draw(mutated(FILES[name])))
    counts_add_up(path, make_sessions(fresh_engine))


@given(letters=st.lists(mutated(LETTER), min_size=1, max_size=4))
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_counts_of_a_maildir_add_up(letters: list[bytes], fresh_engine: Engine, tmp_path: Path) -> None:
    folder = tmp_path / "Maildir"
    shutil.rmtree(folder, ignore_errors=True)
    for part in ("cur", "new", "tmp"):
        (folder / part).mkdir(parents=True)
    for number, letter in enumerate(letters):
        (folder / ("cur" if number % 2 else "new") / f"{number}.host:2,S").write_bytes(letter)
    counts_add_up(folder, make_sessions(fresh_engine), held=len(letters))


@given(letters=st.lists(mutated(LETTER), min_size=1, max_size=4), data=st.data())
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_counts_of_a_zip_add_up(
    letters: list[bytes], data: st.DataObject, fresh_engine: Engine, tmp_path: Path
) -> None:
    """Damaged mails in a whole zip, and a damaged zip around whole mails."""
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as packed:
        for number, letter in enumerate(letters):
            packed.writestr(f"{number}.eml", letter)
    content = written.getvalue()
    path = tmp_path / "letters.zip"
    path.write_bytes(data.draw(mutated(content)) if data.draw(st.booleans()) else content)
    counts_add_up(path, make_sessions(fresh_engine))


def counts_add_up(path: Path, sessions: sessionmaker[Session], *, held: int | None = None) -> None:
    """Bring `path` into an emptied ledger, twice: three numbers that add up, and nothing new then."""
    with sessions.begin() as session:
        for table in (Message, SetAside, IntakeRun, Reader):
            session.execute(delete(table))
    try:
        result = import_path(sessions, path, options=ImportOptions(now=NOW, day_first=True))
    except InputError:
        # One sentence that the file cannot be brought in; then nothing was.
        with sessions.begin() as session:
            assert session.query(Message).count() == 0
        return
    with sessions.begin() as session:
        run = session.get_one(IntakeRun, result.run_id)
        assert result.total == run.position
        assert session.query(Message).count() == result.stored
        assert session.query(SetAside).count() == result.set_aside
    assert held in (None, result.total)
    again = import_path(sessions, path, options=ImportOptions(now=NOW, day_first=True))
    assert (again.stored, again.set_aside, again.already_here) == (0, 0, result.total)


@given(raw=mutated(LETTER))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@pytest.mark.postgres
def test_postgresql_takes_what_sqlite_takes(raw: bytes, postgres_engine: Engine) -> None:
    with postgres_engine.connect() as connection:
        transaction = connection.begin()
        with Session(connection, join_transaction_mode="create_savepoint") as session:
            (end,) = deliver_all(session, [read_mail(raw, MailOptions(NOW))], run_id=None, now=NOW)
            assert end.state in ("stored", "set_aside")
        transaction.rollback()
