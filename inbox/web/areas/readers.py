"""Readers: what is held about one, handing it out, forgetting, and two that are one."""

import json
from dataclasses import replace

from flask import Blueprint, Response, g, request
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.intake.second_look import join_readers
from inbox.pipeline.long_work import ask
from inbox.pipeline.works import WIPE
from inbox.records.one_reader import all_about, as_page, forget
from inbox.records.people import get_reader
from inbox.web.access import inside, may, see_other
from inbox.web.notices import say
from inbox.web.page import Answer, Refusal
from inbox.web.pages.readers import load_reader, load_readers
from inbox.web.row_numbers import row_number

area = Blueprint("readers", __name__)


@area.get("/readers")
@may("owner", "helper")
def show_readers(session: Session) -> Answer:
    """Find readers."""
    return load_readers(session, request.args.get("words", ""), row_number(request.args.get("after")) or 0)


@area.get("/readers/<int:reader_id>")
@may("owner", "helper")
def show_reader(session: Session, reader_id: int) -> Answer:
    """One reader."""
    return load_reader(session, reader_id)


@area.get("/readers/<int:reader_id>/all.<any(json, html):kind>")
@may("owner")
def hand_out(session: Session, reader_id: int, kind: str) -> Answer:
    """All that is held about one reader, to give to them: as JSON or as a page of its own."""
    about = all_about(session, get_reader(session, reader_id).id)
    if kind == "json":
        body = json.dumps(about, ensure_ascii=False, indent=1, default=str)
        response = Response(body, content_type="application/json")
    else:
        response = Response(as_page(about), content_type="text/html; charset=utf-8")
    response.headers["Content-Disposition"] = f'attachment; filename="reader-{reader_id}.{kind}"'
    return response


@area.post("/readers/<int:reader_id>/forget")
@may("owner")
def forget_reader(session: Session, reader_id: int) -> Answer:
    """Forget a reader; asked once more by the word to be typed."""
    if request.form.get("sure", "").strip().casefold() != "forget":
        page = load_reader(session, reader_id)
        return Refusal(replace(page, trouble="Type the word forget, so that it does not happen by a slip."))
    count = forget(session, reader_id, now=g.now)
    ask(session, WIPE, {"name": "Wiping the traces of a forgotten reader"}, now=g.now)
    say(f"Forgotten. {count} messages have lost their words; only counts stay.")
    return see_other(f"/readers/{reader_id}")


@area.post("/readers/<int:reader_id>/join")
@may("owner", "helper")
def join(session: Session, reader_id: int) -> Answer:
    """Say that another reader is the same person."""
    other = row_number(request.form.get("other", "").strip().rpartition("/")[2])
    try:
        if other is None:
            raise InputError("Write the number of the other reader, as it stands in their page's address.")
        join_readers(session, reader_id, other)
    except InputError as error:
        session.rollback()
        return Refusal(replace(load_reader(session, reader_id), trouble=str(error)))
    say("They are one reader from now on.")
    return see_other(inside(request.form.get("then"), f"/readers/{reader_id}"))
