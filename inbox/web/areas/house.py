"""Whether the service is up, and the page that shows its own look."""

from flask import Blueprint, Response
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from inbox.records import migrate
from inbox.web.access import may
from inbox.web.installation import installation
from inbox.web.page import Answer
from inbox.web.pages.style import StylePage

area = Blueprint("house", __name__)


def healthz() -> Response:
    """Whether the process answers at all; asks nothing of the ledger."""
    return Response("up\n", content_type="text/plain; charset=utf-8")


def readyz() -> Response:
    """Whether the ledger can be read and has the newest form."""
    engine = installation().engine
    try:
        with engine.connect() as connection:
            connection.execute(text("SELECT 1"))
        ready = migrate.is_current(engine)
    except DBAPIError:
        ready = False
    words = "ready\n" if ready else "not ready\n"
    return Response(words, 200 if ready else 503, content_type="text/plain; charset=utf-8")


for _path, _view in (("/healthz", healthz), ("/readyz", readyz)):
    _view.may = frozenset({"anyone"})  # type: ignore[attr-defined]
    area.add_url_rule(_path, view_func=_view)


@area.get("/style")
@may("owner")
def show_style(session: Session) -> Answer:
    """The look of the pages on one page."""
    return StylePage()
