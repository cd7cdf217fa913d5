from datetime import datetime, timedelta

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.intake.deliver import Incoming, Unusable, deliver, deliver_all
from inbox.records.tables import HandLabel, Labels, Message, RawItem, Reader, SetAside
from inbox.records.tables_out import Reply
from tests.makers import THEN, make_message, make_reader, make_recipe

LOAF = "I made the lemon loaf on Sunday and it sank in the middle, so we ate it with a spoon."


def item(**facts: object) -> Incoming:
    return Incoming(
        **{  # type: ignore[arg-type]
            "door": "mail",
            "channel": "email",
            "text": LOAF,
            "received_at": THEN,
            "email": "ada@example.org",
            "raw": repr(sorted(facts.items())).encode(),
            **facts,
        }
    )


def count(session: Session, table: type) -> int:
    return session.scalar(select(func.count()).select_from(table)) or 0


def test_item_is_stored_with_its_original_and_reader(any_session: Session, now: datetime) -> None:
    recipe = make_recipe(any_session, slug="lemon-loaf", url="https://kitchen.example/lemon-loaf")
    end = deliver(
        any_session,
        item(name="Ada", page_url="http://www.kitchen.example/lemon-loaf/?x=1#comments", stars=4.0),
        run_id=None,
        now=now,
    )
    assert end.state == "stored"
    message = any_session.get_one(Message, end.message_id)
    assert (message.text, message.received_at, message.stars) == (LOAF, THEN, 4.0)
    assert message.page_recipe_id == recipe.id
    assert message.reader is not None
    assert message.reader.email == "ada@example.org"
    assert any_session.get(RawItem, message.id) is not None


@pytest.mark.parametrize("again", [1, 2])
def test_same_key_again_changes_nothing(any_session: Session, now: datetime, again: int) -> None:
    first = deliver(any_session, item(key="mail:a@x"), run_id=None, now=now)
    for _ in range(again):
        end = deliver(any_session, item(key="mail:a@x"), run_id=None, now=now + timedelta(days=1))
        assert (end.state, end.message_id) == ("already_here", first.message_id)
    assert count(any_session, Message) == 1


def test_doubles_within_one_batch_are_found(session: Session, now: datetime) -> None:
    ends = deliver_all(
        session,
        [item(key="mail:a@x"), item(key="mail:a@x"), item(key="table:4", door="table", channel="form")],
        run_id=None,
        now=now,
    )
    assert [end.state for end in ends] == ["stored", "already_here", "already_here"]
    assert len({end.message_id for end in ends}) == 1


def test_number_given_to_two_messages_loses_neither(session: Session, now: datetime) -> None:
    other = "Could you please make a savoury version of the scones with cheese and chives?"
    ends = deliver_all(
        session,
        [
            item(door="jsonl", key="jsonl:1"),
            item(door="jsonl", key="jsonl:1", text=other, received_at=THEN + timedelta(days=3), email=None),
        ],
        run_id=None,
        now=now,
    )
    assert [end.state for end in ends] == ["stored", "stored"]
    again = deliver(
        session,
        item(door="jsonl", key="jsonl:1", text=other, received_at=THEN + timedelta(days=3), email=None),
        run_id=None,
        now=now,
    )
    assert (again.state, again.message_id) == ("already_here", ends[1].message_id)


def test_forgotten_message_does_not_come_back(session: Session, now: datetime) -> None:
    end = deliver(session, item(key="mail:a@x"), run_id=None, now=now)
    session.get_one(Message, end.message_id).text = ""
    session.flush()
    assert deliver(session, item(key="mail:a@x"), run_id=None, now=now).state == "already_here"


def test_notice_by_mail_and_table_export_are_one_voice(session: Session, now: datetime) -> None:
    notice = f"Name: Ada\nEmail: ada@example.org\nMessage: {LOAF}\nSent from your site"
    first = deliver(session, item(key="mail:n@x", text=notice, name="Ada"), run_id=None, now=now)
    export = item(
        door="table",
        channel="form",
        key="table:17",
        name="Ada",
        received_at=THEN + timedelta(hours=2),
    )
    assert deliver(session, export, run_id=None, now=now) == type(first)(
        "already_here", message_id=first.message_id
    )


@pytest.mark.parametrize("page", ["lemon-loaf", "Lemon  LOAF", "https://www.kitchen.example/lemon-loaf/"])
def test_page_is_found_by_slug_title_and_address(session: Session, now: datetime, page: str) -> None:
    recipe = make_recipe(
        session, slug="lemon-loaf", title="Lemon loaf", url="https://kitchen.example/lemon-loaf"
    )
    end = deliver(session, item(page_slug=page), run_id=None, now=now)
    assert session.get_one(Message, end.message_id).page_recipe_id == recipe.id


def test_same_words_by_a_nameless_reader_are_shown_not_merged(session: Session, now: datetime) -> None:
    first = deliver(session, item(key="mail:n@x"), run_id=None, now=now)
    end = deliver(
        session, item(door="table", channel="comment", key="table:3", email=None), run_id=None, now=now
    )
    assert end.state == "stored"
    assert session.get_one(Message, end.message_id).doubtful_twin_id == first.message_id


def test_short_praise_of_two_readers_stays_two(session: Session, now: datetime) -> None:
    ends = deliver_all(
        session,
        [
            item(text="Love it!", key="mail:1@x"),
            item(text="Love it!", key="table:2", door="table", email="bo@example.org"),
            item(text="Love it!", key="feed:3", door="feed", email=None, name="Ada"),
        ],
        run_id=None,
        now=now,
    )
    assert [end.state for end in ends] == ["stored"] * 3
    assert all(message.doubtful_twin_id is None for message in session.scalars(select(Message)))


def test_readers_are_joined_by_address_in_any_case_and_never_by_name(
    any_session: Session, now: datetime
) -> None:
    ends = deliver_all(
        any_session,
        [
            item(text="one", email="Ada@Example.org", key="mail:1"),
            item(text="two", email="ada@example.ORG ", key="mail:2"),
            item(text="three", email=None, name="Ada", key="feed:3", door="feed", channel="comment"),
            item(text="four", email=None, name="Ada", key="feed:4", door="feed", channel="comment"),
            item(text="five", email=None, handle="@ada", key="feed:5", door="feed", channel="social"),
            item(text="six", email=None, handle="@ada", key="feed:6", door="feed", channel="social"),
            item(text="seven", email=None, key="feed:7", door="feed", channel="social"),
        ],
        run_id=None,
        now=now,
    )
    readers = [any_session.get_one(Message, end.message_id).reader_id for end in ends]
    assert readers[0] == readers[1]
    assert readers[4] == readers[5]
    assert readers[6] is None
    assert len({*readers[:1], *readers[2:5]}) == 4
    assert count(any_session, Reader) == 4


def test_known_reader_is_found_again(session: Session, now: datetime) -> None:
    ada = make_reader(session, email="ada@example.org", name=None)
    end = deliver(session, item(name="Ada"), run_id=None, now=now)
    assert session.get_one(Message, end.message_id).reader_id == ada.id
    session.refresh(ada)
    assert ada.name == "Ada"


def test_address_from_a_form_is_kept_only_with_a_tick(session: Session, now: datetime) -> None:
    silent = deliver(session, item(door="form", channel="form", key="form:1"), run_id=None, now=now)
    asked = deliver(
        session,
        item(door="form", channel="form", key="form:2", text="Can I freeze it?", reply_wanted=True),
        run_id=None,
        now=now,
    )
    assert session.get_one(Message, silent.message_id).reader_id is None
    assert session.get_one(Message, asked.message_id).reader_id is not None


@pytest.mark.parametrize("evil", ["nul\x00byte", "lone\ud800surrogate", "\udcff\udc00"])
def test_text_that_databases_refuse_is_mended(any_session: Session, now: datetime, evil: str) -> None:
    end = deliver(
        any_session,
        item(text=evil, subject=evil, name=evil, key=f"mail:{evil}", links=(evil,), attachments=(evil,)),
        run_id=None,
        now=now,
    )
    assert end.state == "stored"
    text = any_session.get_one(Message, end.message_id).text
    assert "\x00" not in text
    text.encode()


def test_answer_is_linked_through_our_reply(any_session: Session, now: datetime) -> None:
    asked = make_message(any_session, rfc_message_id="q@x")
    any_session.add(
        Reply(
            message_id=asked.id,
            state="sent",
            subject="Re: loaf",
            body="Yes.",
            rfc_message_id="r@kitchen",
            created_at=THEN,
            changed_at=THEN,
        )
    )
    any_session.flush()
    answer = deliver(
        any_session,
        item(key="mail:t@x", in_reply_to="r@kitchen", references=("q@x", "r@kitchen")),
        run_id=None,
        now=now,
    )
    later = deliver(
        any_session,
        item(key="mail:u@x", text="And another thing", references=("q@x", "gone@x")),
        run_id=None,
        now=now,
    )
    for end in (answer, later):
        assert any_session.get_one(Message, end.message_id).answers_message_id == asked.id


def test_hand_labels_of_an_export_are_kept_and_count(session: Session, now: datetime) -> None:
    end = deliver(session, item(labels={"kinds": ["problem"], "faults": ["sank"]}), run_id=None, now=now)
    assert count(session, HandLabel) == 2
    assert session.get_one(Labels, end.message_id).kinds == ("problem",)


def test_unusable_item_is_set_aside_once(any_session: Session, now: datetime) -> None:
    broken = Unusable(door="table", place="row 3", reason="Too few cells.", raw=b"a;b")
    ends = deliver_all(any_session, [broken, item(), broken], run_id=None, now=now)
    assert [end.state for end in ends] == ["set_aside", "stored", "already_here"]
    assert any_session.get_one(SetAside, ends[0].set_aside_id).raw == b"a;b"


def test_number_that_a_source_gave_to_two_doubles_nothing_the_second_time(
    session: Session, now: datetime
) -> None:
    """The second of these says what the first says, and has the number of the third."""
    items = [
        item(
            key=None, raw=b"one", text="It sank in the middle, as it did the last time, and the crust burnt."
        ),
        item(key="mail:a@x", text="It sank in the middle, as it did the last time, and the crust burnt."),
        item(key="mail:a@x", text="Lovely scones!", received_at=THEN - timedelta(days=40)),
    ]
    first = deliver_all(session, items, run_id=None, now=now)
    again = deliver_all(session, items, run_id=None, now=now)
    assert [end.state for end in first] == ["stored", "already_here", "stored"]
    assert [end.state for end in again] == ["already_here"] * 3
