"""Themes, recipes, replies, hazards and digests through the pages."""

import re
from datetime import datetime, timedelta

import pytest
from flask.testing import FlaskClient
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.reading.cautions import caution_for
from inbox.records.settle import set_hand_label
from inbox.records.tables import Revision
from inbox.records.tables_out import (
    DigestRow,
    Mended,
    Phrase,
    RecipeStanding,
    Reply,
    Theme,
    ThemeMember,
    ThemeRank,
)
from inbox.settings import Settings
from inbox.web.ical import bench_day, folded
from tests.makers import THEN, make_message, make_reader, make_recipe, make_theme
from tests.web.filled import fill, fill_findings


@pytest.fixture
def filled(ledger: Session, settings: Settings, now: datetime) -> Session:
    fill(ledger, now=now)
    fill_findings(ledger, settings, now=now)
    ledger.commit()
    return ledger


def _first_theme(session: Session) -> int:
    number = session.scalars(select(Theme.id).order_by(Theme.id)).first()
    session.rollback()
    assert number is not None
    return number


def test_the_four_parts_add_up_to_what_is_shown(owner: FlaskClient, ledger: Session) -> None:
    """Rounded parts are summed, so that the page's own addition is right."""
    theme = make_theme(ledger, name="rye crackers")
    parts = {"rate": 0.449, "season": 0.349, "gap": -0.151, "effort": -0.249}
    ledger.add(
        ThemeRank(
            theme_id=theme.id, ranked_at=THEN, place=1, score=sum(parts.values()), reader_count=3,
            in_words="three people in eight weeks", details={"parts": parts},
        )
    )  # fmt: skip
    ledger.commit()

    page = owner.get(f"/requests/{theme.id}").text
    shown = [float(piece.split("<")[0]) for piece in page.split('<td class="number">')[1:5]]
    total = float(page.split('<td class="number"><strong>')[1].split("<")[0])
    assert shown == [0.4, 0.3, -0.2, -0.2]
    assert total == pytest.approx(sum(shown))


def test_a_theme_is_named_estimated_benched_published_passed_over(
    owner: FlaskClient, filled: Session
) -> None:
    number = _first_theme(filled)
    to = f"/requests/{number}/decide"
    for form in (
        {"what": "rename", "name": "Crackers of rye"},
        {"what": "effort", "days": "2,5"},
        {"what": "on_the_bench", "due_on": "2026-12-20"},
    ):
        assert owner.post(to, data=form).status_code == 303
    calendar = owner.get(f"/requests/{number}/bench.ics")
    assert "DTSTART;VALUE=DATE:20261220" in calendar.text
    assert owner.post(to, data={"what": "published", "recipe": "sharp-lemon-tart"}).status_code == 303
    assert owner.post(to, data={"what": "passed_over", "reason": "Too alike"}).status_code == 303

    theme = filled.get_one(Theme, number)
    assert (theme.name, theme.effort, theme.shelf, theme.shelf_reason) == (
        "Crackers of rye", 2.5, "passed_over", "Too alike",
    )  # fmt: skip
    assert "Too alike" in owner.get("/requests?shelf=passed_over").text


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({"what": "rename", "name": ""}, "1 to 120 characters"),
        ({"what": "effort", "days": "many"}, "write a number"),
        ({"what": "on_the_bench", "due_on": "soon"}, "2026-11-23"),
        ({"what": "passed_over", "reason": ""}, "Say why"),
        ({"what": "published", "recipe": ""}, "There is no recipe"),
        ({"what": "merge", "other": ""}, "Choose the theme"),
        ({"what": "nonsense"}, "There is no shelf"),
    ],
)
def test_a_decision_that_lacks_something_says_what(
    owner: FlaskClient, ledger: Session, form: dict[str, str], words: str
) -> None:
    theme = make_theme(ledger)
    ledger.commit()

    answer = owner.post(f"/requests/{theme.id}/decide", data=form)

    assert answer.status_code == 422
    assert words in answer.text


def test_requests_are_taken_out_into_a_theme_of_their_own(owner: FlaskClient, filled: Session) -> None:
    number = _first_theme(filled)
    members = filled.scalars(select(ThemeMember.message_id).where(ThemeMember.theme_id == number)).all()
    filled.rollback()

    assert owner.post(f"/requests/{number}/split", data={"name": "x"}).status_code == 422
    answer = owner.post(f"/requests/{number}/split", data={"pick": [members[0]], "name": "Their own"})
    assert answer.status_code == 303
    assert "Their own" in owner.get(answer.location).text
    assert filled.get_one(ThemeMember, members[0]).by_hand


def test_only_the_owner_tells_and_only_those_who_ticked(
    owner: FlaskClient, helper: FlaskClient, ledger: Session
) -> None:
    recipe, theme = make_recipe(ledger, slug="crackers"), make_theme(ledger, shelf="published")
    theme.recipe_id = recipe.id
    for ticked in (True, False):
        message = make_message(
            ledger, reader_id=make_reader(ledger).id, tell_me=ticked, text=f"Ticked: {ticked}"
        )
        ledger.add(ThemeMember(message_id=message.id, theme_id=theme.id, similarity=1.0, joined_at=THEN))
    ledger.commit()
    to = f"/requests/{theme.id}/tell"

    page = owner.get(to).text
    assert "Ticked: True" in page
    assert "Ticked: False" not in page
    assert helper.post(to, data={"body": "It is there."}).status_code == 403
    assert owner.post(to, data={"body": ""}).status_code == 422


def test_a_calendar_line_is_folded_and_escaped() -> None:
    """RFC 5545, 3.1 and 3.3.11: at most 75 octets a line, never inside a character; commas escaped."""
    text = bench_day(7, "crème brûlée, " * 12, THEN.date(), "https://kitchen.example", now=THEN)

    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    assert "DTEND;VALUE=DATE:20261119" in text
    assert "crème brûlée\\, " in text.replace("\r\n ", "")
    assert folded("x" * 75) == "x" * 75 + "\r\n"


def test_a_recipe_shows_its_faults_and_takes_notes(owner: FlaskClient, filled: Session) -> None:
    page = owner.get("/recipes/everyday-sandwich-loaf").text
    assert "About four of nine" in page
    assert "commoner here" in page
    assert "<svg" in page

    to = "/recipes/everyday-sandwich-loaf"
    assert owner.post(to + "/changed", data={"note": "", "on": "2026-11-20"}).status_code == 422
    assert owner.post(to + "/changed", data={"note": "Longer", "on": "then"}).status_code == 422
    assert owner.post(to + "/changed", data={"note": "Longer", "on": "2026-11-20"}).status_code == 303
    assert filled.scalars(select(Revision.note)).all() == ["Longer"]
    assert owner.post("/recipes/nowhere/changed", data={"note": "x", "on": "2026-11-20"}).status_code == 404


def test_a_page_fault_is_listed_until_it_is_mended(
    owner: FlaskClient, ledger: Session, now: datetime
) -> None:
    make_recipe(ledger, slug="tart", title="Tart")
    message = make_message(ledger, text="250 g of flour is far too much <b>")
    for field, value in {"kinds": ["problem"], "faults": ["wrong_amount"], "recipe": "tart"}.items():
        set_hand_label(ledger, message.id, field, value, account_id=None, now=now)
    ledger.commit()

    for address in ("/recipes", "/recipes/tart"):
        assert "In the ingredients: <em>250 g plain flour</em>" in owner.get(address).text
    assert "250 g of flour is far too much &lt;b&gt;" in owner.get("/recipes/tart").text
    assert "Tart: wrong amount" in owner.get("/recipes").text
    assert owner.post("/recipes/tart/mended", data={"what": "wrong_amount"}).status_code == 303
    assert "Tart: wrong amount" not in owner.get("/recipes").text
    assert ledger.scalars(select(Mended.what)).all() == ["wrong_amount"]


def _waiting_message(ledger: Session) -> int:
    message = make_message(ledger, reader_id=make_reader(ledger).id, channel="email", text="Does it freeze?")
    number = message.id
    set_hand_label(ledger, number, "kinds", ["question"], account_id=None, now=THEN)
    ledger.commit()
    return number


def test_a_draft_is_kept_sent_once_and_taken_back(owner: FlaskClient, ledger: Session) -> None:
    owner.post("/settings", data={"owner_email": "ines@example.org"})
    number = _waiting_message(ledger)
    assert "Does it freeze?" in owner.get("/replies").text

    owner.post(f"/replies/{number}/begin")
    assert owner.post(f"/replies/{number}", data={"body": "It does.", "do": "save"}).status_code == 303
    assert "Go on with the draft" in owner.get(f"/messages/{number}").text
    for _ in range(2):
        owner.post(f"/replies/{number}", data={"body": "It does.", "do": "send"})
    states = ledger.execute(select(Reply.id, Reply.state, Reply.body)).all()
    ledger.rollback()
    assert states[0][1:] == ("waiting", "It does.")
    assert owner.post(f"/replies/sent/{states[0][0]}", data={"do": "take_back"}).status_code == 303
    assert "It does." in owner.get(f"/replies/{number}").text


def test_words_that_cannot_be_sent_are_kept(owner: FlaskClient, ledger: Session) -> None:
    """No address of the owner is set, so nothing can go; what was typed stays in the draft."""
    number = _waiting_message(ledger)

    answer = owner.post(f"/replies/{number}", data={"body": "My <words>", "do": "send"})

    assert answer.status_code == 422
    assert "My &lt;words&gt;" in answer.text
    assert ledger.execute(select(Reply.state, Reply.body)).all() == [("draft", "My <words>")]


def test_two_windows_on_one_draft_show_both(owner: FlaskClient, ledger: Session) -> None:
    number = _waiting_message(ledger)
    owner.post(f"/replies/{number}", data={"body": "First", "do": "save"})

    answer = owner.post(
        f"/replies/{number}", data={"body": "Second", "do": "save", "changed_at": "2020-01-01T00:00:00+00:00"}
    )

    assert answer.status_code == 422
    assert "First" in answer.text
    assert "Second" in answer.text
    assert ledger.scalars(select(Reply.body)).all() == ["First"]


def test_a_phrase_is_kept_offered_and_forgotten(owner: FlaskClient, ledger: Session) -> None:
    number = _waiting_message(ledger)
    assert owner.post("/phrases", data={"name": "Thanks", "body": "{unknown}"}).status_code == 422
    assert (
        owner.post("/phrases", data={"name": "Thanks", "body": "Dear {first name}, thanks"}).status_code
        == 303
    )
    owner.post(f"/replies/{number}/begin")
    page = owner.get(f"/replies/{number}").text
    assert "Dear Ada, thanks" in page
    use = page.split('value="use:')[1].split('"')[0]
    owner.post(f"/replies/{number}", data={"body": "Hello.", "do": f"use:{use}"})
    assert "Hello.\n\nDear Ada, thanks" in owner.get(f"/replies/{number}").text.replace("\r", "")

    kept = ledger.scalars(select(Phrase.id)).one()
    ledger.rollback()
    owner.post(f"/phrases/{kept}/forget")
    assert ledger.scalar(select(func.count()).select_from(Phrase)) == 0


def test_a_hazard_has_its_caution_and_source(owner: FlaskClient, ledger: Session, now: datetime) -> None:
    message = make_message(ledger, text="My niece came up in hives", received_at=now)
    set_hand_label(ledger, message.id, "hazard", "allergen", account_id=None, now=now)
    ledger.commit()

    assert "1 message tells of a hazard" in owner.get("/contents").text
    page = owner.get(f"/hazards/{message.id}").text
    for words in ("The usual caution", "Source:", "never says that something is safe", "What to look at"):
        assert words in page
    owner.post(f"/hazards/{message.id}", data={"do": "done"})
    assert "tells of a hazard" not in owner.get("/contents").text
    assert owner.get("/hazards/999").status_code == 404


def test_every_figure_of_the_digest_opens(owner: FlaskClient, filled: Session) -> None:
    week = filled.scalars(select(DigestRow.week)).one()
    filled.rollback()
    assert owner.get("/digest").location == f"/digests/{week}"
    page = owner.get(f"/digests/{week}").text
    addresses = {
        piece.split('"')[0].replace("&amp;", "&")
        for piece in page.split('href="')[1:]
        if piece.startswith(("/messages", "/recipes", "/requests", "/hazards"))
    }
    assert len(addresses) > 10
    for address in addresses:
        assert owner.get(address).status_code == 200, address


def test_the_feed_is_private(owner: FlaskClient, nobody: FlaskClient, filled: Session) -> None:
    assert nobody.get("/digests/feed/guess").status_code == 404
    owner.post("/digests/feed")
    address = owner.get("/digests").text.split("/digests/feed/")[1].split("<")[0]
    assert b"<feed" in nobody.get(f"/digests/feed/{address}").data
    owner.post("/digests/feed")
    assert nobody.get(f"/digests/feed/{address}").status_code == 404


def test_a_published_theme_shows_who_cooked_it_and_who_asked_later(
    owner: FlaskClient, ledger: Session, now: datetime
) -> None:
    recipe = make_recipe(ledger, slug="gf-loaf", title="Loaf without wheat")
    theme = make_theme(ledger, shelf="published", shelf_at=THEN, recipe_id=recipe.id, name="wheatless loaf")
    ada = make_reader(ledger)
    first = make_message(ledger, reader_id=ada.id, received_at=THEN - timedelta(days=9), text="A loaf please")
    later = make_message(
        ledger, reader_id=make_reader(ledger).id, received_at=now, text="Any wheatless loaf?"
    )
    open_one = make_message(ledger, received_at=now, text="Loaf?")
    for message in (first, later, open_one):
        ledger.add(ThemeMember(message_id=message.id, theme_id=theme.id, similarity=1.0, joined_at=THEN))
    made = make_message(ledger, reader_id=ada.id, received_at=now)
    for field, value in {"kinds": ["made_it"], "outcome": "worked", "recipe": "gf-loaf"}.items():
        set_hand_label(ledger, made.id, field, value, account_id=None, now=now)
    pointing = {"state": "sent", "subject": "Re", "body": "It is here: Loaf without wheat", "sent_at": now}
    ledger.add(Reply(message_id=later.id, created_at=now, changed_at=now, **pointing))
    ledger.commit()
    number, made_id = theme.id, made.id
    ledger.rollback()

    page = owner.get(f"/requests/{number}").text
    assert "one told of making it: one worked" in page
    assert f"/messages?only={made_id}" in page
    after = page[page.index("Asked after it was published") :]
    assert "answered by pointing on" in after
    assert "not answered yet" in after
    assert "A loaf please" not in after[: after.index("Requests over time")]
    assert "one told of making it" in owner.get("/requests?shelf=published").text


def test_a_hazards_points_are_ticked_and_the_open_ones_come_first(
    owner: FlaskClient, ledger: Session, now: datetime
) -> None:
    old, new = (
        make_message(ledger, text=words, received_at=now - timedelta(days=days)).id
        for words, days in (("Hives again", 2), ("Hives once", 1))
    )
    for number in (old, new):
        set_hand_label(ledger, number, "hazard", "pet", account_id=None, now=now)
    ledger.commit()

    assert (
        owner.post(f"/hazards/{new}", data={"do": "look", "point": ["0", "1", "9", "x"]}).status_code == 303
    )
    page = owner.get(f"/hazards/{new}").text
    assert page.count(" checked") == 2
    assert "Ines, " in page
    listed = owner.get("/hazards").text
    assert listed.index("Hives again") < listed.index("Hives once")
    assert "0 of 2 points looked at" in listed
    assert "All looked at." in listed
    owner.post(f"/hazards/{new}", data={"do": "look"})
    assert " checked" not in owner.get(f"/hazards/{new}").text
    assert owner.post("/hazards/999", data={"do": "look"}).status_code == 404


def test_a_repeated_question_is_answered_counted_and_opened_again(
    owner: FlaskClient, ledger: Session, now: datetime
) -> None:
    recipe = make_recipe(ledger, slug="tart", title="Tart")
    ids = []
    for days in (60, 40, 20, 0):
        message = make_message(ledger, text="Does it freeze?", received_at=now - timedelta(days=days))
        for field, value in {"kinds": ["question"], "recipe": "tart"}.items():
            set_hand_label(ledger, message.id, field, value, account_id=None, now=now)
        ids.append(message.id)
    found = {"message_ids": ids, "in_words": "Four readers ask this.", "words": "Does it freeze?"}
    facts = {"share": 0.1, "low": 0.0, "high": 0.3, "reader_count": 0, "failed_count": 0.0, "in_words": ""}
    ledger.add(
        RecipeStanding(
            recipe_id=recipe.id,
            judged_at=now,
            standing="too_few_reports",
            details={"questions": [found]},
            **facts,
        )
    )
    ledger.commit()
    listed = ",".join(str(number) for number in ids)
    day = (now - timedelta(days=30)).date().isoformat()
    sent = {"messages": listed, "question": "can it be frozen?", "note": "Two months.", "on": day}

    assert f"/messages?only={listed}" in owner.get("/recipes/tart").text
    refused = owner.post("/recipes/tart/answered", data={**sent, "note": ""})
    assert refused.status_code == 422
    assert "can it be frozen?" in refused.text
    assert owner.post("/recipes/tart/answered", data={**sent, "on": "soon"}).status_code == 422
    assert owner.post("/recipes/tart/answered", data=sent).status_code == 303
    page = owner.get("/recipes/tart").text
    assert "Can it be frozen?" in page
    assert "Asked twice before, twice since: still too few days to tell." in page
    assert "Four readers ask this." not in page
    kept = ledger.scalars(select(Mended.id)).one()
    ledger.rollback()
    assert owner.post(f"/recipes/tart/mended/{kept}/open").status_code == 303
    assert "Four readers ask this." in owner.get("/recipes/tart").text
    assert owner.post(f"/recipes/tart/mended/{kept}/open").status_code == 404


def test_no_reply_needed_is_undone_from_the_list(owner: FlaskClient, ledger: Session) -> None:
    number = _waiting_message(ledger)
    words = "Does it freeze?"
    assert words in owner.get("/replies").text
    owner.post("/replies/no-reply", data={"messages": str(number)})
    page = owner.get("/replies").text
    assert words not in page
    step = re.search(r'action="(/undo/[0-9]+)"', page)
    assert step is not None
    assert owner.post(step[1], data={"then": "/replies"}).headers["Location"].endswith("/replies")
    assert words in owner.get("/replies").text


def test_a_caution_is_offered_with_the_numbers_of_the_owners_country(
    owner: FlaskClient, ledger: Session
) -> None:
    number = _waiting_message(ledger)
    set_hand_label(ledger, number, "hazard", "allergen", account_id=None, now=THEN)
    ledger.commit()
    (line, *_) = caution_for("allergen", "GB").help_lines
    owner.post(f"/replies/{number}/begin")
    page = owner.get(f"/replies/{number}").text
    offered = page[page.index("To write it from") :]
    assert f"{line.who}: {line.number}" in offered
    # What is put in is what was shown.
    before = page.count(line.number)
    owner.post(f"/replies/{number}", data={"do": "use:0", "subject": "Re"})
    assert owner.get(f"/replies/{number}").text.count(line.number) == before + 1
