"""The messages page: finding, opening, correcting by a touch, several at once, undo."""

from datetime import datetime

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from inbox.records.settle import settle
from inbox.records.tables import HandLabel, Labels, Message, MessageReading
from tests.makers import make_message
from tests.web.filled import fill


@pytest.fixture
def filled(ledger: Session, now: datetime) -> Session:
    fill(ledger, now=now)
    ledger.commit()
    return ledger


def test_an_empty_ledger_says_how_to_begin(owner: FlaskClient) -> None:
    page = owner.get("/messages").text

    assert "Here will be everything that readers write" in page
    assert "/bring-in" in page


def test_going_through_the_list_meets_every_message_once(owner: FlaskClient, filled: Session) -> None:
    seen, address = [], "/messages"
    while address:
        page = owner.get(address).text
        seen += [piece.split('"')[0] for piece in page.split('name="pick" value="')[1:]]
        address = (
            page.split('rel="next" href="')[1].split('"')[0].replace("&amp;", "&")
            if 'rel="next"' in page
            else ""
        )

    assert len(seen) == len(set(seen)) == 150


def test_search_marks_the_words_and_escapes_the_rest(owner: FlaskClient, ledger: Session) -> None:
    make_message(ledger, text="My <script>alert(1)</script> cakes sank & stuck")
    ledger.commit()

    page = owner.get("/messages?words=cake").text

    assert "<mark>cakes</mark>" in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "<script>alert" not in page


def test_what_no_reader_wrote_says_why_it_is_kept_apart(owner: FlaskClient, ledger: Session) -> None:
    make_message(ledger, text="I am away until Monday.", kept_apart="auto_reply")
    ledger.commit()

    page = owner.get("/messages?apart=yes").text

    assert "kept apart: auto reply" in page
    assert "not read yet" not in page


def test_a_spoilt_address_says_so_and_shows_the_rest(owner: FlaskClient, filled: Session) -> None:
    answer = owner.get("/messages?kind=nonsense&since=yesterday&recipe=none&older=x~y&reader=1e9&only=a")

    assert answer.status_code == 200
    assert "There is no kind &#39;nonsense&#39;" in answer.text
    assert "no day" in answer.text


def test_a_touch_corrects_and_one_undo_takes_it_back(owner: FlaskClient, ledger: Session) -> None:
    message = make_message(ledger)
    ledger.commit()

    answer = owner.post(f"/messages/{message.id}/labels", data={"touch": "kind:problem"})
    assert answer.status_code == 303
    page = owner.get(answer.location).text
    assert "Now: problem." in page
    ledger.rollback()
    assert ledger.get_one(Labels, message.id).kinds == ("problem",)

    undo = page.split('action="/undo/')[1].split('"')[0]
    owner.post(f"/undo/{undo}", data={"then": f"/messages/{message.id}"})
    ledger.rollback()
    assert ledger.get(Labels, message.id) is None


def test_kinds_that_stand_alone_push_the_others_away(owner: FlaskClient, ledger: Session) -> None:
    message = make_message(ledger)
    ledger.commit()
    for touch, kinds in (
        ("kind:made_it", ("made_it",)),
        ("kind:problem", ("made_it", "problem")),
        ("kind:junk", ("junk",)),
        ("kind:question", ("question",)),
        ("kind:question", ("comment",)),
    ):
        owner.post(f"/messages/{message.id}/labels", data={"touch": touch})
        ledger.rollback()
        assert ledger.get_one(Labels, message.id).kinds == kinds


def test_outcome_fault_hazard_and_recipe_are_set_by_hand(owner: FlaskClient, filled: Session) -> None:
    message_id = filled.scalars(select(Message.id).limit(1)).one()
    filled.rollback()
    for touch in (
        {"touch": "kind:made_it"},
        {"touch": "outcome:failed"},
        {"touch": "fault:gummy"},
        {"touch": "hazard:", "hazard": "allergen"},
        {"touch": "recipe:", "recipe": "sharp-lemon-tart"},
    ):
        assert owner.post(f"/messages/{message_id}/labels", data=touch).status_code == 303
    filled.rollback()

    fields = set(filled.scalars(select(HandLabel.field).where(HandLabel.message_id == message_id)))
    assert {"faults", "hazard", "recipe"} <= fields
    labels = filled.get_one(Labels, message_id)
    assert labels.hazard == "allergen"
    assert labels.recipe.slug == "sharp-lemon-tart"
    page = owner.get(f"/messages/{message_id}").text
    assert "Said by hand" in page
    assert f'href="/hazards/{message_id}"' in page


def test_another_language_stands_apart_and_is_said_by_hand(owner: FlaskClient, filled: Session) -> None:
    message = filled.scalars(select(Message).order_by(Message.id)).first()
    assert message is not None
    number = message.id
    filled.execute(update(MessageReading).where(MessageReading.message_id == number).values(language="fr"))
    settle(filled, [number])
    filled.commit()

    apart = owner.get("/messages?language=other").text
    assert apart.count("in another language (fr)</p>") == 1
    assert apart.count('class="read">') == 1
    assert "which the program does not read" in owner.get(f"/messages/{number}").text

    owner.post(f"/messages/{number}/labels", data={"touch": "kind:question"})
    page = owner.get(f"/messages/{number}").text
    assert "which the program does not read" not in page
    owner.post(f"/messages/{number}/labels", data={"touch": "language:"})
    assert 'class="read">' not in owner.get("/messages?language=other").text


def test_several_at_once_with_one_undo(helper: FlaskClient, filled: Session) -> None:
    chosen = list(filled.scalars(select(Message.id).limit(5)))
    filled.rollback()

    page = helper.post("/messages/several", data={"pick": chosen}).text
    assert page.count('name="pick"') == 5
    nothing = helper.post("/messages/several", data={"pick": chosen, "set_kind": "", "reply": ""})
    assert nothing.status_code == 422
    answer = helper.post("/messages/several", data={"pick": chosen, "set_kind": "junk", "reply": "none"})

    assert answer.status_code == 303
    filled.rollback()
    assert all(filled.get_one(Labels, number).is_junk for number in chosen)
    undo = helper.get("/messages").text.split('action="/undo/')[1].split('"')[0]
    helper.post(f"/undo/{undo}")
    filled.rollback()
    assert not any(filled.get_one(Labels, number).is_junk for number in chosen)
    assert all(filled.get_one(Message, number).no_reply_needed_at is None for number in chosen)


@pytest.mark.parametrize("touch", ["", "kind:nonsense", "fault:nonsense", "back:nonsense:", "recipe:nowhere"])
def test_a_touch_that_makes_no_sense_changes_nothing(owner: FlaskClient, ledger: Session, touch: str) -> None:
    message = make_message(ledger)
    ledger.commit()

    answer = owner.post(f"/messages/{message.id}/labels", data={"touch": touch})

    assert answer.status_code in (303, 404, 422)
    assert ledger.scalars(select(HandLabel)).all() == []


def test_no_such_message_is_a_page(owner: FlaskClient) -> None:
    answer = owner.get("/messages/999")

    assert answer.status_code == 404
    assert "There is no message 999" in answer.text
