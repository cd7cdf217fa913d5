"""First steps, settings, people, checking, readers and what can be taken out."""

import csv
import io
import json
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.intake.forms import FORMS
from inbox.records.saved import saved_settings
from inbox.records.settle import set_hand_label
from inbox.records.tables import HandLabel, Message, Reader
from inbox.records.tables_out import Account, LongWork
from inbox.settings import owner_settings
from inbox.web.pages.owner import GROUPS, LABELS
from inbox.web.taking_out import harmless
from tests.makers import make_message, make_reader, make_recipe
from tests.web.filled import fill

FIRST = {
    "owner_name": "Ines",
    "password": "rye and caraway",
    "site_name": "Second Rise",
    "timezone": "Europe/London",
}


def test_an_empty_place_leads_through(nobody: FlaskClient, ledger: Session) -> None:
    assert nobody.get("/", follow_redirects=True).request.path == "/setup"

    wrong = nobody.post("/setup", data={**FIRST, "password": "short", "timezone": "Mars/Olympus"})
    assert wrong.status_code == 422
    assert 'href="#password"' in wrong.text
    assert "no time zone" in wrong.text
    assert 'value="Second Rise"' in wrong.text
    assert ledger.scalars(select(Account)).all() == []
    ledger.rollback()

    assert '<option value="Europe/London">' in wrong.text
    assert ">United Kingdom</option>" in wrong.text

    answer = nobody.post("/setup", data={**FIRST, "country": "GB"})
    assert answer.status_code == 303
    settings_page = nobody.get("/settings").text
    assert '<option value="GB" selected>United Kingdom</option>' in settings_page
    assert '<option value="Europe/London">' in settings_page
    page = nobody.get("/setup").text
    assert "First steps" in page
    assert page.count(">done<") == 1
    assert saved_settings(ledger)["site_name"] == "Second Rise"


def test_nobody_begins_twice_or_from_afar(
    nobody: FlaskClient, owner: FlaskClient, helper: FlaskClient
) -> None:
    assert nobody.post("/setup", data=FIRST).status_code == 403
    assert nobody.get("/setup").location.startswith("/sign-in")
    assert helper.get("/setup").status_code == 303


def test_the_first_owner_is_not_made_from_the_open_net(nobody: FlaskClient, ledger: Session) -> None:
    answer = nobody.post("/setup", data=FIRST, environ_base={"REMOTE_ADDR": "8.8.8.8"})

    assert answer.status_code == 403
    assert ledger.scalars(select(Account)).all() == []


def test_every_setting_of_the_page_has_a_plain_name_and_a_place() -> None:
    grouped = [name for names in GROUPS.values() for name in names]
    assert sorted(grouped) == sorted(owner_settings()) == sorted(LABELS)


def test_settings_are_kept_whole_or_not_at_all(owner: FlaskClient, ledger: Session) -> None:
    wrong = owner.post("/settings", data={"site_name": "New", "digest_hour": "25"})
    assert wrong.status_code == 422
    assert 'aria-describedby="digest_hour-hint digest_hour-wrong"' in wrong.text
    assert "site_name" not in saved_settings(ledger)
    ledger.rollback()

    assert owner.post("/settings", data={"site_name": "New", "digest_hour": "9"}).status_code == 303
    assert saved_settings(ledger)["digest_hour"] == "9"
    assert "New" in owner.get("/settings").text


def test_a_helper_comes_in_by_a_link_and_chooses_a_password(
    app: Flask, owner: FlaskClient, ledger: Session
) -> None:
    page = owner.post("/settings/people", data={"person": "Tom", "role": "helper"}).text
    link = page.split("/enter/")[1].split("<")[0]

    tom = app.test_client()
    assert tom.get(f"/enter/{link}").location == "/password"
    differ = tom.post("/password", data={"password": "oats and honey", "again": "oats and salt"})
    assert differ.status_code == 422
    answer = tom.post("/password", data={"password": "oats and honey", "again": "oats and honey"})
    assert answer.status_code == 303
    assert tom.post("/password", data={"password": "x" * 12, "again": "x" * 12}).status_code == 422
    assert tom.get("/settings").status_code == 403

    number = ledger.scalars(select(Account.id).where(Account.name == "Tom")).one()
    ledger.rollback()
    owner.post(f"/settings/people/{number}", data={"do": "close"})
    assert tom.get("/messages").status_code == 303


def test_words_on_the_forms_are_reworded_and_go_back(owner: FlaskClient, nobody: FlaskClient) -> None:
    owner.post("/forms/words", data={"ask.name": "Ask <me>"})
    assert "Ask &lt;me&gt;" in nobody.get("/f/ask").text
    owner.post("/forms/words", data={"ask.name": ""})
    assert "<h1>Ask</h1>" in nobody.get("/f/ask").text
    assert owner.post("/forms/words", data={"ask.name": "x" * 500}).status_code == 422


def test_forms_to_copy_name_every_form(owner: FlaskClient, ledger: Session) -> None:
    make_recipe(ledger, slug="tart")
    ledger.commit()

    page = owner.get("/forms?recipe=tart").text
    for form in FORMS:
        assert f"/f/{form}/tart" in page


def test_the_first_digest_is_asked_for(owner: FlaskClient, ledger: Session) -> None:
    answer = owner.post("/setup/digest")

    assert answer.location.startswith("/bring-in/work/")
    assert ledger.scalars(select(LongWork.what)).all() == ["digest"]


def test_checking_counts_for_measuring_only_in_the_random_sample(
    owner: FlaskClient, ledger: Session, now: datetime
) -> None:
    fill(ledger, now=now)
    ledger.commit()
    page = owner.get("/check").text
    assert "It cannot be said yet" in page
    numbers = [int(piece.split('"')[0]) for piece in page.split('action="/check/')[1:]]
    assert len(numbers) == 15
    for number in numbers:
        assert owner.post(f"/check/{number}", data={"kind": ["made_it"]}).status_code == 303

    flags = dict(ledger.execute(select(HandLabel.message_id, HandLabel.from_random_sample)).all())
    assert [flags[number] for number in numbers] == [True] * 10 + [False] * 5
    page = owner.get("/check").text
    assert "By 10 messages that were drawn by chance" in page
    assert "<svg" in page
    assert owner.post(f"/check/{numbers[0]}", data={}).status_code == 422


def test_a_reader_is_found_handed_out_and_forgotten(owner: FlaskClient, ledger: Session) -> None:
    reader = make_reader(ledger, name="Ada", email="ada@example.org")
    make_message(ledger, reader_id=reader.id, text="My secret rhubarb words")
    ledger.commit()
    number = reader.id

    assert "ada@example.org" in owner.get("/readers?words=ADA").text
    assert "secret rhubarb" in owner.get(f"/readers/{number}").text
    assert json.loads(owner.get(f"/readers/{number}/all.json").text)["reader"]["email"] == "ada@example.org"
    assert owner.post(f"/readers/{number}/forget", data={"sure": "no"}).status_code == 422
    assert owner.post(f"/readers/{number}/forget", data={"sure": "forget"}).status_code == 303
    page = owner.get(f"/readers/{number}").text
    assert "secret rhubarb" not in page
    assert "A reader who asked to be forgotten" in page
    assert (
        ledger.scalar(
            select(Reader.email).where(Reader.id == number).execution_options(populate_existing=True)
        )
        is None
    )
    assert ledger.scalars(select(LongWork.what)).all() == ["wipe"]


def test_messages_go_out_as_a_table_and_as_lines(owner: FlaskClient, ledger: Session, now: datetime) -> None:
    for at in range(1203):
        make_message(ledger, text=f"=HYPERLINK({at})", received_at=now - timedelta(hours=at))
    ledger.commit()

    rows = list(csv.reader(io.StringIO(owner.get("/take-out/messages.csv").text)))
    assert len(rows) == 1204
    assert rows[1][-1] == "'=HYPERLINK(0)"
    lines = owner.get("/take-out/messages.jsonl?words=hyperlink").text.splitlines()
    assert len(lines) == 1203
    assert json.loads(lines[0])["text"] == "=HYPERLINK(0)"
    assert owner.get("/take-out/messages.xml").status_code == 404


@pytest.mark.parametrize("sign", list("=+-@\t\r\n\x00＝＋－＠"))
def test_no_cell_is_a_formula(sign: str) -> None:
    """OWASP ASVS 5.0, 1.2.10, and the OWASP page on CSV injection (sources X4, from memory)."""
    assert harmless(f"{sign}1+1").startswith("'")
    assert harmless("a=1") == "a=1"


def test_only_what_may_be_quoted_is_marked_up(owner: FlaskClient, ledger: Session, now: datetime) -> None:
    make_recipe(ledger, slug="tart", title="Tart")
    reader = make_reader(ledger, name="Ada Byron")
    for text, allowed in (("Lovely </script> tart", True), ("Do not quote me", False)):
        message = make_message(ledger, text=text, may_quote=allowed, reader_id=reader.id, stars=5.0)
        set_hand_label(ledger, message.id, "kinds", ["made_it"], account_id=None, now=now)
        set_hand_label(ledger, message.id, "recipe", "tart", account_id=None, now=now)
    ledger.commit()

    marked = json.loads(owner.get("/take-out/reviews/tart.json").text)
    assert [one["reviewBody"] for one in marked["review"]] == ["Lovely </script> tart"]
    assert marked["review"][0]["author"]["name"] == "Ada"
    sheet = owner.get("/take-out/quotations?recipe=tart").text
    assert "Lovely &lt;/script&gt; tart" in sheet
    assert "Do not quote me" not in sheet


def test_pages_render_for_a_filled_place(
    owner: FlaskClient, ledger: Session, now: datetime, sign_in: Callable[..., FlaskClient]
) -> None:
    fill(ledger, now=now)
    ledger.commit()
    number = ledger.scalars(select(Message.id).limit(1)).one()
    ledger.rollback()
    for path in (
        "/contents", "/digests", "/requests", "/recipes", "/recipes/sharp-lemon-tart", "/hazards", "/replies",
        "/replies/sent", "/phrases", "/check", "/bring-in", "/set-aside", "/second-look",
        "/forms", "/forms/words",
        "/readers",
        "/settings", "/setup", "/setup/mail", "/password", "/take-out", "/take-out/quotations", "/style",
        f"/messages/{number}", f"/replies/{number}", "/messages?kind=problem&hazard=any",
    ):  # fmt: skip
        answer = owner.get(path)
        assert answer.status_code == 200, path
        assert len(answer.data) < 150_000, path
