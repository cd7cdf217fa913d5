"""The first page and the table of contents."""

from flask import Blueprint, g
from sqlalchemy.orm import Session

from inbox.web.access import may, see_other
from inbox.web.page import Answer
from inbox.web.pages.contents import load_contents

area = Blueprint("home", __name__)


@area.get("/")
@may("owner", "helper")
def first_page(session: Session) -> Answer:
    """The newest digest is where the week begins."""
    return see_other("/digest")


@area.get("/contents")
@may("owner", "helper")
def show_contents(session: Session) -> Answer:
    """All pages, with what waits on each."""
    return load_contents(session, now=g.now)
