"""No address that is not of the web is ever rendered as a link, whichever door it came by (ASVS 1.2.2)."""

import json
import re
from datetime import datetime
from html import unescape
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from inbox.errors import InboxError
from inbox.intake.mention import receive_mention
from inbox.intake.recipe_ld import read_recipes
from inbox.intake.run import import_path
from inbox.intake.sources import ImportOptions
from inbox.records.engine import make_sessions
from inbox.records.tables import Message
from inbox.web.phrasing import outside
from tests.makers import make_message, make_reader, make_recipe
from tests.replies.outbox import label
from tests.trust.test_locked_doors import address, routes

EVIL = (
    "javascript:alert(1)", "JaVaScRiPt:alert(1)", " javascript:alert(1)", "java\tscript:alert(1)",
    "data:text/html,<script>alert(1)</script>", "vbscript:x", "file:///etc/passwd", "//evil.example/x",
)  # fmt: skip
LINK = re.compile(
    r"""\b(?:href|src|action|formaction)\s*=\s*(?:"([^"]*)"|'([^']*)'|([^\s>]+))""", re.IGNORECASE
)
OURS = re.compile(r"(?:/(?!/)|#|\?|https?://|mailto:|$)", re.IGNORECASE)


def links(page: str) -> list[str]:
    """Addresses on a page that are none of the web, of mail, or of a place on this site."""
    found = [unescape("".join(one)).strip() for one in LINK.findall(page)]
    return [one for one in found if not OURS.match(one) and not one.startswith("data:image/")]


@pytest.mark.parametrize("evil", EVIL)
def test_no_page_links_to_it(
    app: Flask, owner: FlaskClient, nobody: FlaskClient, ledger: Session, evil: str
) -> None:
    """Every page, over rows that hold the address wherever an address can stand."""
    recipe = make_recipe(ledger, slug="nothing", url=evil)
    reader = make_reader(ledger, name=evil, email=None, channel="comment", handle=evil)
    message = make_message(
        ledger, reader_id=reader.id, page_recipe_id=recipe.id, page_url=evil, links=[evil], subject=evil,
        channel="comment", text=f"See {evil} and {evil}", reply_wanted=True, may_quote=True,
    )  # fmt: skip
    label(ledger, message, "question", recipe_id=recipe.id)
    ledger.commit()
    seen = 0
    for client in (owner, nobody):
        for rule in routes(app, "GET"):
            for place in (address(rule), f"{address(rule)}?recipe=nothing"):
                answer = client.get(place)
                if answer.status_code == 200 and answer.mimetype == "text/html":
                    seen += 1
                    assert links(answer.text) == [], place
    assert seen > 60


def test_the_search_for_links_finds_them() -> None:
    """What the test above rests on."""
    page = '<a href="javascript:x">a</a><a href=//evil.example>b</a><a href="/a">c</a><a HREF=" data:x">d</a>'

    assert links(page) == ["javascript:x", "//evil.example", "data:x"]
    assert outside("https://kitchen.example/a") == "https://kitchen.example/a"
    assert [outside(evil) for evil in EVIL] == [""] * len(EVIL)


@pytest.mark.parametrize("evil", EVIL)
def test_no_recipe_gets_such_an_address(evil: str) -> None:
    own = json.dumps([{"slug": "rye", "title": "Rye loaf", "url": evil}])
    schema = json.dumps({"@type": "Recipe", "name": "Rye loaf", "url": evil, "@id": evil})
    page = (
        f'<link rel="canonical" href="{evil.replace("<", "&lt;")}">'
        '<script type="application/ld+json">{"@type": "Recipe", "name": "Rye loaf"}</script>'
    )

    for content in (own, schema, page):
        (recipe,) = read_recipes(content.encode(), name="test")
        assert recipe.url is None


@pytest.mark.parametrize("evil", EVIL)
def test_no_mention_has_such_a_source_or_target(session: Session, now: datetime, evil: str) -> None:
    page, sites = "https://kitchen.example/rye", ["https://kitchen.example"]

    for source, target in ((evil, page), ("https://reader.example/", evil)):
        with pytest.raises(InboxError):
            receive_mention(session, source, target, site_urls=sites, now=now)


@pytest.mark.parametrize("evil", EVIL)
def test_a_feed_that_names_one_is_read_and_links_nowhere(
    fresh_engine: Engine, owner: FlaskClient, tmp_path: Path, now: datetime, evil: str
) -> None:
    escaped = evil.replace("&", "&amp;").replace("<", "&lt;")
    path = tmp_path / "feed.xml"
    path.write_text(
        '<?xml version="1.0"?><feed xmlns="http://www.w3.org/2005/Atom"><title>t</title><id>urn:x:1</id>'
        f'<entry><title>c</title><id>urn:x:2</id><link href="{escaped}"/>'
        f'<summary type="html">It sank. &lt;a href="{escaped.replace("&", "&amp;")}"&gt;look&lt;/a&gt;'
        "</summary></entry></feed>"
    )
    sessions = make_sessions(fresh_engine)
    assert import_path(sessions, path, options=ImportOptions(now=now)).stored == 1
    with sessions() as session:
        number = session.scalars(select(Message.id)).one()

    for place in ("/messages", f"/messages/{number}", f"/replies/{number}"):
        assert links(owner.get(place).text) == [], place
