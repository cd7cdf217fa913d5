"""Work in the background: asked for, seen, stopped; decisions are reckoned at once."""

from datetime import datetime, timedelta

import pytest
from flask.testing import FlaskClient
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from inbox.pipeline.long_work import do_next
from inbox.pipeline.rounds import Kitchen
from inbox.pipeline.works import IS_BEING_RECKONED, RECKON, reckon_soon, works
from inbox.records.engine import make_sessions
from inbox.records.settle import set_hand_label
from inbox.records.tables import MessageReading
from inbox.records.tables_out import Learning, LongWork, RecipeStanding, ThemeRank
from inbox.settings import Settings
from tests.makers import make_message, make_reader, make_recipe, make_theme


def do_all(engine: Engine, settings: Settings, now: datetime) -> None:
    sessions = make_sessions(engine)
    kinds = works(sessions, Kitchen(settings), settings, clock=lambda: now)
    while do_next(sessions, kinds, clock=lambda: now) is not None:
        pass


def test_each_kind_is_asked_for_once_and_can_be_stopped(owner: FlaskClient, ledger: Session) -> None:
    for what in ("read again", "regroup", "learn"):
        for _ in range(2):
            assert owner.post("/work", data={"what": what}).status_code == 303
    page = owner.get("/work").text
    assert [row.what for row in ledger.scalars(select(LongWork).order_by(LongWork.id))] == [
        "read again", "regroup", "learn",
    ]  # fmt: skip
    assert page.count("Waiting to begin") == 3
    assert 'http-equiv="refresh"' in page
    assert 'hx-get="/work"' in page
    for number in ledger.scalars(select(LongWork.id)).all():
        owner.post(f"/work/{number}/stop")
    page = owner.get("/work").text
    assert "Nothing goes on now" in page
    assert page.count("Stopped before it began.") == 6  # beside what can be asked for, and under what ran
    assert 'http-equiv="refresh"' not in page


def test_progress_is_shown(owner: FlaskClient, ledger: Session, now: datetime) -> None:
    ledger.add(
        LongWork(
            what="learn",
            arguments={"name": "Learning"},
            asked_at=now,
            started_at=now,
            done_count=2,
            of_count=6,
        )
    )
    ledger.commit()
    page = owner.get("/work").text
    assert "Going on: 2 of 6." in page
    assert 'max="6" value="2"' in page


def test_nothing_else_can_be_asked_for(owner: FlaskClient, helper: FlaskClient, ledger: Session) -> None:
    assert owner.post("/work", data={"what": "wipe"}).status_code == 422
    assert helper.get("/work").status_code == 403
    assert helper.post("/work", data={"what": "learn"}).status_code == 403
    assert ledger.scalars(select(LongWork)).all() == []


def test_both_ends_of_learning_are_said_plainly(owner: FlaskClient, ledger: Session, now: datetime) -> None:
    for taken, before, after in ((True, 0.71, 0.78), (False, 0.78, 0.745)):
        ledger.add(
            Learning(
                tried_at=now, taken=taken, label_count=40, right_before=before, right_after=after, labels={}
            )
        )
    ledger.commit()
    page = owner.get("/work").text
    for words in ("71.0", "78.0", "74.5", "taken; in use", "not taken: less right than the model in use"):
        assert words in page


def test_a_change_of_a_recipe_is_reckoned_at_once(
    owner: FlaskClient, fresh_engine: Engine, ledger: Session, settings: Settings, now: datetime
) -> None:
    recipe = make_recipe(ledger)
    for day in range(8):
        reader = make_reader(ledger)
        message = make_message(ledger, reader_id=reader.id, received_at=now - timedelta(days=day + 5))
        for field, value in (("kinds", ["made_it"]), ("outcome", "failed"), ("recipe", recipe.slug)):
            set_hand_label(ledger, message.id, field, value, account_id=None, now=now)
    slug = recipe.slug
    reckon_soon(ledger, now=now)
    ledger.commit()
    do_all(fresh_engine, settings, now)
    assert "being reckoned anew" not in owner.get(f"/recipes/{slug}").text
    before = ledger.scalars(select(RecipeStanding.reader_count)).one()

    on = (now - timedelta(days=2)).date().isoformat()
    assert owner.post(f"/recipes/{slug}/changed", data={"note": "Less water", "on": on}).status_code == 303

    assert "being reckoned anew" in owner.get(f"/recipes/{slug}").text
    assert "being reckoned anew" not in owner.get("/messages").text
    do_all(fresh_engine, settings, now)
    ledger.rollback()
    assert "being reckoned anew" not in owner.get(f"/recipes/{slug}").text
    assert (before, ledger.scalars(select(RecipeStanding.reader_count)).one()) == (8, 0)
    effects = ledger.scalars(select(RecipeStanding)).one().details["revisions"]
    assert len(effects) == 1


def test_a_decision_about_a_theme_is_reckoned_at_once(
    owner: FlaskClient, fresh_engine: Engine, ledger: Session, settings: Settings, now: datetime
) -> None:
    theme = make_theme(ledger)
    ledger.add(
        ThemeRank(
            theme_id=theme.id, ranked_at=now, place=1, score=1.0, reader_count=1, in_words="one", details={}
        )
    )
    ledger.commit()
    owner.post(f"/requests/{theme.id}/decide", data={"what": "passed_over", "reason": "not ours"})
    assert "being reckoned anew" in owner.get("/requests").text
    do_all(fresh_engine, settings, now)
    ledger.rollback()
    assert ledger.scalars(select(ThemeRank)).all() == []
    assert "being reckoned anew" not in owner.get("/requests").text


def test_many_decisions_are_reckoned_once_and_one_in_the_middle_again(ledger: Session, now: datetime) -> None:
    for _ in range(5):
        reckon_soon(ledger, now=now)
    first = ledger.scalars(select(LongWork)).one()
    first.started_at = now
    reckon_soon(ledger, now=now)
    reckon_soon(ledger, now=now)
    ledger.flush()
    assert [row.started_at for row in ledger.scalars(select(LongWork).order_by(LongWork.id))] == [now, None]
    for row in ledger.scalars(select(LongWork)):
        row.started_at = row.finished_at = now
    assert not ledger.scalar(select(IS_BEING_RECKONED))
    reckon_soon(ledger, now=now)
    assert [row.what for row in ledger.scalars(select(LongWork))] == [RECKON]


@pytest.fixture
def read_message(ledger: Session, now: datetime) -> int:
    message = make_message(ledger, text="Followed it exactly and it came out raw in the middle.")
    ledger.merge(
        MessageReading(
            message_id=message.id, model_version="x", read_at=now, kinds=["made_it", "problem"],
            kind_probabilities={"made_it": 0.9, "problem": 0.8}, outcome="failed",
            outcome_probabilities={"failed": 0.8, "unsaid": 0.2}, faults=["undercooked"],
            fault_probabilities={"undercooked": 0.9}, hazard_words=[],
            recipe_also=[], recipe_confidence=0.0, recipe_why="", language="en",
        )
    )  # fmt: skip
    ledger.commit()
    return message.id


def test_without_a_trained_model_the_page_says_so(owner: FlaskClient, read_message: int) -> None:
    page = owner.get(f"/messages/{read_message}").text
    assert "once the program has trained its model" in page


def test_the_words_that_weighed_stand_on_the_message(
    app, owner: FlaskClient, read_message: int, kitchen: Kitchen, fresh_engine: Engine, monkeypatch
) -> None:
    model = kitchen.model(make_sessions(fresh_engine))
    monkeypatch.setattr(Kitchen, "model_at_hand", lambda _self, _session: model)
    page = owner.get(f"/messages/{read_message}").text
    assert "“raw" in page
    assert "“came out”" in page
    assert "of 100 of the weight" in page
    assert "the sense of whole sentences" in page
