"""What readers use: the words are safe before thanks are said, and never lost on the way."""

import io
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient
from PIL import Image
from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session

from inbox.intake.forms import FORMS
from inbox.records.engine import make_sessions
from inbox.records.tables import Message, Photo, Reader
from inbox.settings import Settings
from inbox.web.application import create_app
from tests.makers import make_reader, make_recipe

LIMIT_BYTES = 30_000


class Clock:
    """Stands still until it is moved."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock(now: datetime) -> Clock:
    return Clock(now)


@pytest.fixture
def app(fresh_engine: Engine, settings: Settings, clock: Clock) -> Flask:
    return create_app(settings, fresh_engine, clock=clock)


@pytest.fixture
def send(nobody: FlaskClient, clock: Clock) -> Callable[..., object]:
    """Opens a form, waits as a person would, and sends it."""

    def do(path: str, **fields: object):
        page = nobody.get(path).text
        clock.now += timedelta(seconds=20)
        stamp = page.split('name="stamp" value="')[1].split('"')[0]
        return nobody.post(path, data={"stamp": stamp, **fields})

    return do


@pytest.fixture
def recipe(ledger: Session) -> str:
    make_recipe(ledger, slug="lemon-tart", title="Lemon tart")
    ledger.commit()
    return "lemon-tart"


@pytest.mark.parametrize("form", FORMS)
def test_each_form_takes_words_and_thanks(
    send: Callable, nobody: FlaskClient, ledger: Session, recipe: str, form: str
) -> None:
    answer = send(f"/f/{form}/{recipe}", text="It was hot lemon soup.", name="Ada")

    assert answer.status_code == 303
    assert "Thank you" in nobody.get(answer.location).text
    message = ledger.scalars(select(Message)).one()
    assert message.text == "It was hot lemon soup."
    assert message.page_recipe.slug == recipe


def test_going_back_and_sending_again_stores_it_once(
    send: Callable, nobody: FlaskClient, ledger: Session, clock: Clock
) -> None:
    page = nobody.get("/f/general").text
    clock.now += timedelta(seconds=20)
    stamp = page.split('name="stamp" value="')[1].split('"')[0]
    for _ in range(2):
        assert nobody.post("/f/general", data={"stamp": stamp, "text": "Hello there"}).status_code == 303

    assert ledger.scalar(select(func.count()).select_from(Message)) == 1


def test_a_mistake_stands_beside_the_field_and_the_words_stay(send: Callable, ledger: Session) -> None:
    answer = send("/f/ask", text="My <b>words</b>", reply_wanted="yes", email="")

    assert answer.status_code == 422
    assert 'aria-describedby="email-wrong"' in answer.text
    assert 'href="#email"' in answer.text
    assert "My &lt;b&gt;words&lt;/b&gt;" in answer.text
    assert ledger.scalar(select(func.count()).select_from(Message)) == 0


def test_an_address_is_stored_only_with_a_tick(send: Callable, ledger: Session) -> None:
    send("/f/ask", text="No tick here", email="ada@example.org")
    assert ledger.scalars(select(Reader.email).where(Reader.email.is_not(None))).all() == []
    ledger.rollback()

    send("/f/ask", text="With a tick", email="ada@example.org", reply_wanted="yes")
    assert ledger.scalars(select(Reader.email).where(Reader.email.is_not(None))).all() == ["ada@example.org"]


def test_a_photo_comes_along(send: Callable, ledger: Session) -> None:
    picture = io.BytesIO()
    Image.effect_noise((400, 300), 60).convert("RGB").save(picture, "JPEG")
    picture.seek(0)

    answer = send("/f/made_it", text="Look", photos=(picture, "tart.jpg"))

    assert answer.status_code == 303
    assert ledger.scalar(select(func.count()).select_from(Photo)) == 1


def test_a_form_from_the_sites_own_page_is_looked_over_once(
    nobody: FlaskClient, ledger: Session, clock: Clock
) -> None:
    first = nobody.post(
        "/f/general", data={"text": "From my own page"}, headers={"Origin": "https://kitchen.example"}
    )
    assert first.status_code == 200
    assert "look your words over" in first.text
    stamp = first.text.split('name="stamp" value="')[1].split('"')[0]
    clock.now += timedelta(seconds=9)

    assert nobody.post("/f/general", data={"text": "From my own page", "stamp": stamp}).status_code == 303
    assert ledger.scalar(select(func.count()).select_from(Message)) == 1


def test_only_the_owners_sites_frame_and_send(settings: Settings, fresh_engine: Engine) -> None:
    settings = replace(
        settings, site_url="https://kitchen.example/home", form_sites="https://blog.example x; 'y'"
    )
    client = create_app(settings, fresh_engine).test_client()

    policy = client.get("/f/ask").headers["Content-Security-Policy"]
    assert policy.endswith("frame-ancestors 'self' https://kitchen.example https://blog.example")
    assert "X-Frame-Options" not in client.get("/f/ask").headers
    for origin, status in (("https://blog.example", 200), ("null", 200), ("https://evil.example", 403)):
        assert client.post("/f/ask", data={"text": "x"}, headers={"Origin": origin}).status_code == status


def test_a_busy_ledger_keeps_the_words_in_the_form(
    nobody: FlaskClient, fresh_engine: Engine, clock: Clock, recipe: str
) -> None:
    page = nobody.get(f"/f/went_wrong/{recipe}").text
    stamp = page.split('name="stamp" value="')[1].split('"')[0]
    clock.now += timedelta(seconds=20)
    with fresh_engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE readers RENAME TO readers_away")

    answer = nobody.post(f"/f/went_wrong/{recipe}", data={"text": "My words", "name": "Ada", "stamp": stamp})

    assert answer.status_code == 503
    assert "Not taken, please try again" in answer.text
    assert "My words" in answer.text
    assert stamp in answer.text
    with fresh_engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE readers_away RENAME TO readers")
    assert (
        nobody.post(f"/f/went_wrong/{recipe}", data={"text": "My words", "stamp": stamp}).status_code == 303
    )


def test_too_many_from_one_place_wait(settings: Settings, fresh_engine: Engine, clock: Clock) -> None:
    client = create_app(replace(settings, form_posts_an_hour=1), fresh_engine, clock=clock).test_client()
    answers = []
    for number in range(2):
        page = client.get("/f/ask").text
        clock.now += timedelta(seconds=20)
        stamp = page.split('name="stamp" value="')[1].split('"')[0]
        answers.append(client.post("/f/ask", data={"text": f"Number {number}", "stamp": stamp}).status_code)

    assert answers == [303, 429]


@pytest.mark.parametrize(
    "path", ["/f", "/f/ask", "/f/made_it/lemon-tart", "/f/about/lemon-tart", "/f/thanks", "/f/privacy"]
)
def test_a_form_weighs_little_and_needs_no_script(nobody: FlaskClient, recipe: str, path: str) -> None:
    page = nobody.get(path)
    sheets = sum(
        len(nobody.get(address).data)
        for address in ("/still/reader-form.css", "/f/colours.css", "/still/icon.svg")
    )

    assert page.status_code == 200
    assert "<script" not in page.text
    assert len(page.data) + sheets <= LIMIT_BYTES


@pytest.mark.parametrize("path", ["/f/nonsense", "/f/ask/nowhere", "/f/about/nowhere", "/f/made_it/a/b"])
def test_what_there_is_not_is_a_page(nobody: FlaskClient, path: str) -> None:
    assert nobody.get(path).status_code == 404


def test_colours_of_the_owner_cannot_carry_anything_else(settings: Settings, fresh_engine: Engine) -> None:
    settings = replace(
        settings, form_ink="red; } body { display:none", form_accent="#ffee00", form_typeface="x; }"
    )
    sheet = create_app(settings, fresh_engine).test_client().get("/f/colours.css").text

    assert "display" not in sheet
    assert "--accent: #ffee00; --on-accent: #000000" in sheet
    assert "--text: serif" in sheet


def test_unsubscribing_takes_a_press_or_one_click(
    nobody: FlaskClient, ledger: Session, fresh_engine: Engine
) -> None:
    token = "t" * 32
    reader = make_reader(ledger, unsubscribe_token=token)
    ledger.commit()

    assert "<button>" in nobody.get(f"/unsubscribe/{token}").text
    ledger.rollback()
    assert ledger.get_one(Reader, reader.id).unsubscribed_at is None
    answer = nobody.post(
        f"/unsubscribe/{token}",
        data={"List-Unsubscribe": "One-Click"},
        headers={"Sec-Fetch-Site": "cross-site"},
    )
    assert answer.status_code == 200
    with make_sessions(fresh_engine)() as session:
        assert session.get_one(Reader, reader.id).unsubscribed_at is not None
    assert nobody.post("/unsubscribe/nobody-has-this").status_code == 404
