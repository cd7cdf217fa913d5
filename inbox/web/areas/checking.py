"""A few to check: confirm or put right what the program read."""

from flask import Blueprint, g, request
from sqlalchemy.orm import Session

from inbox.calendar import last_full_week
from inbox.pipeline.checking import week_sample
from inbox.records.settle import set_hand_label
from inbox.records.undo import remember
from inbox.web.access import account, may, see_other, settings
from inbox.web.notices import say
from inbox.web.page import Answer
from inbox.web.pages.checking import load_check
from inbox.web.phrasing import said
from inbox.words import KINDS

area = Blueprint("checking", __name__)


@area.get("/check")
@may("owner", "helper")
def show_check(session: Session) -> Answer:
    """The few of this week."""
    return load_check(session, settings(), now=g.now)


@area.post("/check/<int:message_id>")
@may("owner", "helper")
def confirm(session: Session, message_id: int) -> Answer:
    """Take a person's word for the kinds of one message; in the random sample it measures the reading."""
    chosen = [kind for kind in KINDS if kind in request.form.getlist("kind")]
    week = last_full_week(g.now, settings().zone)
    who = account().account_id
    step = remember(session, [message_id], account_id=who, now=g.now)
    set_hand_label(
        session,
        message_id,
        "kinds",
        chosen,
        account_id=who,
        now=g.now,
        from_random_sample=message_id in week_sample(session, week, settings()),
    )
    say("Taken down: " + ", ".join(said(kind) for kind in chosen) + ".", undo=step)
    return see_other("/check")
