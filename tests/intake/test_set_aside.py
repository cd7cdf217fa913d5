from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.intake import feed
from inbox.intake.deliver import Incoming, Unusable, deliver
from inbox.intake.feed import poll_feed, read_entry, read_feed
from inbox.intake.fetch import Fetched
from inbox.intake.incoming import SET_ASIDE_LIMIT_BYTES
from inbox.intake.set_aside import count_set_aside, get_set_aside, leave_out, list_set_aside, try_again
from inbox.records.engine import make_sessions
from inbox.records.tables import IntakeRun, Message

TABLE = {
    "heads": ["Comment", "Name"],
    "columns": {"text": "Comment", "name": "Name"},
    "day_first": True,
    "scale": 5.0,
    "zone": "UTC",
    "channel": "comment",
}


def put(session: Session, now: datetime, door: str, raw: bytes, details: object = None) -> int:
    run = IntakeRun(door="mail", source="x", started_at=now, set_aside_count=1)
    session.add(run)
    session.flush()
    item = Unusable(door=door, place="row 3", reason="Was broken.", raw=raw, details=details)  # type: ignore[arg-type]
    end = deliver(session, item, run_id=run.id, now=now)
    assert end.set_aside_id is not None
    return end.set_aside_id


@pytest.mark.parametrize(
    ("door", "raw", "details", "text"),
    [
        ("mail", b"From: ada@example.org\n\nIt sank.\n", None, "It sank."),
        ("jsonl", b'{"text": "It sank."}', None, "It sank."),
        ("mailbox", b"From: ada@example.org\n\nIt sank.\n", None, "It sank."),
        ("feed", b'{"id": "1", "content": [{"value": "It sank."}]}', None, "It sank."),
        ("table", b"It sank.,Ada\n", TABLE, "It sank."),
        ("table", b'{"Comment": "It sank."}', TABLE, "It sank."),
    ],
)
def test_item_that_can_now_be_read_is_taken_in(
    session: Session, now: datetime, door: str, raw: bytes, details: object, text: str
) -> None:
    number = put(session, now, door, raw, details)
    result = try_again(session, number, now=now)
    assert session.get_one(Message, result.message_id).text == text
    row = get_set_aside(session, number)
    assert row.taken_in_at == now
    run = session.get_one(IntakeRun, row.run_id)
    assert (run.stored_count, run.set_aside_count) == (1, 0)
    assert list_set_aside(session) == []
    with pytest.raises(InputError, match="taken in already"):
        try_again(session, number, now=now)


def test_every_door_that_sets_aside_can_be_tried_again(session: Session, now: datetime) -> None:
    """A door without a way back would give the old reason again; each says what it finds today."""
    for door in ("mail", "mailbox", "jsonl", "feed"):
        number = put(session, now, door, f'{{"door": "{door}"'.encode())
        assert try_again(session, number, now=now).reason != "Was broken.", door


FEED = b"""<feed xmlns="http://www.w3.org/2005/Atom"><id>f</id>
<entry><id>1</id><published>2026-11-02T10:00:00Z</published><title>Loaf</title></entry>
<entry><id>2</id><published>2026-11-03T10:00:00Z</published><content>It sank.</content></entry></feed>"""


def test_feed_entry_keeps_its_moment_and_its_key(
    session: Session, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    empty, full = read_feed(FEED, name="feed.xml")
    assert isinstance(read_entry(full), Incoming)
    item = read_entry(empty)
    assert isinstance(item, Unusable)
    number = deliver(session, item, run_id=None, now=now).set_aside_id
    assert number is not None
    assert "no text" in str(try_again(session, number, now=now).reason)
    # As after an upgrade that finds words in an entry's title.
    monkeypatch.setattr(feed, "_text", lambda values: (values["title"], None))
    taken = session.get_one(Message, try_again(session, number, now=now).message_id)
    assert (taken.text, taken.key) == ("Loaf", "feed:1")
    assert taken.received_at == datetime(2026, 11, 2, 10, tzinfo=UTC)


def test_polled_entry_without_words_is_set_aside_once(fresh_engine: Engine, now: datetime) -> None:
    sessions = make_sessions(fresh_engine)
    page = Fetched("https://k.example/feed", 200, body=FEED)
    run_id = poll_feed(sessions, page.url, fetch=lambda _url, _headers: page, now=now)
    again = poll_feed(sessions, page.url, fetch=lambda _url, _headers: page, now=now)
    assert again is None, "what is here or set aside already is nothing new"
    with sessions() as session:
        run = session.get_one(IntakeRun, run_id)
        assert (run.position, run.stored_count, run.set_aside_count) == (2, 1, 1)
        assert count_set_aside(session) == 1


def test_item_that_cannot_stays_with_its_reason(session: Session, now: datetime) -> None:
    number = put(session, now, "jsonl", b"{broken")
    result = try_again(session, number, now=now)
    assert result.message_id is None
    assert "is not JSON" in str(result.reason)
    assert count_set_aside(session) == 1


def test_item_left_out_is_kept_and_not_shown(session: Session, now: datetime) -> None:
    number = put(session, now, "jsonl", b"{broken")
    leave_out(session, number, now=now)
    assert count_set_aside(session) == 0
    assert get_set_aside(session, number).raw == b"{broken"


def test_beginning_alone_is_not_tried(session: Session, now: datetime) -> None:
    number = put(session, now, "jsonl", b"x" * (SET_ASIDE_LIMIT_BYTES + 1))
    with pytest.raises(InputError, match="Only the beginning"):
        try_again(session, number, now=now)


def test_unknown_number_is_said(session: Session, now: datetime) -> None:
    with pytest.raises(NotFoundError, match="no set-aside item 12345"):
        leave_out(session, 12345, now=now)
