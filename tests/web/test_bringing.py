"""Handing files in: in the background, tables looked at first, set aside, taken back."""

import io
from datetime import datetime

from flask.testing import FlaskClient
from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session

from inbox.intake.run import import_path
from inbox.intake.sources import ImportOptions
from inbox.pipeline.long_work import do_next
from inbox.pipeline.sources import import_options
from inbox.records.engine import make_sessions
from inbox.records.tables import IntakeRun, Message, SetAside
from inbox.records.tables_out import LongWork
from inbox.settings import Settings

LINE = b'{"text": "Made the rye loaf", "received_at": "2026-11-18T10:00:00Z"}\n'
TABLE = b"When,Who,Remark of the guest\n3/4/2026,Ada,It sank\n5/6/2026,Bram,Lovely\n"


def _hand_in(client: FlaskClient, name: str, content: bytes, to: str = "/bring-in", field: str = "file"):
    return client.post(to, data={field: (io.BytesIO(content), name)})


def test_a_file_waits_goes_on_and_can_be_stopped(owner: FlaskClient, ledger: Session) -> None:
    answer = _hand_in(owner, "../../etc/old.jsonl", LINE)
    assert answer.status_code == 303
    page = owner.get(answer.location).text
    assert "old.jsonl" in page
    assert "etc" not in page
    assert "Waiting to begin" in page
    assert "<noscript><meta" in page

    owner.post(answer.location + "/stop")
    assert "Stopped before it began." in owner.get(answer.location).text


def test_nothing_or_an_empty_file_is_said_beside_the_field(owner: FlaskClient) -> None:
    assert "Choose a file first" in owner.post("/bring-in").text
    answer = _hand_in(owner, "empty.jsonl", b"")
    assert answer.status_code == 422
    assert "empty" in answer.text
    assert owner.post("/bring-in/recipes", data={"address": "ftp://x"}).status_code == 422


def test_a_table_is_looked_at_first_and_remembered(
    owner: FlaskClient, ledger: Session, fresh_engine: Engine, settings: Settings, now: datetime
) -> None:
    answer = _hand_in(owner, "guests.csv", TABLE)
    assert answer.location.startswith("/bring-in/table/")
    page = owner.get(answer.location).text
    assert "Remark of the guest" in page
    assert "the day stands first" in page
    sessions = make_sessions(fresh_engine)
    assert do_next(sessions, {}, clock=lambda: now) is None, "nobody begins before the owner has looked"

    columns = {"column-0": "received_at", "column-1": "name", "column-2": ""}
    assert owner.post(answer.location, data=columns).status_code == 422
    columns["column-2"] = "text"
    unsaid = owner.post(answer.location, data=columns)
    assert unsaid.status_code == 422
    assert "day or the month" in unsaid.text
    twice = owner.post(answer.location, data={**columns, "column-1": "text", "dates": "day-first"})
    assert twice.status_code == 422
    assert owner.post(answer.location, data={**columns, "dates": "day-first"}).status_code == 303

    def bring_in(arguments, path, tell) -> str:
        options = import_options(settings, now=now, columns=arguments["columns"], dates=arguments["dates"])
        return import_path(sessions, path, options=options).in_words

    do_next(sessions, {"import": bring_in}, clock=lambda: now)
    days = {at.date().isoformat() for at in ledger.scalars(select(Message.received_at))}
    ledger.rollback()
    assert days == {"2026-04-03", "2026-06-05"}
    again = _hand_in(owner, "guests.csv", TABLE)
    assert "as you said the last time" in owner.get(again.location).text


def test_the_letters_of_a_table_are_looked_at_and_chosen(owner: FlaskClient, ledger: Session) -> None:
    rows = "Name,Comment\nŁukasz,Bread was świetny\n".encode("cp1250")
    address = _hand_in(owner, "guests.csv", rows).location
    assert "£ukasz" in owner.get(address).text
    looked = owner.get(address + "?encoding=cp1250").text
    assert "Łukasz" in looked
    assert '<input type="hidden" name="encoding" value="cp1250">' in looked
    assert owner.get(address + "?encoding=klingon").status_code == 422

    said = {"column-0": "name", "column-1": "text", "encoding": "cp1250"}
    assert owner.post(address, data=said).status_code == 303
    assert ledger.scalars(select(LongWork)).one().arguments["encoding"] == "cp1250"
    ledger.rollback()
    assert "Łukasz" in owner.get(_hand_in(owner, "guests.csv", rows).location).text
    plain = owner.get(_hand_in(owner, "plain.csv", b"Name,Comment\nAda,It sank\n").location).text
    assert "Its letters" not in plain


def test_an_import_is_taken_back_and_a_set_aside_item_shown(
    owner: FlaskClient, helper: FlaskClient, ledger: Session, fresh_engine: Engine, tmp_path, now: datetime
) -> None:
    path = tmp_path / "old.jsonl"
    path.write_bytes(LINE + b"{broken <b>\n")
    result = import_path(make_sessions(fresh_engine), path, options=ImportOptions(now=now))

    page = owner.get("/bring-in").text
    assert "old.jsonl" in page
    assert "Set aside: 1" in page
    number = ledger.scalars(select(SetAside.id)).one()
    ledger.rollback()
    item = owner.get(f"/set-aside/{number}")
    assert "{broken &lt;b&gt;" in item.text
    assert owner.get(f"/set-aside/{number}/bytes").data.startswith(b"{broken <b>")
    assert owner.post(f"/set-aside/{number}", data={"do": "again"}).location == f"/set-aside/{number}"
    assert owner.post(f"/set-aside/{number}", data={"do": "leave_out"}).location == "/set-aside"

    assert helper.post(f"/bring-in/runs/{result.run_id}/take-back").status_code == 403
    assert owner.post(f"/bring-in/runs/{result.run_id}/take-back").status_code == 303
    assert ledger.scalar(select(func.count()).select_from(Message)) == 0
    assert ledger.get_one(IntakeRun, result.run_id).taken_back_at is not None
    assert ledger.scalars(select(LongWork)).all() == []
