"""A reader is given all that is held, and when forgotten leaves no word in any table or file."""

import json
import zlib
from datetime import datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.records.backup import make_backup
from inbox.records.engine import make_sessions
from inbox.records.one_reader import GONE, all_about, as_page, find_reader, forget, wipe_traces
from inbox.records.settle import settle
from inbox.records.tables import Labels, Message, RawItem, Reader, SetAside
from inbox.records.tables_out import Alert, DigestRow, Reply, RequestSketch
from tests.makers import THEN, make_message, make_reader
from tests.records.test_settle import add_reading

SECRET = "Xanthippe's soufflé zanzibarred"
ADDRESS = "xanthippe@example.org"


def held(session: Session) -> Reader:
    """A reader whose words lie in every table that can hold them."""
    reader = make_reader(session, email=ADDRESS, name="Xanthippe")
    message = make_message(session, reader_id=reader.id, text=f"{SECRET} all over my oven.", subject=SECRET)
    add_reading(session, message.id, wants=f"{SECRET} again", hazard_words=["zanzibarred"])
    settle(session, [message.id])
    session.add_all(
        [
            RawItem(
                message_id=message.id, media_type="message/rfc822", packed=zlib.compress(SECRET.encode())
            ),
            DigestRow(
                week="2026-W47",
                built_at=THEN,
                document={"week": "2026-W47", "quotes": [{"words": f"“{SECRET} …”", "count": 3}]},
            ),
            Reply(
                message_id=message.id,
                reader_id=reader.id,
                state="sent",
                to_address=ADDRESS,
                subject=f"Re: {SECRET}",
                body=f"Dear Xanthippe,\n> {SECRET} all over my oven.",
                created_at=THEN,
                changed_at=THEN,
            ),
            Alert(subject=f"hazard:{message.id}", message_id=message.id, words=SECRET, raised_at=THEN),
            RequestSketch(message_id=message.id, made_by="test", packed=SECRET),
            SetAside(
                door="mail",
                place="message 3",
                reason="cut short",
                fingerprint="x",
                raw=f"From: {ADDRESS}\n\n{SECRET}".encode(),
                set_aside_at=THEN,
            ),
        ]
    )
    session.flush()
    return reader


def test_all_that_is_held_is_given(any_session: Session) -> None:
    reader = held(any_session)

    about = all_about(any_session, reader.id)

    assert about["reader"]["email"] == ADDRESS
    assert about["messages"][0]["text"].startswith(SECRET)
    assert about["messages"][0]["read_as"]["kinds"] == ["made_it", "problem"]
    assert about["messages"][0]["original_kept"] is True
    assert about["replies"][0]["to_address"] == ADDRESS
    json.dumps(about)
    assert "Xanthippe&#x27;s soufflé" in as_page(about)


def test_counts_stay_and_words_go(any_session: Session, now: datetime) -> None:
    reader = held(any_session)
    message_id = any_session.scalars(select(Message.id).where(Message.reader_id == reader.id)).one()

    assert forget(any_session, reader.id, now=now) == 1

    assert any_session.get_one(Labels, message_id).outcome == "failed"
    document = any_session.scalars(select(DigestRow.document)).one()
    assert document == {"week": "2026-W47", "quotes": [{"words": GONE, "count": 3}]}
    about = json.dumps(all_about(any_session, reader.id), ensure_ascii=False)
    assert "anthippe" not in about
    assert "zanzibarred" not in about


def test_no_word_is_left_in_any_file(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    sessions = make_sessions(fresh_engine)
    with sessions.begin() as session:
        reader_id = held(session).id
    database = tmp_path / "data"
    assert traces(database), "the words lie in the files before"

    with sessions.begin() as session:
        forget(session, reader_id, now=now)
    wipe_traces(fresh_engine)
    make_backup(fresh_engine, tmp_path / "backups", keep_count=1, now=now)

    assert traces(database) == []
    assert traces(tmp_path / "backups") == []


def traces(folder: Path) -> list[str]:
    """Files below `folder` that hold a word or the address of the reader."""
    marks = (b"zanzibar", b"anthipp")  # stems too, as the search index keeps them
    return [
        path.name
        for path in sorted(folder.rglob("*"))
        if path.is_file() and any(mark in path.read_bytes() for mark in marks)
    ]


@pytest.mark.parametrize("who", [ADDRESS, "XANTHIPPE@example.org"])
def test_reader_is_found_by_address(session: Session, who: str) -> None:
    reader = held(session)

    assert find_reader(session, who).id == reader.id


def test_reader_is_found_by_handle(session: Session) -> None:
    reader = make_reader(session, email=None, channel="social", handle="ada")

    assert find_reader(session, "social:ada").id == reader.id


def test_unknown_reader_is_said_so(session: Session) -> None:
    with pytest.raises(NotFoundError, match=r"no reader .nobody@example\.org."):
        find_reader(session, "nobody@example.org")
