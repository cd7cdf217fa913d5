"""The weekly digest: the newest, back numbers, and a private feed of them."""

import hmac
import secrets

from flask import Blueprint, Response, abort, g
from sqlalchemy.orm import Session

from inbox.digest.build import back_numbers
from inbox.digest.feed import as_atom, newest_digests
from inbox.records.saved import keep, saved_settings
from inbox.web.access import may, see_other, settings
from inbox.web.notices import say
from inbox.web.page import Answer
from inbox.web.pages.digests import load_back_numbers, load_digest

area = Blueprint("digests", __name__)
_FEED = "program.feed_token"


@area.get("/digest")
@may("owner", "helper")
def newest(session: Session) -> Answer:
    """The newest digest."""
    weeks = back_numbers(session)
    return see_other(f"/digests/{weeks[0][0]}" if weeks else "/digests")


@area.get("/digests")
@may("owner", "helper")
def show_back_numbers(session: Session) -> Answer:
    """All of them."""
    token = saved_settings(session).get(_FEED, "")
    address = f"{settings().public_url.rstrip('/')}/digests/feed/{token}" if token else ""
    return load_back_numbers(session, address)


@area.get("/digests/<week>")
@may("owner", "helper")
def show_digest(session: Session, week: str) -> Answer:
    """One week."""
    return load_digest(session, week)


@area.post("/digests/feed")
@may("owner")
def make_feed(session: Session) -> Answer:
    """Make the feed's secret address, or a new one in the place of the old."""
    keep(session, _FEED, secrets.token_urlsafe(24), now=g.now)
    say("The feed has an address; whoever knows it can read the digests. A new one ends the old one.")
    return see_other("/digests")


@area.get("/digests/feed/<token>")
@may("anyone")
def show_feed(session: Session, token: str) -> Answer:
    """The feed, for a feed reader that cannot sign in."""
    known = saved_settings(session).get(_FEED, "")
    if not known or not hmac.compare_digest(known.encode(), token.encode()):
        abort(404)
    public_url = settings().public_url.rstrip("/")
    body = as_atom(
        newest_digests(session),
        site_name=settings().site_name,
        public_url=public_url,
        own_address=f"{public_url}/digests/feed/{known}",
    )
    return Response(body, content_type="application/atom+xml; charset=utf-8")
