"""Browsers that signed in before, by a signed cookie, so that others' guesses do not hold them up."""

from flask import Response, current_app, request
from itsdangerous import BadSignature, URLSafeTimedSerializer

from inbox.web.installation import installation

YEAR_SECONDS = 365 * 24 * 3600


def _name() -> str:
    return "__Host-second-batch-known" if installation().is_https else "second-batch-known"


def _signer() -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(current_app.secret_key or "", salt="known browser")


def is_known_browser(name: str) -> bool:
    """Whether this browser signed in with this name in the last year."""
    try:
        known: object = _signer().loads(request.cookies.get(_name(), ""), max_age=YEAR_SECONDS)
    except BadSignature:
        return False
    return known == " ".join(name.split())


def remember_browser(response: Response, name: str) -> None:
    """Give the browser the cookie that says so."""
    response.set_cookie(
        _name(),
        str(_signer().dumps(" ".join(name.split()))),
        max_age=YEAR_SECONDS,
        httponly=True,
        secure=installation().is_https,
        samesite="Lax",
        path="/",
    )
