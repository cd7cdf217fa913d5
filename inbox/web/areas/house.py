"""Whether the service is up, what programs can ask of it, and the page that shows its own look."""

import hmac
import json

from flask import Blueprint, Response, abort, current_app, g, request
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from inbox.records import migrate
from inbox.web.access import cookie_name, may, settings
from inbox.web.description import describe
from inbox.web.figures import write_figures
from inbox.web.installation import installation
from inbox.web.page import Answer
from inbox.web.pages.style import StylePage

area = Blueprint("house", __name__)


def healthz() -> Response:
    """Whether the process answers at all; asks nothing of the ledger."""
    return Response("up\n", content_type="text/plain; charset=utf-8")


def readyz() -> Response:
    """Whether the ledger can be read and has the newest form."""
    try:
        ready = migrate.is_current(installation().engine)
    except DBAPIError:
        ready = False
    words = "ready\n" if ready else "not ready\n"
    return Response(words, 200 if ready else 503, content_type="text/plain; charset=utf-8")


for _path, _view in (("/healthz", healthz), ("/readyz", readyz)):
    _view.may = frozenset({"anyone"})  # type: ignore[attr-defined]
    area.add_url_rule(_path, view_func=_view)


@area.get("/metrics")
@may("anyone")
def show_metrics(session: Session) -> Answer:
    """Figures for Prometheus, for whoever brings the token; no such page where none is set."""
    token = settings().metrics_token
    if not token:
        abort(404)
    brought = request.headers.get("Authorization", "")
    if not hmac.compare_digest(brought.encode(), f"Bearer {token}".encode()):
        return Response(
            "The token is missing or wrong.\n",
            401,
            {"WWW-Authenticate": "Bearer"},
            content_type="text/plain; charset=utf-8",
        )
    return write_figures(session, now=g.now)


@area.get("/openapi.json")
@may("owner", "helper")
def show_description(session: Session) -> Answer:
    """What programs can ask of this service."""
    return Response(
        json.dumps(describe(current_app, cookie_name()), indent=1), content_type="application/json"
    )


@area.get("/style")
@may("owner")
def show_style(session: Session) -> Answer:
    """The look of the pages on one page."""
    return StylePage()
