"""Signing in and out."""

from flask import Blueprint, Response, g, request
from sqlalchemy.orm import Session

from inbox.records import accounts, second_step
from inbox.records.door_book import note
from inbox.records.limits import hash_sender
from inbox.web.access import account, cookie_name, inside, may, respond, see_other, settings
from inbox.web.installation import installation
from inbox.web.known import is_known_browser, remember_browser
from inbox.web.page import Answer, Refusal
from inbox.web.pages.entry import KEPT_PREFIX, CodePage, SignInPage, StillHerePage, kept_fields
from inbox.web.proof import make_proof, read_proof

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
    """Check name and password; on success ask for the code, or lead on with words that came too late."""
    name, then = request.form.get("name", ""), inside(request.form.get("then"), "")
    sender = hash_sender(session, request.remote_addr or "", now=g.now)
    try:
        account_id = accounts.give_password(
            session,
            name,
            request.form.get("password", ""),
            sender,
            now=g.now,
            known_sender=is_known_browser(name),
        )
    except accounts.SignInRefusedError as error:
        return Refusal(SignInPage(then=then, name=name, trouble=str(error), kept=_kept()), keep=True)
    if second_step.is_on(session, account_id):
        return CodePage(proof=_first_step_done(session, account_id), then=then, kept=_kept())
    return _come_in(session, account_id, "signed_in", sender, then)


def _first_step_done(session: Session, account_id: int) -> str:
    """Signed word that the password was given; a changed password makes it worthless."""
    mark = accounts.password_mark(session, account_id)
    return make_proof("password given", {"account": account_id, "mark": mark})


@area.post("/sign-in/code")
@may("anyone")
def give_code(session: Session) -> Answer:
    """Check the code of the second step; on success lead on."""
    proof, then = request.form.get("proof", ""), inside(request.form.get("then"), "")
    facts = read_proof("password given", proof)
    if facts is None or accounts.password_mark(session, facts["account"]) != facts["mark"]:
        trouble = "The password was given too long ago. Nothing is lost: sign in once more."
        return Refusal(SignInPage(then=then, trouble=trouble, kept=_kept()))
    account_id = int(facts["account"])
    sender = hash_sender(session, request.remote_addr or "", now=g.now)
    known = is_known_browser(accounts.get_account(session, account_id).name)
    try:
        what = second_step.give_code(
            session, account_id, request.form.get("code", ""), sender, now=g.now, known_sender=known
        )
    except accounts.SignInRefusedError as error:
        event = "held_up" if isinstance(error, second_step.TooManyCodesError) else "code_wrong"
        note(session, event, account_id, sender, now=g.now, known_browser=known)
        return Refusal(CodePage(proof=proof, then=then, kept=_kept(), trouble=str(error)), keep=True)
    return _come_in(session, account_id, what, sender, then)


def _come_in(session: Session, account_id: int, what: str, sender: str, then: str) -> Response:
    """Sign in, note it at the door, and lead on."""
    name = accounts.get_account(session, account_id).name
    token = accounts.start_sign_in(session, account_id, now=g.now, hours=settings().session_hours)
    note(session, what, account_id, sender, now=g.now, known_browser=is_known_browser(name))
    waiting = kept_fields(request.form)
    if waiting and then:
        response = respond(StillHerePage(then, waiting), g.frame)
    else:
        response = see_other(then or "/")
    remember_browser(response, name)
    return with_token(response, token)


def _kept() -> list[tuple[str, str]]:
    """Fields of another form that wait, as they came."""
    return [(name, value) for name, value in request.form.items(multi=True) if name.startswith(KEPT_PREFIX)]


@area.get("/enter/<token>")
@may("anyone")
def enter(session: Session, token: str) -> Answer:
    """Sign in by a one-time link, which stands for the password; a code is asked for all the same.

    It comes by GET, since people open it from a terminal or a mail; it works once, and its
    use changes nothing but who is signed in.
    """
    then = inside(request.args.get("then"))
    with installation().writing.begin() as changing:
        account_id = accounts.use_link(changing, token, now=g.now)
        if second_step.is_on(changing, account_id):
            return CodePage(proof=_first_step_done(changing, account_id), then=then)
        fresh = accounts.start_sign_in(changing, account_id, now=g.now, hours=settings().session_hours)
        sender = hash_sender(changing, request.remote_addr or "", now=g.now)
        note(changing, "link_used", account_id, sender, now=g.now)
    return with_token(see_other(then), fresh)


@area.post("/sign-out")
@may("owner", "helper")
def sign_out(session: Session) -> Answer:
    """End this sign-in, on the server too."""
    accounts.sign_out(session, request.cookies.get(cookie_name(), ""))
    sender = hash_sender(session, request.remote_addr or "", now=g.now)
    note(session, "signed_out", account().account_id, sender, now=g.now, known_browser=True)
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
