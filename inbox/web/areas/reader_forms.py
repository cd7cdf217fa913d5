"""What readers use without signing in: forms, thanks, privacy, unsubscribing."""

import re
from collections.abc import Mapping
from dataclasses import replace
from urllib.parse import urlsplit

from flask import Blueprint, Response, abort, g, request
from sqlalchemy.orm import Session

from inbox.errors import InboxError
from inbox.intake.forms import receive_form
from inbox.intake.mention import receive_mention
from inbox.replies.telling import reader_of, unsubscribe
from inbox.web.access import may, see_other, settings
from inbox.web.contrast import is_colour, readable_on
from inbox.web.installation import installation
from inbox.web.page import Answer, Refusal
from inbox.web.pages.reader_forms import (
    Privacy,
    ReaderForm,
    Unsubscribe,
    form_without_ledger,
    load_choice,
    load_form,
    load_thanks,
)
from inbox.web.sizes import reader_form_bytes

area = Blueprint("reader_forms", __name__)

_TYPEFACE = re.compile(r"[\w ,'\"-]{1,200}")


@area.after_request
def allow_framing(response: Response) -> Response:
    """Let the owner's own sites show the forms in a frame; nobody else."""
    response.headers["X-Framed-By"] = " ".join(["'self'", *_origins()])
    return response


def _origins() -> list[str]:
    """The owner's sites, as scheme and host."""
    given = g.settings if "settings" in g else installation().settings
    found = []
    for address in (given.site_url, *given.form_sites.split()):
        parts = urlsplit(address)
        if parts.scheme in ("http", "https") and re.fullmatch(r"[\w.:\[\]-]+", parts.netloc):
            found.append(f"{parts.scheme}://{parts.netloc}")
    return found


@area.get("/f")
@may("anyone")
def choose_for_site(session: Session) -> Answer:
    """The forms of the site."""
    return load_choice(session, "")


@area.get("/f/about/<slug>")
@may("anyone")
def choose_for_recipe(session: Session, slug: str) -> Answer:
    """The forms of one recipe."""
    return load_choice(session, slug)


def keep_words(form: str, slug: str = "") -> Refusal:
    """The form again with the reader's words, when the ledger cannot take them."""
    return Refusal(form_without_ledger(form, slug, typed(), installation().settings), 503)


def typed() -> Mapping[str, str]:
    """What was typed into the form."""
    return {name: value for name, value in request.form.items() if len(value) <= 20_000}


@area.get("/f/<form>")
@area.get("/f/<form>/<slug>")
@may("anyone")
def show_form(session: Session, form: str, slug: str = "") -> Answer:
    """One empty form."""
    return load_form(session, form, slug, settings(), now=g.now)


@area.post("/f/<form>")
@area.post("/f/<form>/<slug>")
@may("anyone", when_not_taken=keep_words, open_to_other_sites=True, takes=reader_form_bytes)
def take_form(session: Session, form: str, slug: str = "") -> Answer:
    """Take a form in; thanks are said only after the commit."""
    check_site()
    if not request.form.get("stamp"):
        return look_over(session, form, slug)
    result = receive_form(
        session,
        typed(),
        form=form,
        recipe_slug=slug or None,
        sender=request.remote_addr or "",
        photos=[photo.read() for photo in request.files.getlist("photos") if photo.filename],
        now=g.now,
        posts_an_hour=settings().form_posts_an_hour,
        photo_limit_bytes=settings().photo_limit_bytes,
    )
    if result.problems:
        page = replace(
            load_form(session, form, slug, settings(), now=g.now), typed=typed(), problems=result.problems
        )
        return Refusal(page, 429 if result.too_many else 422)
    return see_other("/f/thanks", form=form, recipe=slug)


def look_over(session: Session, form: str, slug: str) -> ReaderForm:
    """Words from a form that stands in the site's own page, shown once more before they are sent.

    Such a form has no time stamp of ours; the second look takes the place of one.
    """
    page = load_form(session, form, slug, settings(), now=g.now)
    return replace(page, typed=typed(), lead="Nearly there: look your words over, and send them.")


def check_site() -> None:
    """Refuse a form that stands on somebody else's site, where the owner named theirs."""
    origin = request.headers.get("Origin")
    ours = _origins()
    if not origin or origin == "null" or urlsplit(origin).netloc == request.host or not ours:
        return
    if origin not in ours:
        abort(403, "This form stands on a site that the owner did not name.")


@area.get("/f/thanks")
@may("anyone")
def thank(session: Session) -> Answer:
    """Say thanks, and what happens next."""
    return load_thanks(session, request.args.get("form", ""), request.args.get("recipe", ""), settings())


@area.get("/f/privacy")
@may("anyone")
def show_privacy(session: Session) -> Answer:
    """What is kept of readers."""
    given = settings()
    return Privacy(
        owner_name=given.owner_name,
        owner_email=given.owner_email,
        site_name=given.site_name,
        keep_raw_days=given.keep_raw_days,
        reads_mailbox=bool(given.imap_host),
        reads_feeds=bool(given.feeds.strip()),
    )


@area.get("/f/colours.css")
@may("anyone")
def show_colours(session: Session) -> Answer:
    """The owner's two colours and typeface; anything that is none is passed over."""
    given = settings()
    ink = given.form_ink if is_colour(given.form_ink) else "#2b2622"
    accent = given.form_accent if is_colour(given.form_accent) else "#9c3d24"
    typeface = given.form_typeface if _TYPEFACE.fullmatch(given.form_typeface) else "serif"
    sheet = (
        f":root {{ --ink: {ink}; --accent: {accent}; --on-accent: {readable_on(accent)}; "
        f"--text: {typeface}; }}\n"
    )
    response = Response(sheet, content_type="text/css; charset=utf-8")
    response.headers["Cache-Control"] = "public, max-age=300"
    return response


@area.get("/unsubscribe/<token>")
@may("anyone")
def ask_unsubscribe(session: Session, token: str) -> Answer:
    """A button to press; following the link alone changes nothing (mail programs follow links)."""
    return Unsubscribe(token, done=False, known=reader_of(session, token) is not None)


@area.post("/unsubscribe/<token>")
@may("anyone", open_to_other_sites=True)
def do_unsubscribe(session: Session, token: str) -> Answer:
    """Take a reader off, by the button or by a mail program's one click (RFC 8058)."""
    known = unsubscribe(session, token, g.now)
    page = Unsubscribe(token, done=known, known=known)
    return page if known else Refusal(page, 404)


@area.post("/webmention")
@may("anyone", open_to_other_sites=True)
def take_mention(session: Session) -> Answer:
    """Let a mention wait for its verification (W3C Webmention, 3.2): 202, or 400 for a sender's fault."""
    try:
        receive_mention(
            session,
            request.form.get("source", ""),
            request.form.get("target", ""),
            site_urls=[settings().site_url],
            now=g.now,
        )
    except InboxError as error:
        abort(400, str(error))
    return Response("Accepted; the page will be looked at.\n", 202, mimetype="text/plain")
