from datetime import datetime

import pytest
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.intake.deliver import Unusable, deliver
from inbox.intake.incoming import SET_ASIDE_LIMIT_BYTES
from inbox.intake.set_aside import count_set_aside, get_set_aside, leave_out, list_set_aside, try_again
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
