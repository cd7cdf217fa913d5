"""A second look at what the doors did: pairs that may be one message, and mail kept apart by mistake."""

from flask import Blueprint, g, request
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.intake.second_look import keep_both, let_in, make_one
from inbox.pipeline.works import reckon_soon
from inbox.records.undo import remember
from inbox.web.access import account, inside, may, see_other
from inbox.web.notices import say
from inbox.web.page import Answer
from inbox.web.pages.second_look import load_second_look

area = Blueprint("second_look", __name__)


@area.get("/second-look")
@may("owner", "helper")
def show_pairs(session: Session) -> Answer:
    """Pairs that may be one message."""
    return load_second_look(session, request.args.get("before", type=int))


@area.post("/second-look/<int:message_id>")
@may("owner", "helper")
def decide_pair(session: Session, message_id: int) -> Answer:
    """Say that a message and its doubtful twin are one, or two."""
    decided = request.form.get("do", "")
    if decided not in ("one", "two"):
        raise InputError("Say whether the two are one message or two.")
    step = remember(session, [message_id], account_id=account().account_id, now=g.now)
    if decided == "one":
        make_one(session, message_id)
        reckon_soon(session, now=g.now)
        say("They are one message. The first counts; the second is kept beside it.", undo=step)
    else:
        keep_both(session, message_id)
        say("They are two messages, and count as two.", undo=step)
    return see_other(inside(request.form.get("then"), "/second-look"))


@area.post("/messages/<int:message_id>/let-in")
@may("owner", "helper")
def count_it(session: Session, message_id: int) -> Answer:
    """Say that a message that was kept apart is a reader's own."""
    step = remember(session, [message_id], account_id=account().account_id, now=g.now)
    let_in(session, message_id)
    say("It counts as a reader’s message. It is read with the next round, in a moment.", undo=step)
    return see_other(f"/messages/{message_id}")
