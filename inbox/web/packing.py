"""Pages packed by gzip for browsers that take it, so that a long list weighs little on a phone.

Packing beside words that somebody else chose can give a secret away by its length (BREACH, Gluck, Harris and
Prado 2013, from memory). So pages that hold one are not packed (`Page.holds_secret`); the others hold none:
who is signed in stands in a cookie, and changes are told by their origin.
"""

import gzip

from flask import Flask, Response, g, request

LEAST_BYTES = 1_000
"""Shorter answers gain nothing."""

LEVEL = 4
"""Of 1 to 9. Chosen: a list of messages is packed in well under a millisecond, to a quarter."""


def install(app: Flask) -> None:
    """Pack the pages of `app`."""
    app.after_request(pack)


def pack(response: Response) -> Response:
    """Pack one answer where it is a page of some length and the browser says that it takes gzip."""
    if response.mimetype != "text/html" or response.is_streamed or "Content-Encoding" in response.headers:
        return response
    if g.get("holds_secret"):
        return response
    response.vary.add("Accept-Encoding")
    if request.accept_encodings["gzip"] <= 0:
        return response
    body = response.get_data()
    if len(body) >= LEAST_BYTES:
        response.set_data(gzip.compress(body, LEVEL, mtime=0))
        response.headers["Content-Encoding"] = "gzip"
    return response
