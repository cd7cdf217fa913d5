"""A hand label wins over the reading, for good, and nothing else is lost by it."""

from datetime import datetime

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.settle import remove_hand_label, set_hand_label, settle
from inbox.records.tables import Labels, MessageFault, MessageReading
from inbox.words import KINDS
from tests.makers import THEN, make_message, make_recipe


def add_reading(session: Session, message_id: int, **facts: object) -> MessageReading:
    probabilities = dict.fromkeys(KINDS, 0.05) | {"made_it": 0.9, "problem": 0.8}
    defaults: dict[str, object] = {
        "model_version": "test",
        "read_at": THEN,
        "kind_probabilities": probabilities,
        "kinds": ["made_it", "problem"],
        "outcome_probabilities": {"worked": 0.1, "mixed": 0.2, "failed": 0.7, "unsaid": 0.0},
        "outcome": "failed",
        "fault_probabilities": {"sank": 0.6, "dense": 0.1},
        "faults": ["sank"],
        "hazard_words": [],
        "recipe_confidence": 0.0,
        "recipe_also": [],
        "recipe_why": "",
        "language": "en",
    }
    row = MessageReading(message_id=message_id, **{**defaults, **facts})
    session.add(row)
    session.flush()
    return row


def test_reading_counts_where_no_person_spoke(any_session: Session) -> None:
    message = make_message(any_session)
    add_reading(any_session, message.id)

    settle(any_session, [message.id])

    labels = any_session.get_one(Labels, message.id)
    assert labels.kinds == ("made_it", "problem")
    assert (labels.outcome, labels.failed_probability) == ("failed", 0.7)
    assert labels.problem_probability == 0.8
    assert labels.least_sure == pytest.approx(0.3)
    assert [(row.fault, row.probability) for row in labels.faults] == [("sank", 0.6)]


def test_hand_label_outlasts_a_new_reading(any_session: Session, now: datetime) -> None:
    message = make_message(any_session)
    reading = add_reading(any_session, message.id)
    set_hand_label(any_session, message.id, "outcome", "worked", account_id=None, now=now)
    reading.outcome, reading.outcome_probabilities = "failed", {"failed": 1.0}

    settle(any_session, [message.id])

    labels = any_session.get_one(Labels, message.id)
    assert (labels.outcome, labels.failed_probability, labels.by_hand) == ("worked", 0.0, True)


def test_another_language_counts_for_nothing_until_a_person_says_what_it_is(
    any_session: Session, now: datetime
) -> None:
    message = make_message(any_session, text="Mein Kuchen ist nicht aufgegangen, und mir war danach übel.")
    add_reading(any_session, message.id, language="de", hazard="illness")

    settle(any_session, [message.id])

    labels = any_session.get_one(Labels, message.id)
    assert (labels.kinds, labels.outcome, labels.language) == ((), None, "de")
    assert (labels.failed_probability, labels.problem_probability, labels.least_sure) == (0.0, 0.0, 0.5)
    assert (labels.faults, labels.hazard) == ([], "illness")

    set_hand_label(any_session, message.id, "kinds", ["made_it", "problem"], account_id=None, now=now)
    assert any_session.get_one(Labels, message.id).kinds == ("made_it", "problem")

    remove_hand_label(any_session, message.id, "kinds")
    set_hand_label(any_session, message.id, "language", "en", account_id=None, now=now)
    labels = any_session.get_one(Labels, message.id)
    assert labels.kinds == ("made_it", "problem")
    assert (labels.outcome, labels.failed_probability) == ("failed", 0.7)


def test_taking_problem_off_takes_its_faults_off(session: Session, now: datetime) -> None:
    message = make_message(session)
    add_reading(session, message.id)

    set_hand_label(session, message.id, "kinds", ["made_it"], account_id=None, now=now)

    assert session.scalars(select(MessageFault)).all() == []
    assert session.get_one(Labels, message.id).problem_probability == 0.0


def test_label_can_be_taken_back(session: Session, now: datetime) -> None:
    message = make_message(session)
    add_reading(session, message.id)
    set_hand_label(session, message.id, "hazard", "injury", account_id=None, now=now)

    remove_hand_label(session, message.id, "hazard")

    labels = session.get_one(Labels, message.id)
    assert (labels.hazard, labels.by_hand) == (None, False)


def test_recipe_by_hand_names_a_recipe_of_the_catalogue(session: Session, now: datetime) -> None:
    message, recipe = make_message(session), make_recipe(session, slug="rye-loaf")

    set_hand_label(session, message.id, "recipe", "rye-loaf", account_id=None, now=now)
    assert session.get_one(Labels, message.id).recipe_id == recipe.id

    with pytest.raises(NotFoundError, match="no recipe 'wry-loaf'"):
        set_hand_label(session, message.id, "recipe", "wry-loaf", account_id=None, now=now)


@pytest.mark.parametrize(
    ("field", "value", "reason"),
    [
        ("kinds", ["comment", "problem"], "comment stands alone"),
        ("kinds", [], "kinds is empty"),
        ("kinds", ["praise"], "kinds has 'praise'"),
        ("kinds", "problem", "must be a list"),
        ("faults", ["sunk"], "faults has 'sunk'"),
        ("outcome", "good", "outcome is 'good'"),
        ("hazard", "fire", "hazard is 'fire'"),
        ("mood", "fine", "no label 'mood'"),
    ],
)
def test_a_wrong_label_is_refused_in_words(
    session: Session, now: datetime, field: str, value: object, reason: str
) -> None:
    message = make_message(session)

    with pytest.raises(InputError, match=reason):
        set_hand_label(session, message.id, field, value, account_id=None, now=now)
