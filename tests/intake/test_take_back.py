from datetime import datetime

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.intake.deliver import Incoming, Unusable, deliver_all
from inbox.intake.take_back import take_back
from inbox.records.settle import set_hand_label
from inbox.records.tables import IntakeRun, Message, RawItem, Reader, SetAside
from inbox.records.tables_out import Reply
from tests.makers import THEN


def make_run(session: Session, now: datetime, **facts: object) -> IntakeRun:
    run = IntakeRun(**{"door": "mail", "source": "mail.mbox", "started_at": now, **facts})
    session.add(run)
    session.flush()
    return run


def bring_in(session: Session, run: IntakeRun, now: datetime) -> list[int]:
    items = [
        Incoming(
            door="mail",
            channel="email",
            key=f"mail:{number}@x",
            text=f"Message {number} about the loaf",
            email=f"reader{number % 3}@example.org",
            received_at=THEN,
            raw=b"raw",
            rfc_message_id=f"{number}@x",
            in_reply_to=f"{number - 1}@x" if number else None,
        )
        for number in range(6)
    ]
    broken = Unusable(door="mail", place="mail 7", reason="No mail.", raw=b"?")
    ends = deliver_all(session, [*items, broken], run_id=run.id, now=now)
    return [end.message_id for end in ends if end.message_id]


def count(session: Session, table: type) -> int:
    return session.scalar(select(func.count()).select_from(table)) or 0


def test_import_goes_whole(any_session: Session, now: datetime) -> None:
    run = make_run(any_session, now)
    ids = bring_in(any_session, run, now)
    any_session.add(
        Reply(message_id=ids[0], state="draft", subject="Re", body="", created_at=now, changed_at=now)
    )
    any_session.flush()
    result = take_back(any_session, run.id, now=now)
    assert (result.removed, result.set_aside_removed) == (6, 1)
    for table in (Message, RawItem, Reader, SetAside, Reply):
        assert count(any_session, table) == 0
    assert any_session.get_one(IntakeRun, run.id).taken_back_at == now


def test_answered_and_labelled_messages_stay_whole(any_session: Session, now: datetime) -> None:
    run = make_run(any_session, now)
    ids = bring_in(any_session, run, now)
    any_session.add(
        Reply(message_id=ids[1], state="sent", subject="Re", body="Yes.", created_at=now, changed_at=now)
    )
    set_hand_label(any_session, ids[3], "kinds", ["problem"], account_id=None, now=now)
    result = take_back(any_session, run.id, now=now)
    assert (result.removed, result.stayed_answered, result.stayed_labelled) == (4, 1, 1)
    assert "2 stay: 1 were answered, 1 have labels by hand" in result.in_words
    left = list(any_session.scalars(select(Message).order_by(Message.id)))
    assert [message.id for message in left] == [ids[1], ids[3]]
    assert all(message.answers_message_id is None for message in left)
    assert all(message.reader is not None for message in left)


def test_reader_who_wrote_elsewhere_stays(session: Session, now: datetime) -> None:
    first, second = make_run(session, now), make_run(session, now)
    bring_in(session, first, now)
    item = Incoming(door="mail", channel="email", text="Another", email="reader0@example.org", raw=b"other")
    deliver_all(session, [item], run_id=second.id, now=now)
    take_back(session, first.id, now=now)
    assert list(session.scalars(select(Reader.email))) == ["reader0@example.org"]


def test_import_taken_back_can_be_brought_in_again(session: Session, now: datetime) -> None:
    run = make_run(session, now)
    bring_in(session, run, now)
    take_back(session, run.id, now=now)
    assert len(bring_in(session, make_run(session, now), now)) == 6
    assert count(session, Message) == 6


def test_wrong_numbers_are_refused(session: Session, now: datetime) -> None:
    with pytest.raises(NotFoundError):
        take_back(session, 999_999, now=now)
    run = make_run(session, now, taken_back_at=now)
    with pytest.raises(InputError, match="was taken back on 23 November 2026"):
        take_back(session, run.id, now=now)
    with pytest.raises(InputError, match="brought recipes in"):
        take_back(session, make_run(session, now, door="recipes").id, now=now)
