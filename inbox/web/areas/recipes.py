"""Recipes and how they do; what the owner notes about them."""

from dataclasses import replace
from datetime import date

from flask import Blueprint, g, request
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.pipeline.works import reckon_soon
from inbox.records.revisions import answer_question, mend, note_revision, unmend
from inbox.web.access import inside, may, see_other, settings
from inbox.web.notices import say
from inbox.web.page import Answer, Refusal
from inbox.web.pages.recipe import load_recipe
from inbox.web.pages.recipes import load_recipes
from inbox.web.row_numbers import row_numbers

area = Blueprint("recipes", __name__)


@area.get("/recipes")
@may("owner", "helper")
def show_recipes(session: Session) -> Answer:
    """The catalogue."""
    return load_recipes(session)


@area.get("/recipes/<slug>")
@may("owner", "helper")
def show_recipe(session: Session, slug: str) -> Answer:
    """One recipe."""
    return load_recipe(session, slug, settings().zone, now=g.now)


@area.post("/recipes/<slug>/changed")
@may("owner", "helper")
def note_change(session: Session, slug: str) -> Answer:
    """Write down what was changed."""
    note, typed_day = request.form.get("note", ""), request.form.get("on", "")
    try:
        note_revision(session, slug, note, _day(typed_day), settings().zone, now=g.now)
    except NotFoundError:
        raise
    except InputError as error:
        page = load_recipe(session, slug, settings().zone, now=g.now)
        return Refusal(replace(page, trouble=str(error), typed_note=note))
    reckon_soon(session, now=g.now)
    say("Noted. Reports from then on are counted apart from those before.")
    return see_other(f"/recipes/{slug}")


@area.post("/recipes/<slug>/answered")
@may("owner", "helper")
def note_answer(session: Session, slug: str) -> Answer:
    """Write down that a question asked again and again is answered on the page."""
    form = request.form
    ids = row_numbers(form.get("messages", "").split(","))
    try:
        answer_question(
            session,
            slug,
            form.get("question", ""),
            form.get("note", ""),
            ids,
            _day(form.get("on", "")),
            settings().zone,
            now=g.now,
        )
    except NotFoundError:
        raise
    except InputError as error:
        page = load_recipe(session, slug, settings().zone, now=g.now)
        return Refusal(
            replace(
                page,
                asked_trouble=str(error),
                typed_question=form.get("question", ""),
                typed_answer=form.get("note", ""),
                typed_for=form.get("messages", ""),
            )
        )
    say("Noted. From then on it is counted whether the question stops.")
    return see_other(f"/recipes/{slug}#asked")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"The day is {text!r}; write it as 2026-11-23.") from None


@area.post("/recipes/<slug>/mended/<int:mended_id>/open")
@may("owner", "helper")
def open_again(session: Session, slug: str, mended_id: int) -> Answer:
    """Not mended, or not answered, after all."""
    unmend(session, slug, mended_id)
    say("Open again.")
    return see_other(f"/recipes/{slug}")


@area.post("/recipes/<slug>/mended")
@may("owner", "helper")
def note_mended(session: Session, slug: str) -> Answer:
    """Write down that a fault of the page is mended."""
    mend(session, slug, request.form.get("what", ""), request.form.get("note"), now=g.now)
    reckon_soon(session, now=g.now)
    say("Mended. It comes back if a reader tells of it again.")
    return see_other(inside(request.form.get("then"), f"/recipes/{slug}"))
