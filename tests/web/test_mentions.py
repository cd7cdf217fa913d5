"""The Webmention endpoint (W3C Recommendation, 12 January 2017, 3.2): 202, or 400 for a sender's fault."""

import pytest
from flask import Flask
from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.records.tables_out import Mention
from tests.makers import make_recipe

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
