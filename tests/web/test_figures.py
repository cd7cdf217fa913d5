"""Figures for Prometheus: counted in the ledger, told to whoever brings the token, no reader's words."""

import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest
from flask.testing import FlaskClient
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.records.tables import MessageReading, SetAside
from inbox.records.tables_out import LongWork, Reply
from inbox.settings import Settings
from inbox.web.application import create_app
from tests.makers import make_message

TOKEN = "rye-and-caraway-0123"
BROUGHT = {"Authorization": f"Bearer {TOKEN}"}


@pytest.fixture
def new_worker(settings: Settings, fresh_engine: Engine, now: datetime) -> Callable[[], FlaskClient]:
    """Makes one more application on the same ledger, as each worker has its own."""
    kept = replace(settings, metrics_token=TOKEN)
    return lambda: create_app(kept, fresh_engine, clock=lambda: now).test_client()


def figures(client: FlaskClient) -> dict[str, float]:
    answer = client.get("/metrics", headers=BROUGHT)
    assert answer.status_code == 200
    return {
        sample.name + "".join(f":{value}" for value in sample.labels.values()): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


def fill(ledger: Session, now: datetime) -> None:
    read = make_message(ledger, door="mail", channel="email", text="Plum jam for cousin Odile")
    make_message(ledger, door="mail", channel="email")
    make_message(ledger, door="form")
    make_message(ledger, door="mail", channel="email", kept_apart="bounce")
    ledger.add(
        MessageReading(
            message_id=read.id,
            model_version="1",
            read_at=now,
            kind_probabilities={},
            kinds=[],
            outcome_probabilities={},
            fault_probabilities={},
            faults=[],
            hazard_words=[],
            recipe_confidence=0.0,
            recipe_also=[],
            recipe_why="",
            language="en",
        )
    )
    for number, left_out_at in enumerate((None, now)):
        ledger.add(
            SetAside(
                door="mail",
                place=f"item {number}",
                reason="Odile's mail is cut off",
                fingerprint=str(number),
                raw=b"",
                set_aside_at=now,
                left_out_at=left_out_at,
            )
        )
    for state in ("waiting", "waiting", "draft"):
        ledger.add(Reply(state=state, subject="Odile", body="Odile", created_at=now, changed_at=now))
    for finished_at in (None, now):
        ledger.add(LongWork(what="read", arguments={}, asked_at=now, finished_at=finished_at))
    ledger.commit()


def test_all_workers_tell_what_the_ledger_holds(
    new_worker: Callable[[], FlaskClient], ledger: Session, now: datetime
) -> None:
    first, second = new_worker(), new_worker()
    assert set(figures(first).values()) == {0.0}
    fill(ledger, now)

    told = figures(first)

    assert told == figures(second)
    assert {name: value for name, value in told.items() if value} == {
        "second_batch_messages:form": 1,
        "second_batch_messages:mail": 3,
        "second_batch_messages_to_read": 2,
        "second_batch_set_aside": 1,
        "second_batch_replies_waiting": 2,
        "second_batch_long_work": 1,
    }
    assert "Odile" not in first.get("/metrics", headers=BROUGHT).text


@pytest.mark.parametrize(
    "brought", [None, "", TOKEN, "Bearer ", f"Bearer {TOKEN}x", "Bearer é", f"Basic {TOKEN}"]
)
def test_without_the_token_nothing_is_told(
    new_worker: Callable[[], FlaskClient], brought: str | None
) -> None:
    answer = new_worker().get("/metrics", headers={} if brought is None else {"Authorization": brought})

    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"] == "Bearer"
    assert "second_batch" not in answer.text


def test_there_is_no_such_page_where_no_token_is_set(owner: FlaskClient) -> None:
    assert owner.get("/metrics", headers={"Authorization": "Bearer "}).status_code == 404


def test_a_missing_library_is_said(
    new_worker: Callable[[], FlaskClient], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "prometheus_client", None)

    answer = new_worker().get("/metrics", headers=BROUGHT)

    assert answer.status_code == 422
    assert "install second-batch[metrics]" in answer.text


def test_a_short_token_is_refused(settings: Settings) -> None:
    with pytest.raises(InputError, match="16 or more"):
        replace(settings, metrics_token="short")
