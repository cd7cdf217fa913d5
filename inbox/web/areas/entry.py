"""Signing in and out."""

from flask import Blueprint, Response, g, request
from sqlalchemy.orm import Session

from inbox.records import accounts
from inbox.records.limits import hash_sender
from inbox.web.access import cookie_name, inside, may, respond, see_other, settings
from inbox.web.installation import installation
from inbox.web.known import is_known_browser, remember_browser
from inbox.web.page import Answer, Refusal
from inbox.web.pages.entry import SignInPage, StillHerePage, kept_fields

area = Blueprint("entry", __name__)


@area.get("/sign-in")
@may("anyone")
def show_sign_in(session: Session) -> Answer:
    """The form; whoever is signed in already goes on, a new installation goes to its first steps."""
    then = inside(request.args.get("then"), "")
    if g.account:
        return see_other(then or "/")
    if not accounts.has_owner(session):
        return see_other("/setup")
    return SignInPage(then=then)


@area.post("/sign-in")
@may("anyone")
def sign_in(session: Session) -> Answer:
    """Check name and password; on success lead on, with the words of a form that came too late."""
    name, then = request.form.get("name", ""), inside(request.form.get("then"), "")
    waiting = kept_fields(request.form)
    sender = hash_sender(session, request.remote_addr or "", now=g.now)
    try:
        token = accounts.sign_in(
            session,
            name,
            request.form.get("password", ""),
            sender,
            now=g.now,
            hours=settings().session_hours,
            known_sender=is_known_browser(name),
        )
    except accounts.SignInRefusedError as error:
        kept = [
            (field, value) for field, value in request.form.items(multi=True) if field.startswith("kept:")
        ]
        return Refusal(SignInPage(then=then, name=name, trouble=str(error), kept=kept), keep=True)
    if waiting and then:
        response = respond(StillHerePage(then, waiting), g.frame)
    else:
        response = see_other(then or "/")
    remember_browser(response, name)
    return with_token(response, token)


@area.get("/enter/<token>")
@may("anyone")
def enter(session: Session, token: str) -> Answer:
    """Sign in by a one-time link.

    It comes by GET, since people open it from a terminal or a mail; it works once, and its
    use changes nothing but who is signed in.
    """
    with installation().writing.begin() as changing:
        fresh = accounts.use_link(changing, token, now=g.now, hours=settings().session_hours)
    return with_token(see_other(inside(request.args.get("then"))), fresh)


@area.post("/sign-out")
@may("owner", "helper")
def sign_out(session: Session) -> Answer:
    """End this sign-in, on the server too."""
    accounts.sign_out(session, request.cookies.get(cookie_name(), ""))
    response = see_other("/sign-in")
    response.delete_cookie(cookie_name(), secure=installation().is_https, httponly=True, samesite="Lax")
    response.headers["Clear-Site-Data"] = '"cache"'
    return response


def with_token(response: Response, token: str) -> Response:
    """Hand the sign-in's token to the browser."""
    response.set_cookie(
        cookie_name(),
        token,
        max_age=settings().session_hours * 3600,
        httponly=True,
        secure=installation().is_https,
        samesite="Lax",
        path="/",
    )
    return response
