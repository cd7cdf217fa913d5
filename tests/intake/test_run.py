import json
from datetime import datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, func, select

from inbox.errors import InputError
from inbox.intake.run import BATCH_COUNT, RunResult, import_path
from inbox.intake.sources import ImportOptions
from inbox.records.engine import make_sessions
from inbox.records.tables import IntakeRun, Message, SetAside

MAIL = """From {local}@example.org Mon Nov  2 10:00:0{number} 2026
From: Ada <{local}@example.org>
Message-ID: <{number}@example.org>
Date: Mon, 2 Nov 2026 10:00:0{number} +0000
Subject: Your loaf

I made the lemon loaf and it sank, number {number}.
From the oven it came too early, I think.

"""


def mbox(count: int) -> str:
    return "".join(MAIL.format(local=f"reader{number}", number=number) for number in range(count))


def bring_in(engine: Engine, path: Path, now: datetime, **facts: object) -> RunResult:
    return import_path(make_sessions(engine), path, options=ImportOptions(now=now, **facts))  # type: ignore[arg-type]


def test_mbox_twice_is_once(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    path = tmp_path / "mail.mbox"
    path.write_text(mbox(5))
    first = bring_in(fresh_engine, path, now)
    assert (first.stored, first.already_here, first.set_aside) == (5, 0, 0)
    again = bring_in(fresh_engine, path, now)
    assert (again.stored, again.already_here, again.set_aside) == (0, 5, 0)
    with make_sessions(fresh_engine).begin() as session:
        texts = session.scalars(select(Message.text).order_by(Message.received_at)).all()
        assert texts[0].endswith("From the oven it came too early, I think.")
        assert len(texts) == 5


def test_jsonl_with_bad_lines_adds_up(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    path = tmp_path / "messages.jsonl"
    lines = [json.dumps({"id": 1, "text": "Lovely"}), "{not json", json.dumps({"id": 2}), "[1]", ""]
    path.write_text("\n".join(lines))
    result = bring_in(fresh_engine, path, now)
    assert (result.stored, result.set_aside, result.total) == (1, 3, 4)
    with make_sessions(fresh_engine).begin() as session:
        reasons = session.scalars(select(SetAside.reason).order_by(SetAside.id)).all()
        assert "Line 2 is not JSON" in reasons[0]
        assert "no text" in reasons[1]


def test_cut_import_goes_on_and_ends_as_if_run_once(
    fresh_engine: Engine, tmp_path: Path, now: datetime
) -> None:
    count = 2 * BATCH_COUNT + 7
    path = tmp_path / "mail.mbox"
    path.write_text(mbox(count))

    class CutError(Exception):
        pass

    def cut(done: int, of: int | None) -> None:
        if done == 2 * BATCH_COUNT:
            raise CutError

    with pytest.raises(CutError):
        import_path(make_sessions(fresh_engine), path, options=ImportOptions(now=now), progress=cut)
    result = bring_in(fresh_engine, path, now)
    assert (result.stored, result.already_here, result.total) == (count, 0, count)
    with make_sessions(fresh_engine).begin() as session:
        assert session.scalar(select(func.count()).select_from(IntakeRun)) == 1
        assert session.scalar(select(func.count()).select_from(Message)) == count


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("empty.mbox", b"", "is empty"),
        ("photo.csv", b"\xff\xd8\xff\xe0" + b"\x00" * 50, "a picture"),
        ("page.html", b"<!DOCTYPE html><html></html>", "a web page"),
        ("list.json", b'[{"text": "x"}]', "one JSON list"),
        ("blob.bin", b"\x01\x02\x00\x03abc", "not a text file"),
        ("short.bin", b"\x00\x01\x02\x00", "not a text file"),
        ("control.csv", b"a\x01b,c\n1,2\n", "not a text file"),
    ],
)
def test_wrong_file_is_refused_in_one_sentence(
    fresh_engine: Engine, tmp_path: Path, now: datetime, name: str, content: bytes, sentence: str
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InputError, match=sentence):
        bring_in(fresh_engine, path, now)


def test_missing_file_is_refused(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    with pytest.raises(InputError, match="There is no file"):
        bring_in(fresh_engine, tmp_path / "gone.mbox", now)
