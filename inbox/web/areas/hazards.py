"""Hazards: what waits, one with its caution, and the word that it was dealt with."""

from flask import Blueprint, g, request
from sqlalchemy.orm import Session

from inbox.records.hazards import deal_with, tick
from inbox.web.access import account, may, see_other, settings
from inbox.web.notices import say
from inbox.web.page import Answer
from inbox.web.pages.hazards import load_hazard, load_hazards
from inbox.web.row_numbers import row_numbers

area = Blueprint("hazards", __name__)


@area.get("/hazards")
@may("owner", "helper")
def show_hazards(session: Session) -> Answer:
    """Those that wait, and the earlier ones."""
    return load_hazards(session, now=g.now)


@area.get("/hazards/<int:message_id>")
@may("owner", "helper")
def show_hazard(session: Session, message_id: int) -> Answer:
    """One of them."""
    return load_hazard(session, message_id, settings().country)


@area.post("/hazards/<int:message_id>")
@may("owner", "helper")
def deal(session: Session, message_id: int) -> Answer:
    """What was looked at; dealt with, or not after all."""
    if request.form.get("do") == "look":
        points = [one.words for one in load_hazard(session, message_id, settings().country).points]
        ticked = {points[at] for at in row_numbers(request.form.getlist("point")) if at < len(points)}
        tick(session, message_id, points, ticked, account_id=account().account_id, now=g.now)
        say(f"Kept: {len(ticked)} of {len(points)} looked at.")
        return see_other(f"/hazards/{message_id}")
    done = request.form.get("do") != "wait"
    deal_with(session, message_id, done=done, now=g.now)
    say("Dealt with. It stays in the list of hazards." if done else "It waits again.")
    return see_other("/hazards" if done else f"/hazards/{message_id}")
