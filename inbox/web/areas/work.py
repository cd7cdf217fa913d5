"""Work in the background: asking for it, seeing how far it is, stopping it."""

from flask import Blueprint, g, request
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.pipeline.long_work import ask, ask_to_stop
from inbox.web.access import may, see_other, settings
from inbox.web.notices import say
from inbox.web.page import Answer
from inbox.web.pages.work import ASKED_HERE, load_works

area = Blueprint("work", __name__)


@area.get("/work")
@may("owner")
def show_works(session: Session) -> Answer:
    """What goes on, what can be asked for, what ran last, what was learned."""
    return load_works(session, settings().learn_after_labels)


@area.post("/work")
@may("owner")
def ask_for_work(session: Session) -> Answer:
    """Put one kind of work down to be done, unless it waits or goes on already."""
    what = request.form.get("what", "")
    if what not in ASKED_HERE:
        raise InputError(f"There is no work {what!r} to ask for here.")
    page = load_works(session, settings().learn_after_labels)
    if any(one.what == what and one.goes_on for one in page.ways):
        say("That goes on already.")
    else:
        ask(session, what, {"name": ASKED_HERE[what].name}, now=g.now)
        say("It begins in a moment.")
    return see_other("/work")


@area.post("/work/<int:work_id>/stop")
@may("owner")
def stop(session: Session, work_id: int) -> Answer:
    """Ask for it to stop at the next step."""
    ask_to_stop(session, work_id, now=g.now)
    return see_other("/work")
