"""The second step through the pages, without script, and what the log and the door book say of it."""

import logging
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from html import unescape

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import Engine

from inbox.cli.log_lines import OneLine
from inbox.cli.main import run
from inbox.records import accounts, second_step
from inbox.records.engine import make_sessions
from inbox.records.second_step import code_at, step_of
from inbox.records.tables_out import Account
from inbox.settings import Settings
from inbox.web.application import create_app

PASSWORD = "rye and caraway"


class Clock:
    """A clock that a test sets forward."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock(now: datetime) -> Clock:
    return Clock(now)


@pytest.fixture
def app(fresh_engine: Engine, settings: Settings, clock: Clock) -> Flask:
    with make_sessions(fresh_engine).begin() as session:
        accounts.create_account(session, "Ines", "owner", PASSWORD, now=clock.now)
    return create_app(settings, fresh_engine, clock=clock)


def give_password(client: FlaskClient, then: str = "", password: str = PASSWORD, **kept: str):
    return client.post("/sign-in", data={"name": "Ines", "password": password, "then": then, **kept})


def field(page: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found, name
    return unescape(found[1])


def switch_on(client: FlaskClient, clock: Clock) -> tuple[str, list[str]]:
    """Secret and spare codes, as somebody who is signed in gets them."""
    page = client.post("/your-sign-in", data={"do": "begin", "password": PASSWORD}).text
    secret = re.search(r"The letters: <code>([A-Z2-7 ]+)</code>", page)
    assert secret
    plain = secret[1].replace(" ", "")
    data = {"proof": field(page, "proof"), "code": code_at(plain, step_of(clock.now))}
    answer = client.post("/your-sign-in/phone", data=data)
    assert answer.status_code == 200
    spares = re.findall(r"<code>((?:[a-z2-9]{4} ?){6})</code>", answer.text)
    assert len(spares) == 10
    return plain, spares


@pytest.fixture
def secured(nobody: FlaskClient, clock: Clock) -> tuple[str, list[str]]:
    assert give_password(nobody).status_code == 303
    found = switch_on(nobody, clock)
    clock.now += timedelta(minutes=2)
    return found


def test_the_password_alone_lets_nobody_in(app: Flask, secured: tuple[str, list[str]], clock: Clock) -> None:
    secret, spares = secured
    client = app.test_client()
    page = give_password(client, "/messages")
    assert page.status_code == 200
    assert client.get_cookie("second-batch") is None
    assert client.get("/contents").status_code == 303

    proof = field(page.text, "proof")
    wrong = client.post("/sign-in/code", data={"proof": proof, "code": "000000", "then": "/messages"})
    assert wrong.status_code == 422
    assert 'aria-invalid="true"' in wrong.text
    right = {"proof": proof, "code": code_at(secret, step_of(clock.now)), "then": "/messages"}
    answer = client.post("/sign-in/code", data=right)
    assert (answer.status_code, answer.location) == (303, "/messages")
    assert client.get("/contents").status_code == 200

    again = app.test_client().post("/sign-in/code", data=right)
    assert again.status_code == 422, "a code is taken once"
    spare = app.test_client().post("/sign-in/code", data={**right, "code": spares[3]})
    assert spare.status_code == 303
    assert "9 of your spare codes are left" in client.get("/your-sign-in").text


@pytest.mark.parametrize("proof", ["", "nonsense", "e30.aaaa.bbbb"])
def test_a_code_without_the_password_is_worth_nothing(
    app: Flask, secured: tuple[str, list[str]], proof: str
) -> None:
    answer = app.test_client().post("/sign-in/code", data={"proof": proof, "code": secured[1][0]})

    assert answer.status_code == 422
    assert "sign in once more" in answer.text


def test_a_proof_dies_with_the_password(
    app: Flask, fresh_engine: Engine, secured: tuple[str, list[str]], clock: Clock
) -> None:
    client = app.test_client()
    proof = field(give_password(client).text, "proof")
    with make_sessions(fresh_engine).begin() as session:
        (ines,) = accounts.accounts(session)
        accounts.change_password(session, ines.id, "oats, honey and salt", now=clock.now)

    answer = client.post("/sign-in/code", data={"proof": proof, "code": secured[1][0]})
    assert answer.status_code == 422
    assert client.get("/contents").status_code == 303


def test_the_proof_of_one_step_does_not_serve_for_the_other(
    nobody: FlaskClient, app: Flask, clock: Clock
) -> None:
    give_password(nobody)
    page = nobody.post("/your-sign-in", data={"do": "begin", "password": PASSWORD}).text

    data = {"proof": field(page, "proof"), "code": "123456"}
    assert "sign in once more" in app.test_client().post("/sign-in/code", data=data).text


def test_a_one_time_link_asks_for_the_code_too(
    app: Flask, fresh_engine: Engine, secured: tuple[str, list[str]], clock: Clock
) -> None:
    """ASVS 5.0, 6.4.3: a lost password does not lead around the second step."""
    with make_sessions(fresh_engine).begin() as session:
        (ines,) = accounts.accounts(session)
        link = accounts.make_link(session, ines.id, now=clock.now)
    client = app.test_client()
    page = client.get(f"/enter/{link}?then=/password")
    assert client.get("/contents").status_code == 303

    data = {"proof": field(page.text, "proof"), "then": field(page.text, "then"), "code": secured[1][0]}
    assert client.post("/sign-in/code", data=data).location == "/password"
    assert client.get("/contents").status_code == 200


def test_words_that_came_too_late_go_through_both_steps(app: Flask, secured: tuple[str, list[str]]) -> None:
    client = app.test_client()
    page = give_password(client, "/messages/1/labels", **{"kept:words": "My <long> words"}).text
    data = {"proof": field(page, "proof"), "then": field(page, "then"), "code": secured[1][0]}
    answer = client.post("/sign-in/code", data={**data, "kept:words": field(page, "kept:words")})

    assert answer.status_code == 200
    assert "My &lt;long&gt; words" in answer.text


def test_changes_ask_for_the_password(nobody: FlaskClient, secured: tuple[str, list[str]]) -> None:
    for wish in ("begin", "renew", "off"):
        answer = nobody.post("/your-sign-in", data={"do": wish, "password": "not this one"})
        assert answer.status_code == 422
    assert "It is on" in nobody.get("/your-sign-in").text

    renewed = nobody.post("/your-sign-in", data={"do": "renew", "password": PASSWORD}).text
    assert secured[1][0] not in renewed
    assert nobody.post("/your-sign-in", data={"do": "off", "password": PASSWORD}).status_code == 303
    assert "It is off" in nobody.get("/your-sign-in").text


def test_guessing_the_password_of_somebody_signed_in_is_held_up(nobody: FlaskClient, app: Flask) -> None:
    give_password(nobody)
    for _ in range(accounts.TRIES_A_QUARTER_HOUR):
        nobody.post("/your-sign-in", data={"do": "off", "password": "not this one"})

    answer = nobody.post("/your-sign-in", data={"do": "begin", "password": PASSWORD})
    assert answer.status_code == 422
    assert "Too many passwords" in answer.text
    data = {"present": PASSWORD, "password": "oats, honey and salt", "again": "oats, honey and salt"}
    assert "Too many passwords" in nobody.post("/password", data=data).text


def test_the_picture_is_drawn_here(nobody: FlaskClient, app: Flask) -> None:
    give_password(nobody)
    page = nobody.post("/your-sign-in", data={"do": "begin", "password": PASSWORD}).text

    assert 'src="data:image/svg+xml' in page
    assert re.findall(r'(?:src|href)="https?:', page) == []


def test_the_command_helps_who_lost_the_phone(
    app: Flask, secured: tuple[str, list[str]], settings: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = ["--folder", str(settings.folder)]
    assert run([*folder, "people"]) == 0
    assert "Ines: owner, password and code" in capsys.readouterr().out
    assert run([*folder, "people", "no-code", "nobody"]) == 1
    assert run([*folder, "people", "no-code", "Ines"]) == 0

    assert give_password(app.test_client()).status_code == 303


def test_the_log_tells_what_happened_at_the_door_and_no_secret(
    app: Flask, nobody: FlaskClient, clock: Clock, caplog: pytest.LogCaptureFixture,
    sign_in: Callable[..., FlaskClient],
) -> None:  # fmt: skip
    """ASVS 5.0, 16.3.1 and 16.3.2, 16.2.5, 16.4.1."""
    caplog.set_level(logging.INFO, "inbox.doors")
    forged = "Ines\n2026-11-25 INFO inbox.doors door event=signed_in account=1 from=aa"
    nobody.post("/sign-in", data={"name": forged, "password": "zanzibarred"})
    give_password(nobody, password="zanzibarred")
    give_password(nobody)
    secret, spares = switch_on(nobody, clock)
    clock.now += timedelta(minutes=2)
    other = app.test_client()
    proof = field(give_password(other).text, "proof")
    other.post("/sign-in/code", data={"proof": proof, "code": "000000"})
    other.post("/sign-in/code", data={"proof": proof, "code": code_at(secret, step_of(clock.now))})
    other.post("/sign-in/code", data={"proof": proof, "code": spares[0]})
    changed = {"present": PASSWORD, "password": "oats, honey and salt", "again": "oats, honey and salt"}
    nobody.post("/password", data=changed)
    nobody.post("/sign-out")
    assert sign_in("Tom", "helper").get("/settings").status_code == 403

    lines = [OneLine().format(record) for record in caplog.records if record.name == "inbox.doors"]
    events = [re.search(r"door event=(\w+) account=(\d+|-) from=([0-9a-f]{12}|-)$", line) for line in lines]
    assert all(events)
    assert [(event[1], event[2]) for event in events if event] == [
        ("password_wrong", "-"), ("password_wrong", "1"), ("signed_in", "1"), ("code_on", "1"),
        ("code_wrong", "1"), ("code_right", "1"), ("spare_code_used", "1"), ("password_changed", "1"),
        ("signed_out", "1"), ("link_used", "2"), ("turned_away", "2"),
    ]  # fmt: skip
    said = "\n".join(lines)
    for kept_back in ("Ines", "zanzibarred", "caraway", "127.0.0.1", secret, spares[0], proof):
        assert kept_back not in said


def test_the_person_sees_the_last_events(app: Flask, nobody: FlaskClient) -> None:
    give_password(nobody)
    stranger = app.test_client()
    give_password(stranger, password="not this one")

    page = nobody.get("/your-sign-in").text.split("Last at the door")[1]
    assert page.index("a wrong password was given") < page.index("signed in")
    assert page.count("a new browser") == 2


def enter_by_link(app: Flask, engine: Engine, account_id: int, now: datetime) -> FlaskClient:
    """A client of its own, signed in without a password."""
    with make_sessions(engine).begin() as session:
        link = accounts.make_link(session, account_id, now=now)
    client = app.test_client()
    assert client.get(f"/enter/{link}").status_code == 303
    return client


def numbers_to_end(client: FlaskClient) -> list[str]:
    return re.findall(r'name="which" value="(\d+)"', client.get("/your-sign-in").text)


def test_a_person_ends_one_sign_in_and_then_all_others(app: Flask, nobody: FlaskClient, clock: Clock) -> None:
    """ASVS 5.0, 7.5.2: looked at, and ended one by one or all, after the password was given again."""
    give_password(nobody)
    assert "this one, here" in nobody.get("/your-sign-in").text
    assert numbers_to_end(nobody) == []
    others = []
    for _ in range(3):
        clock.now += timedelta(minutes=5)
        others.append(app.test_client())
        give_password(others[-1])
    first, *rest = numbers_to_end(nobody)
    assert len(rest) == 2

    wrong = nobody.post("/your-sign-in/ended", data={"which": first, "password": "not this one"})
    assert wrong.status_code == 422
    assert 'href="#ending-password"' in wrong.text
    assert len(numbers_to_end(nobody)) == 3

    assert nobody.post("/your-sign-in/ended", data={"which": first, "password": PASSWORD}).status_code == 303
    assert [client.get("/contents").status_code for client in others] == [200, 200, 303]
    nobody.post("/your-sign-in/ended", data={"which": "others", "password": PASSWORD})
    assert [client.get("/contents").status_code for client in others] == [303, 303, 303]
    page = nobody.get("/your-sign-in").text
    assert "one sign-in was ended from another" in page
    assert "all sign-ins but one were ended" in page


def _tom_signed_in(app: Flask, engine: Engine, clock: Clock) -> tuple[int, FlaskClient]:
    """A helper's account and browser."""
    with make_sessions(engine).begin() as session:
        tom = accounts.create_account(session, "Tom", "helper", None, now=clock.now).id
    return tom, enter_by_link(app, engine, tom, clock.now)


def test_nobody_ends_anothers_sign_in_nor_this_one_by_number(
    app: Flask, nobody: FlaskClient, fresh_engine: Engine, clock: Clock
) -> None:
    give_password(nobody)
    _, his = _tom_signed_in(app, fresh_engine, clock)
    with make_sessions(fresh_engine).begin() as session:
        all_numbers = [row.id for person in accounts.accounts(session)
                       for row in accounts.live_sign_ins(session, person.id, now=clock.now)]  # fmt: skip
    assert len(all_numbers) == 2

    for number in [*all_numbers, "-1", "", "1 or 1=1", "9" * 30]:
        nobody.post("/your-sign-in/ended", data={"which": number, "password": PASSWORD})
    assert his.get("/contents").status_code == 200
    assert nobody.get("/contents").status_code == 200


@pytest.fixture
def ada(nobody: FlaskClient, app: Flask, fresh_engine: Engine, secured: object, clock: Clock) -> FlaskClient:
    """A second owner, with a password of her own; Ines has a second step."""
    with make_sessions(fresh_engine).begin() as session:
        accounts.create_account(session, "Ada", "owner", "quinces in syrup", now=clock.now)
    client = app.test_client()
    client.post("/sign-in", data={"name": "Ada", "password": "quinces in syrup"})
    return client


def test_an_owner_helps_who_lost_the_phone(
    app: Flask, nobody: FlaskClient, ada: FlaskClient, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "inbox.doors")
    place = re.search(r'href="(/settings/people/\d+/second-step)"', ada.get("/settings").text)
    assert place
    assert "Your own present password" in ada.get(place[1]).text

    assert ada.post(place[1], data={"password": PASSWORD}).status_code == 422, "it is Ada's that is asked for"
    assert nobody.get("/contents").status_code == 200
    assert ada.post(place[1], data={"password": "quinces in syrup"}).status_code == 303
    assert nobody.get("/contents").status_code == 303, "who was signed in by both steps is signed out"
    assert "asked for no code" in ada.get(place[1]).text
    assert "/second-step" not in ada.get("/settings").text

    assert give_password(nobody).status_code == 303
    assert "an owner switched the second step off" in nobody.get("/your-sign-in").text
    assert "changed how somebody else signs in" in ada.get("/your-sign-in").text
    said = [record.getMessage() for record in caplog.records if "code_off_by_owner" in record.getMessage()]
    assert len(said) == 1


def test_ones_own_second_step_is_not_switched_off_beside_the_way(
    ada: FlaskClient, fresh_engine: Engine, clock: Clock
) -> None:
    """A second step of one's own has its own page, which says that the sign-ins end."""
    with make_sessions(fresh_engine).begin() as session:
        number = next(row.id for row in accounts.accounts(session) if row.name == "Ada")
        session.get_one(Account, number).code_secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"

    ada.post(f"/settings/people/{number}/second-step", data={"password": "quinces in syrup"})
    with make_sessions(fresh_engine).begin() as session:
        assert second_step.is_on(session, number)


def test_an_owner_signs_a_helper_out_and_only_what_is_asked_is_done(
    app: Flask, nobody: FlaskClient, fresh_engine: Engine, clock: Clock
) -> None:
    """ASVS 5.0, 7.4.5."""
    give_password(nobody)
    tom, his = _tom_signed_in(app, fresh_engine, clock)
    nobody.post(f"/settings/people/{tom}", data={"do": ""})
    assert his.get("/contents").status_code == 200

    nobody.post(f"/settings/people/{tom}", data={"do": "sign-out"})
    assert his.get("/contents").status_code == 303
    again = enter_by_link(app, fresh_engine, tom, clock.now)
    assert "an owner ended every sign-in" in again.get("/your-sign-in").text
