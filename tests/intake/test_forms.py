import zlib
from datetime import datetime, timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.intake.form_guard import make_stamp
from inbox.intake.forms import FORMS, FormResult, receive_form
from inbox.records.tables import Message, Photo, RawItem
from tests.intake.test_mime import jpeg
from tests.makers import make_recipe


def post(session: Session, now: datetime, *, form: str = "made_it", **fields: str) -> FormResult:
    said = {
        "text": "It worked.",
        "stamp": make_stamp(session, form, now=now - timedelta(seconds=30)),
        **fields,
    }
    return receive_form(session, said, form=form, recipe_slug=None, sender="192.0.2.7", now=now)


@pytest.mark.parametrize("form", FORMS)
def test_each_form_stores_a_message(any_session: Session, now: datetime, form: str) -> None:
    result = post(any_session, now, form=form)
    message = any_session.get_one(Message, result.message_id)
    assert (message.form, message.text, message.received_at) == (form, "It worked.", now)
    assert (message.may_quote, message.tell_me, message.reply_wanted) == (False, False, False)


def test_form_on_a_recipe_page_gives_the_recipe(session: Session, now: datetime) -> None:
    recipe = make_recipe(session, slug="lemon-loaf")
    result = receive_form(
        session,
        {"text": "Sank.", "stamp": make_stamp(session, "went_wrong", now=now - timedelta(minutes=1))},
        form="went_wrong",
        recipe_slug="lemon-loaf",
        sender="192.0.2.7",
        now=now,
    )
    assert session.get_one(Message, result.message_id).page_recipe_id == recipe.id


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"text": "  "}, "text"),
        ({"text": "x" * 8001}, "text"),
        ({"email": "ada@"}, "email"),
        ({"reply_wanted": "on"}, "email"),
        ({"stars": "9"}, "stars"),
    ],
)
def test_mistake_is_said_beside_its_field(
    session: Session, now: datetime, fields: dict[str, str], where: str
) -> None:
    result = post(session, now, **fields)
    assert result.message_id is None
    assert list(result.problems) == [where]


def test_double_click_is_one_message(session: Session, now: datetime) -> None:
    stamp = make_stamp(session, "ask", now=now - timedelta(seconds=30))
    first = post(session, now, form="ask", stamp=stamp)
    second = post(session, now + timedelta(seconds=1), form="ask", stamp=stamp)
    assert first.message_id == second.message_id


def test_address_without_a_tick_is_nowhere(session: Session, now: datetime) -> None:
    result = post(session, now, email="ada@example.org")
    message = session.get_one(Message, result.message_id)
    assert message.reader_id is None


def test_consent_keeps_wording_and_moment(session: Session, now: datetime) -> None:
    result = post(session, now, email="ada@example.org", tell_me="on")
    message = session.get_one(Message, result.message_id)
    assert message.consent is not None
    assert message.consent["tell_me"]["at"] == now.isoformat()
    assert message.reader is not None
    assert message.reader.email == "ada@example.org"


def test_more_than_an_hour_allows_is_refused_and_let_in_later(session: Session, now: datetime) -> None:
    results = [post(session, now, text=f"Message {number}") for number in range(13)]
    assert [result.too_many for result in results] == [False] * 12 + [True]
    assert post(session, now + timedelta(hours=2)).message_id is not None


@pytest.mark.parametrize("stamp", ["", "x", "1.2.3", "9999999999999999.a.b"])
def test_forged_or_old_stamp_asks_to_send_again(session: Session, now: datetime, stamp: str) -> None:
    assert "" in post(session, now, stamp=stamp).problems


def test_stamp_of_another_form_or_of_last_week_does_not_count(session: Session, now: datetime) -> None:
    assert "" in post(session, now, stamp=make_stamp(session, "ask", now=now)).problems
    assert (
        "" in post(session, now, stamp=make_stamp(session, "made_it", now=now - timedelta(days=7))).problems
    )


@pytest.mark.parametrize(
    "fields",
    [
        {"website": "https://spam.example"},
        {"text": "http://a.example http://b.example www.c.example [url=x]"},
    ],
)
def test_post_of_a_program_is_kept_apart_and_not_lost(
    session: Session, now: datetime, fields: dict[str, str]
) -> None:
    result = post(session, now, **fields)
    assert result.suspicious
    assert session.get_one(Message, result.message_id).kept_apart == "robot"


def test_post_within_a_second_is_a_programs(session: Session, now: datetime) -> None:
    result = post(session, now, stamp=make_stamp(session, "made_it", now=now))
    assert session.get_one(Message, result.message_id).kept_apart == "robot"


def test_photos_are_kept_and_other_files_refused(session: Session, now: datetime) -> None:
    said = {"text": "Look!", "stamp": make_stamp(session, "made_it", now=now - timedelta(minutes=1))}

    def send(*photos: bytes) -> FormResult:
        return receive_form(
            session, said, form="made_it", recipe_slug=None, sender="192.0.2.7", photos=photos, now=now
        )

    assert "photos" in send(b"%PDF-1.4").problems
    assert "At most 6" in send(*[jpeg(400, 300)] * 7).problems["photos"]
    result = send(jpeg(400, 300), jpeg(1800, 900))
    kept = session.scalars(
        select(Photo).where(Photo.message_id == result.message_id).order_by(Photo.id)
    ).all()
    assert [(photo.width, photo.height) for photo in kept] == [(300, 400), (800, 1600)]


def test_address_is_in_no_original_without_a_tick(session: Session, now: datetime) -> None:
    silent = post(session, now, email="ada@example.org", text="One.")
    asked = post(session, now, email="ada@example.org", text="Two.", reply_wanted="on")
    originals = [
        zlib.decompress(session.get_one(RawItem, result.message_id).packed) for result in (silent, asked)
    ]
    assert [b"ada@example.org" in original for original in originals] == [False, True]
