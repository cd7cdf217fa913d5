"""The export has every message once, with what counts and what a person said."""

import json

from sqlalchemy.orm import Session

from inbox.records.export import jsonl_lines
from inbox.records.settle import set_hand_label, settle
from tests.makers import THEN, make_message, make_reader, make_recipe
from tests.records.test_settle import add_reading


def test_every_message_once_with_labels(any_session: Session) -> None:
    recipe = make_recipe(any_session, slug="rye-loaf")
    reader = make_reader(any_session, email="ada@example.org")
    first = make_message(any_session, reader_id=reader.id, page_recipe_id=recipe.id, text="It sank.")
    second = make_message(any_session, text="crème – 🥖")
    add_reading(any_session, first.id, recipe_id=recipe.id)
    settle(any_session, [first.id])
    set_hand_label(any_session, first.id, "outcome", None, account_id=None, now=THEN)

    lines = [json.loads(line) for line in jsonl_lines(any_session)]

    assert [line["id"] for line in lines] == [first.key, second.key]
    assert lines[0]["recipe"] == "rye-loaf"
    assert lines[0]["labels"] == {
        "kinds": ["made_it", "problem"],
        "outcome": None,
        "faults": ["sank"],
        "hazard": None,
        "recipe": "rye-loaf",
        "language": "en",
    }
    assert lines[0]["hand"] == {"outcome": None}
    assert lines[1]["text"] == "crème – 🥖"
    assert "labels" not in lines[1]
