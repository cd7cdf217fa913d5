"""Bringing things in: uploads done in the background, tables, set-aside items, taking back."""

from dataclasses import replace
from pathlib import Path

from flask import Blueprint, Response, g, request
from sqlalchemy.orm import Session
from werkzeug.datastructures import FileStorage

from inbox.errors import InboxError, InputError
from inbox.intake import set_aside as aside
from inbox.intake.mention import try_mention_again
from inbox.intake.sources import recognise
from inbox.intake.table import preview, remember
from inbox.intake.take_back import take_back
from inbox.pipeline.long_work import HELD, ask, ask_to_stop, release, upload_of
from inbox.pipeline.works import IMPORT, RECIPES
from inbox.records.tables_out import LongWork
from inbox.web.access import may, see_other, settings
from inbox.web.installation import installation
from inbox.web.notices import say
from inbox.web.page import Answer, Refusal
from inbox.web.pages.bringing import (
    TablePage,
    as_table_page,
    load_aside,
    load_bring_in,
    load_set_aside,
    load_work,
)
from inbox.web.row_numbers import row_number
from inbox.web.sizes import upload_bytes

area = Blueprint("bringing", __name__)
HEAD_BYTES = 4096


@area.get("/bring-in")
@may("owner", "helper")
def show_bring_in(session: Session) -> Answer:
    """Where files are handed in."""
    return load_bring_in(session, settings().upload_limit_bytes)


@area.post("/bring-in")
@may("owner", "helper", takes=upload_bytes)
def hand_in(session: Session) -> Answer:
    """Take a file of messages; it is worked through in the background."""
    return _take(session, "file", IMPORT)


@area.post("/bring-in/recipes")
@may("owner", "helper", takes=upload_bytes)
def hand_in_recipes(session: Session) -> Answer:
    """Take a file of recipes, or the address of a page of the owner's own."""
    address = request.form.get("address", "").strip()
    if address:
        try:
            work = _ask_for_address(session, address)
        except InputError as error:
            return _again(session, "address", str(error))
        return see_other(f"/bring-in/work/{work}")
    return _take(session, "recipes", RECIPES)


def _ask_for_address(session: Session, address: str) -> int:
    if not address.startswith(("https://", "http://")):
        raise InputError(f"{address[:80]!r} is no address of a page; it begins with https://.")
    return ask(session, RECIPES, {"name": address, "address": address}, now=g.now)


def _take(session: Session, field: str, what: str) -> Answer:
    file = request.files.get(field)
    if file is None or not file.filename:
        return _again(session, field, "Choose a file first.")
    name = Path(file.filename.replace("\\", "/")).name[:200]
    try:
        is_table = what == IMPORT and _is_table(file, name)
        work = ask(
            session,
            HELD if is_table else what,
            {"name": name},
            upload=file.stream,
            limit_bytes=settings().upload_limit_bytes,
            now=g.now,
        )
    except InboxError as error:
        session.rollback()
        return _again(session, field, str(error))
    return see_other(f"/bring-in/table/{work}" if is_table else f"/bring-in/work/{work}")


def _is_table(file: FileStorage, name: str) -> bool:
    head = file.stream.read(HEAD_BYTES)
    file.stream.seek(0)
    return recognise(head, name) in ("csv", "xlsx")


def _again(session: Session, field: str, trouble: str) -> Refusal:
    page = load_bring_in(session, settings().upload_limit_bytes)
    return Refusal(replace(page, trouble=trouble, trouble_field=field))


@area.get("/bring-in/work/<int:work_id>")
@may("owner", "helper")
def show_work(session: Session, work_id: int) -> Answer:
    """How far it is."""
    page = load_work(session, work_id)
    return see_other(f"/bring-in/table/{work_id}") if page.work.is_held else page


@area.post("/bring-in/work/<int:work_id>/stop")
@may("owner", "helper")
def stop_work(session: Session, work_id: int) -> Answer:
    """Ask for it to stop at the next step."""
    ask_to_stop(session, work_id, now=g.now)
    return see_other(f"/bring-in/work/{work_id}")


@area.get("/bring-in/table/<int:work_id>")
@may("owner", "helper")
def show_table(session: Session, work_id: int) -> Answer:
    """The first rows of a table, with what its columns seem to be."""
    work = session.get(LongWork, work_id)
    if work is None or work.what != HELD:
        return see_other(f"/bring-in/work/{work_id}" if work else "/bring-in")
    return _look_at_table(session, work, request.args.get("encoding") or None)


def _look_at_table(session: Session, work: LongWork, encoding: str | None) -> TablePage:
    name = str(work.arguments.get("name", ""))
    with upload_of(installation().reading, work.id) as path:
        if path is None:
            raise InputError("The file that was handed in is gone; hand it in once more.")
        with path.open("rb") as file:
            kind = recognise(file.read(HEAD_BYTES), name)
        return as_table_page(work.id, name, preview(path, kind, session=session, encoding=encoding))


@area.post("/bring-in/table/<int:work_id>")
@may("owner", "helper")
def confirm_table(session: Session, work_id: int) -> Answer:
    """Take the owner's word for the columns, remember it, and let the import begin."""
    work = session.get(LongWork, work_id)
    if work is None or work.what != HELD:
        raise InputError("This table does not wait any more; hand the file in once more.")
    page = _look_at_table(session, work, request.form.get("encoding") or None)
    dates = request.form.get("dates", "")
    chosen = {head: request.form.get(f"column-{at}", "") for at, head in enumerate(page.heads)}
    try:
        columns = _columns(chosen)
        if dates not in ("day-first", "month-first") and page.date_order in ("open", "mixed"):
            if "received_at" in columns:
                raise InputError("Say whether the day or the month stands first in the dates.")
        day_first = {"day-first": True, "month-first": False}.get(dates)
        said = {"columns": columns, "dates": dates or None, "encoding": page.encoding or None}
        remember(
            session,
            page.source,
            page.heads,
            columns=columns,
            day_first=day_first,
            encoding=page.encoding or None,
            now=g.now,
        )
        release(session, work_id, IMPORT, said)
    except InputError as error:
        return Refusal(replace(page, chosen=chosen, dates=dates, trouble=str(error)))
    return see_other(f"/bring-in/work/{work_id}")


def _columns(chosen: dict[str, str]) -> dict[str, str]:
    """Field to head, out of head to field; each field once."""
    columns: dict[str, str] = {}
    for head, field in chosen.items():
        if field and field in columns:
            raise InputError(f"{columns[field]!r} and {head!r} are both said to be the same; choose one.")
        if field:
            columns[field] = head
    if "text" not in columns:
        raise InputError("Say which column holds what the reader wrote.")
    return columns


@area.post("/bring-in/runs/<int:run_id>/take-back")
@may("owner")
def take_run_back(session: Session, run_id: int) -> Answer:
    """Take an import back whole."""
    say(take_back(session, run_id, now=g.now).in_words)
    return see_other("/bring-in#runs")


@area.get("/set-aside")
@may("owner", "helper")
def show_set_aside(session: Session) -> Answer:
    """What could not be taken in."""
    return load_set_aside(session, row_number(request.args.get("after")) or 0)


@area.get("/set-aside/<int:item_id>")
@may("owner", "helper")
def show_aside(session: Session, item_id: int) -> Answer:
    """One such item."""
    return load_aside(session, item_id)


@area.get("/set-aside/<int:item_id>/bytes")
@may("owner", "helper")
def download_aside(session: Session, item_id: int) -> Answer:
    """Its bytes, to save; never opened in the browser."""
    row = aside.get_set_aside(session, item_id)
    response = Response(row.raw, content_type="application/octet-stream")
    response.headers["Content-Disposition"] = f'attachment; filename="set-aside-{item_id}.bin"'
    return response


@area.post("/set-aside/mentions/<int:mention_id>")
@may("owner", "helper")
def look_at_mention_again(session: Session, mention_id: int) -> Answer:
    """Let a mention that was refused be verified once more."""
    try_mention_again(session, mention_id, now=g.now)
    say("The page that mentions yours is looked at again, in a moment.")
    return see_other("/set-aside")


@area.post("/set-aside/<int:item_id>")
@may("owner", "helper")
def decide_aside(session: Session, item_id: int) -> Answer:
    """Try it again, or leave it out."""
    if request.form.get("do") == "leave_out":
        aside.leave_out(session, item_id, now=g.now)
        say("Left out. Its bytes are kept.")
        return see_other("/set-aside")
    owner = frozenset(filter(None, [settings().owner_email.casefold()]))
    result = aside.try_again(session, item_id, now=g.now, own_addresses=owner)
    if result.message_id is None:
        say(f"It still cannot be taken in: {result.reason}")
        return see_other(f"/set-aside/{item_id}")
    say("Taken in.")
    return see_other(f"/messages/{result.message_id}")
