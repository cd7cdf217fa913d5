"""The second look: pairs shown and decided, mail let in, a handle joined; what can be undone is undone."""

import re
from datetime import timedelta

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.records.tables import Message, Reader
from tests.makers import THEN, make_message, make_reader

WORDS = "The rye loaf sank in the middle although it was in the oven for an hour."


@pytest.fixture
def pair(ledger: Session) -> tuple[int, int]:
    """A mail, and a mention that may say the same."""
    ada = make_reader(ledger, email="ada@example.org", name="Ada")
    handle = make_reader(ledger, email=None, name=None, channel="social", handle="ada_bakes")
    first = make_message(ledger, text=WORDS, door="mail", channel="email", reader_id=ada.id)
    second = make_message(
        ledger, text=WORDS + " <b>", door="mention", channel="social", reader_id=handle.id,
        received_at=THEN + timedelta(hours=3), doubtful_twin_id=first.id,
    )  # fmt: skip
    ledger.commit()
    return first.id, second.id


def state(ledger: Session, number: int) -> tuple[str | None, int | None]:
    ledger.rollback()
    row = ledger.get_one(Message, number)
    return row.kept_apart, row.doubtful_twin_id


def undo(client: FlaskClient, page: str) -> None:
    found = re.search(r'action="(/undo/\d+)"', client.get(page).text)
    assert found, "what was done can be undone"
    client.post(found[1])


def test_a_pair_stands_side_by_side_and_is_found_from_where_one_looks(
    helper: FlaskClient, pair: tuple[int, int]
) -> None:
    first, second = pair
    page = helper.get("/second-look").text
    assert "1 pair" in page
    assert page.count("The rye loaf sank") == 2
    assert "&lt;b&gt;" in page
    assert f"/messages/{first}" in page
    assert f"/messages/{second}" in page
    assert "Pairs that may be one message: 1" in helper.get("/bring-in").text
    assert 'href="/second-look"' in helper.get("/contents").text
    assert f'action="/second-look/{second}"' in helper.get(f"/messages/{second}").text


def test_one_message_counts_once_and_is_undone(
    owner: FlaskClient, ledger: Session, pair: tuple[int, int]
) -> None:
    first, second = pair
    assert owner.post(f"/second-look/{second}", data={"do": "one"}).location == "/second-look"
    assert state(ledger, second) == ("double", first)
    undo(owner, "/second-look")
    assert state(ledger, second) == (None, first)
    assert "1 pair" in owner.get("/second-look").text


def test_two_messages_are_shown_no_more_and_that_is_undone(
    owner: FlaskClient, ledger: Session, pair: tuple[int, int]
) -> None:
    first, second = pair
    then = f"/messages/{second}"
    assert owner.post(f"/second-look/{second}", data={"do": "two", "then": then}).location == then
    assert state(ledger, second) == (None, None)
    undo(owner, then)
    assert state(ledger, second) == (None, first)


def test_nothing_is_decided_by_a_slip(owner: FlaskClient, ledger: Session, pair: tuple[int, int]) -> None:
    first, second = pair
    assert owner.post(f"/second-look/{second}").status_code == 422
    assert owner.post(f"/second-look/{first}", data={"do": "one"}).status_code == 422
    assert owner.post("/second-look/98765", data={"do": "two"}).status_code == 404
    assert state(ledger, second) == (None, first)


@pytest.mark.parametrize("why", ["newsletter", "double"])
def test_what_was_kept_apart_by_mistake_is_let_in_and_that_is_undone(
    owner: FlaskClient, ledger: Session, why: str
) -> None:
    number = make_message(ledger, kept_apart=why).id
    ledger.commit()
    assert f'action="/messages/{number}/let-in"' in owner.get(f"/messages/{number}").text
    owner.post(f"/messages/{number}/let-in")
    assert state(ledger, number) == (None, None)
    undo(owner, f"/messages/{number}")
    assert state(ledger, number) == (why, None)


def test_a_handle_is_joined_from_the_pair(owner: FlaskClient, ledger: Session, pair: tuple[int, int]) -> None:
    page = owner.get("/second-look").text
    keep = re.search(r'action="(/readers/\d+/join)".*?name="other" value="(\d+)"', page)
    assert keep
    answer = owner.post(keep[1], data={"other": keep[2], "then": "/second-look"})
    assert answer.location == "/second-look"
    ledger.rollback()
    (reader,) = ledger.scalars(select(Reader)).all()
    assert (reader.email, reader.handle) == ("ada@example.org", "ada_bakes")
    assert "/join" not in owner.get("/second-look").text
