"""One place that turns errors into pages: ours, the browser's, and the ledger's."""

import logging

from flask import Flask, Response, g, request
from sqlalchemy.exc import DBAPIError
from werkzeug.exceptions import HTTPException

from inbox.errors import InboxError, NotFoundError, kind_and_place
from inbox.web.access import respond
from inbox.web.frame import Frame
from inbox.web.installation import installation
from inbox.web.page import Refusal
from inbox.web.pages.entry import TroublePage
from inbox.web.safety import dress

log = logging.getLogger(__name__)

_TITLES = {
    400: ("That could not be read", "The browser sent something that this page cannot make sense of."),
    401: ("Please sign in", "This page is for those who look after the site."),
    403: ("Not from here", "This was refused."),
    404: ("No such page", "There is nothing at this address. It may have been moved, or mistyped."),
    405: ("Not that way", "This address cannot be used like that. Go back and use the page's own buttons."),
    413: (
        "Too large",
        "What was sent is larger than this page takes. Send a smaller file, or fewer at once.",
    ),
    431: (
        "Too long",
        "The address or the cookies that the browser sent are longer than this server takes. "
        "Try a shorter address, or delete this site's cookies.",
    ),
    415: ("Not that kind", "What was sent is of a kind that this page does not take."),
    500: (
        "Something broke here",
        "This is a mistake of the program, not yours. Nothing that was accepted is lost.",
    ),
    503: ("Not taken, please try again", "The ledger cannot be written just now. Nothing was changed."),
}


def install(app: Flask) -> None:
    """Let every error of `app` end as a page of its own."""
    app.register_error_handler(InboxError, explain_ours)
    app.register_error_handler(HTTPException, explain_http)
    app.register_error_handler(DBAPIError, explain_ledger)
    app.register_error_handler(Exception, explain_mistake)


def page_of_server(app: Flask, status: int) -> Response:
    """Page for what the server refuses before the application is asked."""
    with app.test_request_context("/"):
        return dress(_page(status))


def _page(status: int, words: str = "") -> Response:
    title, usual = _TITLES.get(status, _TITLES[400])
    frame = Frame.without_ledger(installation().settings)
    return respond(Refusal(TroublePage(title, words or usual), status), frame)


def explain_ours(error: InboxError) -> Response:
    """An error of the program's own family, which says itself what to do."""
    return _page(404 if isinstance(error, NotFoundError) else 422, str(error))


def explain_http(error: HTTPException) -> Response:
    """An error that Flask or a view raised; our own words where a view gave some."""
    status = error.code or 500
    usual = type(error).description
    own = error.description if error.description and error.description != usual else ""
    response = _page(status, own if status in (400, 403) else "")
    for name, value in error.get_headers(request.environ):
        if name == "Allow":
            response.headers[name] = value
    return response


def explain_ledger(error: DBAPIError) -> Response:
    """The ledger is busy, read-only, full or gone."""
    log.error("request id=%s: the ledger failed: %s", g.request_id, type(error.orig).__name__)
    return _page(503)


def explain_mistake(error: Exception) -> Response:
    """A mistake of the program; the log has the place, never the reader's words."""
    log.error("request id=%s: mistake: %s", g.request_id, kind_and_place(error))
    return _page(500)
