"""The Webmention endpoint (W3C Recommendation, 12 January 2017, 3.2): 202, or 400 for a sender's fault."""

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.records.tables_out import Mention
from tests.makers import THEN, make_recipe

SOURCE = "https://reader.example/my-loaf"


def test_a_mention_of_a_recipe_waits_to_be_verified(app: Flask, ledger: Session) -> None:
    recipe = make_recipe(ledger, url="https://kitchen.example/rye-loaf")
    ledger.commit()

    answer = app.test_client().post("/webmention", data={"source": SOURCE, "target": recipe.url})

    assert answer.status_code == 202
    assert ledger.scalars(select(Mention.source)).all() == [SOURCE]


@pytest.mark.parametrize(
    ("source", "target"),
    [
        ("", "https://kitchen.example/rye-loaf"),
        (SOURCE, SOURCE),
        ("ftp://reader.example/x", "https://kitchen.example/rye-loaf"),
        (SOURCE, "https://somebody-else.example/page"),
    ],
    ids=["no source", "same page", "scheme", "not ours"],
)
def test_a_fault_of_the_sender_is_400(app: Flask, ledger: Session, source: str, target: str) -> None:
    make_recipe(ledger, url="https://kitchen.example/rye-loaf")
    ledger.commit()

    answer = app.test_client().post("/webmention", data={"source": source, "target": target})

    assert answer.status_code == 400
    assert ledger.scalars(select(Mention)).all() == []


def test_a_refused_mention_is_shown_with_its_reason_and_tried_again(
    helper: FlaskClient, ledger: Session
) -> None:
    row = Mention(
        source=SOURCE, target="https://kitchen.example/rye-loaf", state="refused", received_at=THEN,
        tried_count=3, reason="The page answered with status 503.",
    )  # fmt: skip
    ledger.add(row)
    ledger.commit()
    number = row.id
    page = helper.get("/set-aside").text
    assert SOURCE in page
    assert "status 503" in page

    assert helper.post(f"/set-aside/mentions/{number}").location == "/set-aside"
    ledger.expire_all()
    row = ledger.get_one(Mention, number)
    assert (row.state, row.tried_count, row.reason) == ("waiting", 0, None)
    ledger.rollback()
    assert SOURCE not in helper.get("/set-aside").text
    assert helper.post(f"/set-aside/mentions/{number}").status_code == 422
    assert helper.post("/set-aside/mentions/98765").status_code == 404
