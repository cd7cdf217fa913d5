"""Who may open a page, and the one session that a request works in.

Every view is declared with `@may(...)`. The session is opened before the view,
committed once after it (only for requests that may change something), and closed
before anything is rendered: a page shows only what was put into its dataclass, and
a thank-you is said only after the words are on the disk.
"""

from collections.abc import Callable
from datetime import timedelta
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from flask import Response, g, make_response, redirect, render_template, request
from sqlalchemy.exc import DBAPIError

from inbox.records.accounts import SignedIn, find_signed_in, note_seen
from inbox.records.door_book import write_line
from inbox.records.saved import with_saved
from inbox.settings import Settings
from inbox.web.frame import Frame, load_frame
from inbox.web.installation import installation
from inbox.web.page import Answer, Refusal, View
from inbox.web.pages.entry import NotYours, ask_to_sign_in

SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
SEEN_EVERY = timedelta(hours=1)
"""How exactly the last use of a sign-in is remembered; a write a page would make readers wait."""


def may(
    *who: str,
    when_not_taken: View | None = None,
    open_to_other_sites: bool = False,
    takes: Callable[[Settings], int] | None = None,
) -> Callable[[View], Callable[..., Response]]:
    """Declare who may use a view: "owner", "helper", or "anyone".

    Parameters
    ----------
    when_not_taken : callable, optional
        Called with the view's arguments, without a session, when the ledger cannot be written;
        by default the general page for that is shown.
    open_to_other_sites : bool, default=False
        Whether pages and programs of other sites may send to it; it then looks at the origin itself.
    takes : callable, optional
        From the settings, the most bytes that may be sent to it; by default an ordinary form.
    """

    def declare(view: View) -> Callable[..., Response]:
        @wraps(view)
        def guarded(**arguments: Any) -> Response:
            try:
                return _run(view, frozenset(who), arguments)
            except DBAPIError:
                if when_not_taken is None:
                    raise
                return respond(when_not_taken(**arguments), Frame.without_ledger(installation().settings))

        guarded.may = frozenset(who)  # type: ignore[attr-defined]
        guarded.open_to_other_sites = open_to_other_sites  # type: ignore[attr-defined]
        guarded.takes = takes  # type: ignore[attr-defined]
        return guarded

    return declare


def _run(view: View, who: frozenset[str], arguments: dict[str, Any]) -> Response:
    """Check, call, commit, close; then render."""
    here = installation()
    changes = request.method not in SAFE_METHODS
    with (here.writing if changes else here.reading)() as session:
        g.now = here.clock()
        g.settings = with_saved(session, here.settings)
        g.account = find_signed_in(session, request.cookies.get(cookie_name()), now=g.now)
        g.frame = load_frame(session, g.settings, g.account, now=g.now)
        answer: Answer
        if "anyone" in who or (g.account and g.account.role in who):
            answer = view(session, **arguments)
        else:
            answer = turned_away(g.account)
        if changes and (not isinstance(answer, Refusal) or answer.keep):
            session.commit()
    _remember_use(g.account)
    return respond(answer, g.frame)


def _remember_use(account: SignedIn | None) -> None:
    """Note that a sign-in is in use, now and then; a ledger that cannot be written can still be read."""
    if account is None or g.now - account.seen_at < SEEN_EVERY:
        return
    try:
        with installation().writing.begin() as session:
            note_seen(session, account.sign_in_id, now=g.now)
    except DBAPIError:
        pass


def turned_away(account: SignedIn | None) -> Answer:
    """Ask to sign in, keeping what was typed; or say that this is the owner's."""
    if account is not None:
        write_line("turned_away", account.account_id, "")
        return Refusal(NotYours(), 403)
    if request.method in SAFE_METHODS:
        return see_other("/sign-in", then=request.full_path.rstrip("?"))
    return Refusal(ask_to_sign_in(request.path, request.form), 401)


def respond(answer: Answer, frame: Frame) -> Response:
    """Turn what a view returned into a response; the session is closed by now."""
    if isinstance(answer, Response):
        return answer
    g.frame = frame
    page, status = (answer.page, answer.status) if isinstance(answer, Refusal) else (answer, 200)
    g.holds_secret = page.holds_secret
    return make_response(render_template(page.template, page=page, frame=frame), status)


def see_other(path: str, **query: str) -> Response:
    """Redirect after a change, so that going back or reloading does not send it again."""
    kept = {name: value for name, value in query.items() if value}
    response = redirect(path + ("?" + urlencode(kept) if kept else ""), 303)
    return make_response(response)


def inside(address: str | None, otherwise: str = "/") -> str:
    """`address` if it is a path of this site, else `otherwise`; nobody is led elsewhere."""
    if not address or not address.startswith("/") or address.startswith(("//", "/\\")):
        return otherwise
    return otherwise if any(ord(sign) < 32 or sign == "\\" for sign in address) else address


def cookie_name() -> str:
    """Name of the cookie that holds the sign-in's token."""
    return "__Host-second-batch" if installation().is_https else "second-batch"


def account() -> SignedIn:
    """Who is signed in; only for views that nobody else may use."""
    signed_in: SignedIn = g.account
    return signed_in


def settings() -> Settings:
    """Settings as they count for this request."""
    found: Settings = g.settings
    return found
