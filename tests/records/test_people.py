"""Finding readers, and how much each of them wrote."""

from sqlalchemy.orm import Session

from inbox.records.people import find_readers, message_counts
from tests.makers import make_message, make_reader


def test_readers_are_found_by_name_address_or_handle(any_session: Session) -> None:
    ada = make_reader(any_session, name="Ada 50% Rye", email="ada@example.org")
    bram = make_reader(any_session, name=None, email=None, channel="social", handle="bram_bakes")

    assert find_readers(any_session, "50%") == [ada]
    assert find_readers(any_session, "ADA@") == [ada]
    assert find_readers(any_session, "m_b") == [bram]
    assert find_readers(any_session, "", after_id=ada.id) == [bram]


def test_messages_are_counted_by_reader(any_session: Session) -> None:
    ada, bram = make_reader(any_session), make_reader(any_session)
    make_message(any_session, reader_id=ada.id)
    make_message(any_session, reader_id=ada.id)

    assert message_counts(any_session, [ada.id, bram.id]) == {ada.id: 2}
