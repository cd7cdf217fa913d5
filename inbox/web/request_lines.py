"""One line of the log a request: its number, route, status and duration; no address, no words, no token.

The route is the rule that matched, such as /unsubscribe/<token>, never the address that was asked for.
"""

import logging
import secrets
import time

from flask import Flask, Response, g, request

log = logging.getLogger("inbox.requests")


def install(app: Flask) -> None:
    """Number and log every request of `app`; install it first, so that it sees the others' answers."""
    app.before_request(begin)
    app.after_request(note)


def begin() -> None:
    """Give the request a number of our own; one that came from outside could not be trusted."""
    g.request_id = secrets.token_hex(8)
    g.begun_seconds = time.monotonic()


def note(response: Response) -> Response:
    """Write the request's line, and its number on the answer."""
    log.info(
        "request id=%s method=%s route=%s status=%d ms=%.0f",
        g.request_id,
        request.method if request.url_rule else "-",
        request.url_rule.rule if request.url_rule else "-",
        response.status_code,
        (time.monotonic() - g.begun_seconds) * 1000,
    )
    response.headers["X-Request-Id"] = g.request_id
    return response
