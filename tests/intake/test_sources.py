import io
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import openpyxl
import pytest
from sqlalchemy import Engine, select

from inbox.errors import InputError
from inbox.intake.run import RunResult, import_path
from inbox.intake.sources import ImportOptions, recognise
from inbox.intake.table_rows import open_table
from inbox.records.engine import make_sessions
from inbox.records.tables import Message, Reader, SetAside
from inbox.records.tables_out import Reply
from tests.intake.test_run import mbox
from tests.makers import THEN, make_message, make_reader

NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)
EML = b"From: ada@example.org\nMessage-ID: <eml@x>\n\nFrom a single file.\n"


def bring_in(engine: Engine, path: Path, **facts: object) -> RunResult:
    return import_path(make_sessions(engine), path, options=ImportOptions(now=NOW, **facts))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("head", "name", "kind"),
    [
        (mbox(1).encode(), "x", "mbox"),
        (b"From someone\nSubject: x\n\n", "x", "mbox"),
        (EML, "x.txt", "eml"),
        (b"Return-Path: <a@x>\r\nReceived: by x\r\n\r\n", "x", "eml"),
        (b'{"text": "x"}\n', "x.csv", "jsonl"),
        (b"\xef\xbb\xbf{\n", "x", "jsonl"),
        (b"<?xml version='1.0'?><rss/>", "x", "feed"),
        (b"PK\x03\x04....xl/workbook.xml", "x", "xlsx"),
        (b"PK\x03\x04....mail.mbox", "x.zip", "zip"),
        (b"Name,Comment\nFrom: me,to: you\n", "x", "csv"),
        (b"Date: when,Comment\n", "x.csv", "csv"),
        ("Name;Comment\n".encode("utf-16"), "x.csv", "csv"),
    ],
)
def test_kind_is_told_by_content(head: bytes, name: str, kind: str) -> None:
    assert recognise(head, name) == kind


def test_maildir_with_folders_and_eml_files(fresh_engine: Engine, tmp_path: Path) -> None:
    box = tmp_path / "box"
    for part in ("cur", "new", "tmp", ".Sent/cur", ".Sent/new"):
        (box / part).mkdir(parents=True)
    (box / "cur" / "1.host:2,S").write_bytes(EML)
    (box / "new" / "2.host").write_bytes(EML.replace(b"eml@x", b"2@x").replace(b"single", b"second"))
    (box / ".Sent" / "cur" / "3.host:2,S").write_bytes(
        EML.replace(b"eml@x", b"3@x").replace(b"single", b"third")
    )
    (box / "tmp" / "4.host").write_bytes(b"half a mail")
    assert bring_in(fresh_engine, box).stored == 3
    letters = tmp_path / "letters" / "2026"
    letters.mkdir(parents=True)
    (letters / "one.eml").write_bytes(EML)
    (letters / "note.txt").write_bytes(b"no mail")
    result = bring_in(fresh_engine, tmp_path / "letters")
    assert (result.already_here, result.total) == (1, 1)


def test_zip_of_everything(fresh_engine: Engine, tmp_path: Path) -> None:
    path = tmp_path / "takeout.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("Takeout/Mail/All mail.mbox", mbox(3))
        archive.writestr("Takeout/one.eml", EML)
        archive.writestr("../../evil.eml", EML.replace(b"eml@x", b"evil@x").replace(b"single", b"evil"))
        archive.writestr("Takeout/readme.html", "<!doctype html><p>Hello</p>")
        archive.writestr("__MACOSX/one.eml", "x")
    result = bring_in(fresh_engine, path)
    assert (result.stored, result.set_aside, result.total) == (5, 1, 6)
    again = bring_in(fresh_engine, path)
    assert (again.stored, again.already_here) == (0, 6)
    with make_sessions(fresh_engine).begin() as session:
        assert session.scalars(select(SetAside.reason)).one().startswith("Takeout/readme.html is no mail")


def test_damaged_zip_is_refused(fresh_engine: Engine, tmp_path: Path) -> None:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w") as archive:
        archive.writestr("mail.mbox", mbox(3))
    path = tmp_path / "mail.zip"
    path.write_bytes(written.getvalue()[:-30])
    with pytest.raises(InputError, match="damaged zip"):
        bring_in(fresh_engine, path)


def test_own_answers_in_an_archive_spare_a_reply(fresh_engine: Engine, tmp_path: Path) -> None:
    path = tmp_path / "mail.mbox"
    path.write_text(
        "From hello@kitchen.example Tue Nov  3 10:00:00 2026\nFrom: Kitchen <Hello@Kitchen.example>\n"
        "Message-ID: <answer@x>\nIn-Reply-To: <0@example.org>\n"
        "Date: Tue, 3 Nov 2026 10:00:00 +0000\n\nYes.\n\n" + mbox(2)
    )
    result = bring_in(fresh_engine, path, own_addresses=frozenset(("hello@kitchen.example",)))
    assert (result.stored, result.kept_apart) == (3, 1)
    with make_sessions(fresh_engine).begin() as session:
        asked = session.scalars(select(Message).where(Message.key == "mail:0@example.org")).one()
        other = session.scalars(select(Message).where(Message.key == "mail:1@example.org")).one()
        answer = session.scalars(select(Message).where(Message.key == "mail:answer@x")).one()
        assert answer.answers_message_id == asked.id
        assert asked.no_reply_needed_at == datetime(2026, 11, 3, 10, tzinfo=UTC)
        assert other.no_reply_needed_at is None


def test_bounce_of_our_reply_marks_it_and_its_reader(fresh_engine: Engine, tmp_path: Path) -> None:
    with make_sessions(fresh_engine).begin() as session:
        reader = make_reader(session, email="ada@example.org")
        message = make_message(session, reader_id=reader.id)
        session.add(
            Reply(
                message_id=message.id,
                reader_id=reader.id,
                state="sent",
                to_address="ada@example.org",
                subject="Re: loaf",
                body="Yes.",
                rfc_message_id="reply.7@kitchen.example",
                sent_at=THEN,
                created_at=THEN,
                changed_at=THEN,
            )
        )
    path = tmp_path / "bounce.eml"
    path.write_text(
        "From: MAILER-DAEMON@mail.example\nSubject: Undelivered\nMIME-Version: 1.0\n"
        'Content-Type: multipart/report; report-type=delivery-status; boundary="B"\n\n'
        "--B\n\nSorry.\n\n--B\nContent-Type: message/delivery-status\n\nReporting-MTA: dns; x\n\n"
        "Final-Recipient: rfc822; Ada@Example.org\nAction: failed\nStatus: 5.1.1\n"
        "Diagnostic-Code: smtp; 550 no such user\n\n"
        "--B\nContent-Type: text/rfc822-headers\n\nMessage-ID: <reply.7@kitchen.example>\n\n--B--\n"
    )
    result = bring_in(fresh_engine, path)
    assert (result.stored, result.kept_apart) == (1, 1)
    with make_sessions(fresh_engine).begin() as session:
        reply = session.scalars(select(Reply)).one()
        assert (reply.state, reply.trouble, reply.came_back_at) == ("came_back", "550 no such user", NOW)
        assert (
            session.scalars(select(Reader.bounced_at).where(Reader.email == "ada@example.org")).one() == NOW
        )


def test_damaged_file_in_a_zip_costs_that_file(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w") as packed:
        for number in range(3):
            letter = f"From: a{number}@example.org\nSubject: Loaf\n\nIt sank {number}.\n"
            packed.writestr(f"{number}.eml", letter)
    path = tmp_path / "letters.zip"
    path.write_bytes(written.getvalue().replace(b"It sank 1", b"It sang 1"))
    result = import_path(make_sessions(fresh_engine), path, options=ImportOptions(now=now))
    assert (result.stored, result.set_aside) == (2, 1)
    with make_sessions(fresh_engine).begin() as session:
        row = session.scalars(select(SetAside)).one()
        assert row.raw == b"1.eml"
        assert "1.eml cannot be unpacked to its end (Bad CRC-32" in row.reason


def test_workbook_that_breaks_off_is_said(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for number in range(50):
        book.active.append([f"head {number}", "Comment"])
    path = tmp_path / "answers.xlsx"
    book.save(path)
    with zipfile.ZipFile(path) as packed:
        at = packed.getinfo("xl/worksheets/sheet1.xml").header_offset
    content = bytearray(path.read_bytes())
    content[at + 80 : at + 90] = b"\xff" * 10
    path.write_bytes(content)
    with pytest.raises(InputError, match="cannot be read as xlsx"), open_table(path, "xlsx") as table:
        list(table.rows)
