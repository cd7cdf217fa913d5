"""Finding readers and saying that two of them are one."""

import pytest
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.records.people import find_readers, get_reader, join_readers, message_counts
from inbox.records.tables import Reader
from tests.makers import make_message, make_reader


def test_readers_are_found_by_name_address_or_handle(any_session: Session) -> None:
    ada = make_reader(any_session, name="Ada 50% Rye", email="ada@example.org")
    bram = make_reader(any_session, name=None, email=None, channel="social", handle="bram_bakes")

    assert find_readers(any_session, "50%") == [ada]
    assert find_readers(any_session, "ADA@") == [ada]
    assert find_readers(any_session, "m_b") == [bram]
    assert find_readers(any_session, "", after_id=ada.id) == [bram]


def test_a_handle_is_joined_to_an_address(any_session: Session) -> None:
    ada = make_reader(any_session, email="ada@example.org")
    handle = make_reader(any_session, name=None, email=None, channel="social", handle="adabakes")
    make_message(any_session, reader_id=handle.id)

    join_readers(any_session, ada.id, handle.id)

    assert message_counts(any_session, [ada.id]) == {ada.id: 1}
    assert any_session.get(Reader, handle.id) is None
    assert (get_reader(any_session, ada.id).channel, ada.handle) == ("social", "adabakes")


def test_two_addresses_stay_two(session: Session) -> None:
    with pytest.raises(InputError, match="stay two"):
        join_readers(session, make_reader(session).id, make_reader(session).id)
