from datetime import datetime, timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.intake.deliver import deliver
from inbox.intake.second_look import doubtful_pairs, join_readers, keep_both, let_in, make_one
from inbox.records.one_reader import forget
from inbox.records.settle import settle
from inbox.records.tables import Labels, Message, Reader
from inbox.records.tables_out import Reply
from tests.intake.test_deliver import item
from tests.makers import THEN, make_message, make_reader


def doubtful(session: Session, now: datetime) -> tuple[int, int]:
    first = deliver(session, item(key="mail:n@x"), run_id=None, now=now)
    second = deliver(
        session, item(door="table", channel="comment", key="table:3", email=None), run_id=None, now=now
    )
    assert first.message_id is not None
    assert second.message_id is not None
    return first.message_id, second.message_id


def test_pair_that_is_two_is_shown_no_more(session: Session, now: datetime) -> None:
    _, second = doubtful(session, now)
    assert [message.id for message in doubtful_pairs(session)] == [second]
    keep_both(session, second)
    assert list(doubtful_pairs(session)) == []


def test_pair_that_is_one_counts_once_and_stays_so(session: Session, now: datetime) -> None:
    _, second = doubtful(session, now)
    settle(session, [second])
    make_one(session, second)
    assert list(doubtful_pairs(session)) == []
    assert session.get(Labels, second) is None
    assert session.get_one(Message, second).kept_apart == "double"
    again = deliver(
        session, item(door="table", channel="comment", key="table:3", email=None), run_id=None, now=now
    )
    assert (again.state, again.message_id) == ("already_here", second)
    let_in(session, second)
    assert session.get_one(Message, second).kept_apart is None


def test_message_without_a_twin_is_refused(session: Session, now: datetime) -> None:
    message = make_message(session)
    with pytest.raises(InputError, match="no doubtful twin"):
        make_one(session, message.id)
    with pytest.raises(NotFoundError):
        keep_both(session, 987_654)


def test_handle_joins_an_address_when_the_owner_says_so(any_session: Session, now: datetime) -> None:
    ada = make_reader(any_session, email="ada@example.org", first_seen_at=THEN)
    mention = item(
        door="feed", channel="social", key="feed:1", email=None, handle="@ada", text="Lovely loaf",
        received_at=THEN - timedelta(days=9),
    )  # fmt: skip
    deliver(any_session, mention, run_id=None, now=now)
    handle = any_session.scalars(select(Reader).where(Reader.handle == "@ada")).one()
    for reader in (ada, handle):
        any_session.add(
            Reply(reader_id=reader.id, state="sent", subject="x", body="x", created_at=now, changed_at=now)
        )
    any_session.flush()
    join_readers(any_session, ada.id, handle.id)
    assert (ada.email, ada.handle, ada.channel) == ("ada@example.org", "@ada", "social")
    assert ada.first_seen_at == THEN - timedelta(days=9)
    later = item(door="feed", channel="social", key="feed:2", email=None, handle="@ada", text="And scones")
    end = deliver(any_session, later, run_id=None, now=now)
    assert any_session.get_one(Message, end.message_id).reader_id == ada.id
    assert set(any_session.scalars(select(Reply.reader_id))) == {ada.id}


def test_two_addresses_are_not_joined(session: Session) -> None:
    first, second = make_reader(session), make_reader(session)
    with pytest.raises(InputError, match="two addresses"):
        join_readers(session, first.id, second.id)
    with pytest.raises(InputError, match="two different"):
        join_readers(session, first.id, first.id)
    with pytest.raises(NotFoundError):
        join_readers(session, first.id, 987_654)


def test_forgotten_words_do_not_come_back_with_an_old_export(session: Session, now: datetime) -> None:
    first = deliver(session, item(key="mail:n@x", received_at=None), run_id=None, now=now)
    reader_id = session.get_one(Message, first.message_id).reader_id
    assert reader_id is not None
    forget(session, reader_id, now=now)
    again = deliver(
        session, item(key="mail:n@x", received_at=None), run_id=None, now=now + timedelta(days=90)
    )
    assert (again.state, again.message_id) == ("already_here", first.message_id)
    assert session.get_one(Message, first.message_id).text == ""
