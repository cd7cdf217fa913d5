"""A digest as text and as mail: the same content, readable in a terminal, in light and in dark."""

import base64
import re
from dataclasses import replace
from email import message_from_bytes
from email.policy import default
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from sqlalchemy.orm import Session

from inbox.digest.build import freeze
from inbox.digest.feed import as_atom, newest_digests
from inbox.digest.render import as_mail, as_text, digest_mail, title_of
from inbox.replies.compose import POLICY
from tests.digest.kitchen import BUILT_AT, IN_WEEK, SITE, WEEK, build, caution, fill_week
from tests.makers import make_message, make_reader
from tests.replies.outbox import SENDER, label

HEADINGS = [
    "Hazards",
    "Recipes in trouble",
    "What to develop next",
    "Replies to write",
    "What worked and may be quoted",
    "The coming season",
    "The week in numbers",
    "What the program is unsure of",
    "Done since the last digest",
]
"""In the order in which a digest is read."""


def test_the_text_has_its_parts_in_order_and_fits_a_terminal(session: Session) -> None:
    wrote = fill_week(session)

    text = as_text(build(session))

    present = [heading for heading in HEADINGS if heading.upper() in text]
    assert [line for line in text.splitlines() if line in map(str.upper, HEADINGS)] == [
        heading.upper() for heading in present
    ]
    assert present == [heading for heading in HEADINGS if "unsure" not in heading]
    assert max(map(len, text.splitlines())) <= 76
    assert f"(message {wrote['failed']})" in text
    assert "shares of reports, not of makes" in " ".join(text.split())
    assert "The usual caution for allergen." in text
    assert "2026-W47    5     2       1      0       1        2       1          1" in text


def test_a_quiet_week_is_three_lines_everywhere(session: Session) -> None:
    label(session, make_message(session, received_at=IN_WEEK, reader_id=make_reader(session).id), "comment")
    digest = build(session)

    text, (html, pictures) = as_text(digest), as_mail(digest, public_url="https://post.kitchen.example")

    assert text.splitlines()[3:] == list(digest.opening)
    assert pictures == ()
    assert "<h2" not in html


def test_the_mail_says_the_same_with_pictures_and_inlined_styles(session: Session) -> None:
    wrote = fill_week(session)
    digest = build(session)

    html, pictures = as_mail(digest, public_url="https://post.kitchen.example/")

    found = re.findall(r"<h2[^>]*>([^<]+)</h2>", html)
    assert found == [heading for heading in HEADINGS if "unsure" not in heading]
    assert [picture.name for picture in pictures] == ["requests", "arrivals", "outcomes", "shares"]
    for picture in pictures:
        assert f'src="cid:{picture.name}@digest"' in html
        assert picture.png.startswith(b"\x89PNG")
        assert picture.in_words
    assert 'alt=""' not in html
    assert html.count("alt=") == len(pictures)
    assert "The words of &lt;failed&gt;." in html
    assert "<failed>" not in html
    assert f'href="https://post.kitchen.example/messages/{wrote["failed"]}"' in html
    assert not re.search(r"<(script|link|iframe)\b", html)
    assert not re.search(r'src="(?!cid:)', html)
    assert "<p>" not in html  # every paragraph carries its own style


def test_the_whole_mail(session: Session) -> None:
    fill_week(session)

    mail = digest_mail(build(session), sender=SENDER, now=BUILT_AT)

    read = message_from_bytes(mail.as_bytes(policy=POLICY), policy=default)
    assert read["Message-ID"] == "<digest.2026-W47@kitchen.example>"
    assert (read["Auto-Submitted"], read["Subject"]) == (
        "auto-generated",
        "Test kitchen: Week 47, 16 to 22 November 2026",
    )
    assert read.get_content_type() == "multipart/alternative"
    plain, rich = read.iter_parts()
    assert (plain.get_content_type(), rich.get_content_type()) == ("text/plain", "multipart/related")
    ids = [part["Content-ID"] for part in rich.iter_attachments()]
    assert ids == ["<requests@digest>", "<arrivals@digest>", "<outcomes@digest>", "<shares@digest>"]
    assert all(len(line) <= 998 for line in mail.as_bytes(policy=POLICY).split(b"\r\n"))


@pytest.mark.parametrize(
    ("week", "title"),
    [
        ("2026-W47", "Week 47, 16 to 22 November 2026"),
        ("2026-W49", "Week 49, 30 November to 6 December 2026"),
        ("2026-W53", "Week 53, 28 December 2026 to 3 January 2027"),
    ],
)
def test_titles(session: Session, week: str, title: str) -> None:
    assert title_of(build(session, week=WEEK.parse(week))) == title


def test_back_numbers_as_atom(session: Session) -> None:
    """RFC 4287 sections 4.1.1 and 4.1.2: id, title and updated in feed and entries, an author, a self."""
    fill_week(session)
    freeze(session, WEEK.previous(), site=SITE, caution=caution, now=IN_WEEK)
    freeze(session, WEEK, site=SITE, caution=caution, now=BUILT_AT)

    packed = as_atom(
        newest_digests(session),
        site_name="Test & kitchen\x0b",
        public_url="https://post.kitchen.example",
        own_address="https://post.kitchen.example/digests.atom?token=t",
    )

    names = {"a": "http://www.w3.org/2005/Atom"}
    feed = ElementTree.fromstring(packed)
    assert packed == as_atom(
        newest_digests(session),
        site_name="Test & kitchen\x0b",
        public_url="https://post.kitchen.example",
        own_address="https://post.kitchen.example/digests.atom?token=t",
    )
    entries = feed.findall("a:entry", names)
    assert [entry.findtext("a:id", namespaces=names) for entry in entries] == [
        "https://post.kitchen.example/digests/2026-W47",
        "https://post.kitchen.example/digests/2026-W46",
    ]
    for one in (feed, *entries):
        for name in ("id", "title", "updated"):
            assert len(one.findall(f"a:{name}", names)) == 1
    assert feed.findtext("a:updated", namespaces=names) == "2026-11-23T07:00:00Z"
    assert feed.findtext("a:author/a:name", namespaces=names) == "Test & kitchen"
    links = {link.get("rel"): link.get("href") for link in feed.findall("a:link", names)}
    assert links["self"] == "https://post.kitchen.example/digests.atom?token=t"


@pytest.mark.browser
def test_the_mail_in_a_real_browser_light_and_dark_on_a_phone(
    session: Session, tmp_path: Path, chromium: Any
) -> None:
    fill_week(session)
    html, pictures = as_mail(build(session), public_url="https://post.kitchen.example")
    for picture in pictures:
        shown = "data:image/png;base64," + base64.b64encode(picture.png).decode()
        html = html.replace(f"cid:{picture.name}@digest", shown)
    page_file = tmp_path / "digest.html"
    page_file.write_text(html, encoding="utf-8")
    papers = {}
    for scheme in ("light", "dark"):
        context = chromium.new_context(color_scheme=scheme, viewport={"width": 360, "height": 800})
        page = context.new_page()
        page.goto(page_file.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        assert page.evaluate("[...document.images].every(one => one.naturalWidth > 0 && one.alt)")
        assert page.evaluate("document.images.length") == len(pictures)
        papers[scheme] = page.evaluate("getComputedStyle(document.body).backgroundColor")
        context.close()

    assert papers == {"light": "rgb(253, 252, 248)", "dark": "rgb(26, 23, 21)"}


def test_hazards_of_one_kind_share_their_caution(session: Session) -> None:
    fill_week(session)
    digest = build(session)
    first = digest.hazards[0]
    second = replace(first, quote=replace(first.quote, message_id=999, words="Me too, all night."))
    twice = replace(digest, hazards=(first, second))

    for written in (as_text(twice), as_mail(twice, public_url="https://letters.example")[0]):
        assert " ".join(written.split()).count(" ".join(first.caution.split())) == 1
        assert "Me too, all night." in written
