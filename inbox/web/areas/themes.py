"""What to develop next: the ranking, one theme, and what the owner decides about it."""

from dataclasses import replace
from datetime import date

from flask import Blueprint, Response, g, request
from sqlalchemy.orm import Session

from inbox.errors import InboxError, InputError
from inbox.pipeline import hand_themes
from inbox.pipeline.works import reckon_soon
from inbox.replies.compose import sender_of
from inbox.replies.telling import press_telling
from inbox.web.access import account, may, see_other, settings
from inbox.web.ical import bench_day
from inbox.web.notices import say
from inbox.web.page import Answer, Refusal
from inbox.web.pages.theme_sheets import load_brief, load_split, load_tell
from inbox.web.pages.themes import load_theme, load_themes
from inbox.web.row_numbers import row_number, row_numbers
from inbox.words import SHELVES

area = Blueprint("themes", __name__)


@area.get("/requests")
@may("owner", "helper")
def show_themes(session: Session) -> Answer:
    """The ranking, or another shelf."""
    shelf = request.args.get("shelf", "open")
    return load_themes(session, shelf if shelf in SHELVES else "open", settings().zone)


@area.get("/requests/<int:theme_id>")
@may("owner", "helper")
def show_theme(session: Session, theme_id: int) -> Answer:
    """One theme; an address of one that was merged leads to where it is now."""
    page = load_theme(session, theme_id, settings().zone, now=g.now)
    return page if page.id == theme_id else see_other(f"/requests/{page.id}")


@area.post("/requests/<int:theme_id>/decide")
@may("owner", "helper")
def decide(session: Session, theme_id: int) -> Answer:
    """Whatever a person decides about a theme; kept through every regrouping."""
    form = request.form
    what = form.get("what", "")
    try:
        if what == "rename":
            hand_themes.rename(session, theme_id, form.get("name", ""))
            say("Renamed, for good.")
        elif what == "merge":
            hand_themes.merge(session, theme_id, _number(form.get("other"), "the theme that is the same"))
            say("Merged; the two are one from now on.")
        elif what == "effort":
            hand_themes.estimate_effort(session, theme_id, _days(form.get("days", "")))
            say("Your estimate is kept, and counts in the ranking.")
        else:
            _put_on_shelf(session, theme_id, what)
            say(
                {
                    "published": "Published. You can tell those who asked.",
                    "on_the_bench": "On the bench.",
                    "passed_over": "Passed over.",
                }.get(what, "Open again.")
            )
    except InboxError as error:
        session.rollback()
        page = load_theme(session, theme_id, settings().zone, now=g.now)
        return Refusal(replace(page, trouble=str(error)))
    reckon_soon(session, now=g.now)
    return see_other(f"/requests/{theme_id}")


def _put_on_shelf(session: Session, theme_id: int, shelf: str) -> None:
    form = request.form
    hand_themes.put_on_shelf(
        session,
        theme_id,
        shelf,
        now=g.now,
        reason=form.get("reason"),
        recipe_slug=form.get("recipe"),
        due_on=_day(form.get("due_on", "")),
    )


def _number(text: str | None, what: str) -> int:
    number = row_number(text)
    if number is None:
        raise InputError(f"Choose {what}.")
    return number


def _days(text: str) -> float | None:
    if not text.strip():
        return None
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise InputError(f"The work is {text!r} days; write a number such as 2 or 2.5.") from None


def _day(text: str) -> date | None:
    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise InputError(f"The day is {text!r}; write it as 2026-11-23.") from None


@area.get("/requests/<int:theme_id>/split")
@may("owner", "helper")
def show_split(session: Session, theme_id: int) -> Answer:
    """Choose requests that belong elsewhere."""
    return load_split(session, theme_id)


@area.post("/requests/<int:theme_id>/split")
@may("owner", "helper")
def split(session: Session, theme_id: int) -> Answer:
    """Make a theme of the chosen requests, or move them to another one."""
    chosen = row_numbers(request.form.getlist("pick"))
    name, other = request.form.get("name", ""), row_number(request.form.get("other"))
    try:
        if other is not None:
            if not chosen:
                raise InputError("Choose the requests to move.")
            for message_id in chosen:
                hand_themes.move(session, message_id, other, now=g.now)
            target = other
        else:
            target = hand_themes.split(session, theme_id, chosen, name, now=g.now)
    except InboxError as error:
        session.rollback()
        page = load_split(session, theme_id)
        return Refusal(replace(page, chosen=frozenset(chosen), typed_name=name, trouble=str(error)))
    reckon_soon(session, now=g.now)
    say(f"{len(chosen)} moved here, for good.")
    return see_other(f"/requests/{target}")


@area.get("/requests/<int:theme_id>/brief")
@may("owner", "helper")
def show_brief(session: Session, theme_id: int) -> Answer:
    """One sheet to take into the kitchen."""
    return load_brief(session, theme_id)


@area.get("/requests/<int:theme_id>/bench.ics")
@may("owner", "helper")
def show_calendar(session: Session, theme_id: int) -> Answer:
    """The day on which it is to be ready, for a calendar."""
    theme = hand_themes.get_theme(session, theme_id)
    if theme.bench_due_on is None:
        raise InputError("No day is set for this theme; put it on the bench with a day first.")
    text = bench_day(theme.id, theme.name, theme.bench_due_on, settings().public_url, now=g.now)
    response = Response(text, content_type="text/calendar; charset=utf-8")
    response.headers["Content-Disposition"] = f'attachment; filename="bench-{theme.id}.ics"'
    return response


@area.get("/requests/<int:theme_id>/tell")
@may("owner", "helper")
def show_tell(session: Session, theme_id: int) -> Answer:
    """Those who asked to be told."""
    return load_tell(session, theme_id)


@area.post("/requests/<int:theme_id>/tell")
@may("owner")
def tell(session: Session, theme_id: int) -> Answer:
    """Send the note, once to each; nothing goes out without this press."""
    body = request.form.get("body", "")
    try:
        sent = press_telling(
            session,
            theme_id,
            body,
            account_id=account().account_id,
            now=g.now,
            hold_minutes=settings().reply_hold_minutes,
            sender=sender_of(settings()),
        )
    except InboxError as error:
        session.rollback()
        return Refusal(replace(load_tell(session, theme_id), body=body, trouble=str(error)))
    say(
        f"{len(sent)} mails wait to go; until {settings().reply_hold_minutes} minutes from now "
        "each can be taken back under Replies sent."
    )
    return see_other(f"/requests/{theme_id}")
