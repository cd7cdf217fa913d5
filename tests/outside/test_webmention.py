"""The Webmention receiver against the rules of the W3C Recommendation of 12 January 2017, section 3.2."""

import json
from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InputError
from inbox.intake.fetch import Fetched, FetchError
from inbox.intake.mention import receive_mention, verify_mentions
from inbox.intake.microformats import links_to, read_entry
from inbox.records.engine import make_sessions
from inbox.records.settle import set_hand_label
from inbox.records.tables import Message
from inbox.records.tables_out import Mention
from tests.makers import make_recipe

NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)
TARGET = "https://kitchen.example/lemon-loaf"
SOURCE = "https://ada.example/notes/loaf"
SITE = ("https://kitchen.example",)
ENTRY = f"""<!DOCTYPE html><html><head><title>Notes</title></head><body>
<nav>Home</nav>
<article class="h-entry">
  <a class="p-author h-card" href="https://ada.example/"><img class="u-photo" src="/me.jpg"> Ada Bell</a>
  <h1 class="p-name">The loaf that sank</h1>
  <time class="dt-published" datetime="2026-11-02T10:00:00+01:00">Monday</time>
  <div class="e-content"><p>I made <a href="{TARGET}#step-2">this loaf</a> &amp; it sank.</p><p>Why?</p></div>
</article><footer>Foot</footer></body></html>"""


@pytest.fixture
def sessions(fresh_engine: Engine) -> sessionmaker[Session]:
    made = make_sessions(fresh_engine)
    with made.begin() as session:
        make_recipe(session, slug="lemon-loaf", url=TARGET)
    return made


class Web:
    """Pages by address; an exception where one cannot be fetched."""

    def __init__(self, **pages: Fetched | Exception) -> None:
        self.page: Fetched | Exception = pages.get("page", html(ENTRY))

    def __call__(self, url: str) -> Fetched:
        if isinstance(self.page, Exception):
            raise self.page
        return self.page


def html(body: str, status: int = 200, media_type: str = "text/html; charset=utf-8") -> Fetched:
    return Fetched(SOURCE, status, {"content-type": media_type}, body.encode())


def send(sessions: sessionmaker[Session], source: str = SOURCE, target: str = TARGET) -> int:
    with sessions.begin() as session:
        return receive_mention(session, source, target, site_urls=SITE, now=NOW)


def messages(sessions: sessionmaker[Session]) -> list[Message]:
    with sessions.begin() as session:
        return list(session.scalars(select(Message)))


@pytest.mark.parametrize(
    ("source", "target", "sentence"),
    [
        (SOURCE, SOURCE, "the same page"),
        (TARGET + "#a", TARGET + "#b", "the same page"),
        ("ftp://ada.example/x", TARGET, "no address of a page"),
        ("nonsense", TARGET, "no address of a page"),
        (SOURCE, "https://other.example/loaf", "no page of this site"),
        ("", TARGET, "missing"),
        ("https://ada.example/" + "x" * 2000, TARGET, "longer than"),
    ],
)
def test_senders_faults_are_refused_at_once(
    sessions: sessionmaker[Session], source: str, target: str, sentence: str
) -> None:
    # Section 3.2.1: valid addresses of supported schemes, source and target differ, target accepts mentions.
    with pytest.raises(InputError, match=sentence):
        send(sessions, source, target)


def test_nothing_is_fetched_before_the_answer(sessions: sessionmaker[Session]) -> None:
    send(sessions)
    assert messages(sessions) == []


def test_verified_mention_is_the_readers_entry(sessions: sessionmaker[Session]) -> None:
    send(sessions)
    (settled,) = verify_mentions(sessions, fetch=Web(), now=NOW)
    assert settled.state == "verified"
    (message,) = messages(sessions)
    assert message.text == "I made this loaf & it sank.\n\nWhy?"
    assert message.subject == "The loaf that sank"
    assert message.received_at == datetime(2026, 11, 2, 9, tzinfo=UTC)
    assert message.page_recipe_id is not None
    assert message.channel == "social"
    with sessions.begin() as session:
        reader = session.get_one(Message, message.id).reader
        assert reader is not None
        assert (reader.name, reader.handle, reader.email) == ("Ada Bell", "https://ada.example/", None)


def test_same_pair_again_is_an_update(sessions: sessionmaker[Session]) -> None:
    web = Web()
    first = send(sessions)
    verify_mentions(sessions, fetch=web, now=NOW)
    web.page = html(ENTRY.replace("it sank", "it rose after all"))
    assert send(sessions) == first
    verify_mentions(sessions, fetch=web, now=NOW)
    (message,) = messages(sessions)
    assert message.text.startswith("I made this loaf & it rose after all.")


@pytest.mark.parametrize(
    "gone",
    [html("", 410), html("", 404), html("<p>Nothing about it any more.</p>")],
    ids=["410", "404", "no link"],
)
def test_page_that_is_gone_takes_its_message_away(sessions: sessionmaker[Session], gone: Fetched) -> None:
    web = Web()
    send(sessions)
    verify_mentions(sessions, fetch=web, now=NOW)
    web.page = gone
    send(sessions)
    (settled,) = verify_mentions(sessions, fetch=web, now=NOW)
    assert settled.state == "gone"
    assert messages(sessions) == []


def test_labelled_message_keeps_its_place_without_words(sessions: sessionmaker[Session]) -> None:
    web = Web()
    send(sessions)
    verify_mentions(sessions, fetch=web, now=NOW)
    with sessions.begin() as session:
        number = session.scalar(select(Message.id))
        assert number is not None
        set_hand_label(session, number, "kinds", ["problem"], account_id=None, now=NOW)
    web.page = html("", 410)
    send(sessions)
    verify_mentions(sessions, fetch=web, now=NOW)
    assert [message.text for message in messages(sessions)] == [""]


def test_page_without_a_link_is_refused(sessions: sessionmaker[Session]) -> None:
    send(sessions)
    (settled,) = verify_mentions(
        sessions, fetch=Web(page=html("<p>https://kitchen.example/lemon-loaf</p>")), now=NOW
    )
    assert (settled.state, settled.message_id) == ("refused", None)


def test_page_that_cannot_be_fetched_is_tried_three_times(sessions: sessionmaker[Session]) -> None:
    send(sessions)
    web = Web(page=FetchError("ada.example took too long to answer."))
    states = [verify_mentions(sessions, fetch=web, now=NOW)[0].state for _ in range(3)]
    assert states == ["waiting", "waiting", "refused"]
    assert verify_mentions(sessions, fetch=web, now=NOW) == []
    with sessions.begin() as session:
        assert session.scalar(select(func.count()).select_from(Mention)) == 1


@pytest.mark.parametrize(
    ("body", "media_type", "found"),
    [
        (f'<a href="{TARGET}">x</a>', "text/html", True),
        (f'<a href="{TARGET}#comments">x</a>', "text/html", True),
        ('<a href="/lemon-loaf">x</a>', "text/html", True),
        (f'<img src="{TARGET}">', "text/html", True),
        (f'<a href="{TARGET}-two">x</a>', "text/html", False),
        (f"<p>{TARGET}</p>", "text/html", False),
        (f"<!-- <a href='{TARGET}'>x</a> -->", "text/html", False),
        (json.dumps({"a": [{"in-reply-to": TARGET}]}), "application/json", True),
        (json.dumps({"a": TARGET + "-two"}), "application/json", False),
        ("{broken", "application/json", False),
        (f"see {TARGET} for it", "text/plain", True),
        ("see another page", "text/plain", False),
    ],
)
def test_link_is_looked_for_by_the_type_of_the_page(body: str, media_type: str, found: bool) -> None:
    # Section 3.2.2: HTML link attributes, JSON property values, plain text; exact match.
    assert links_to(body, media_type, TARGET, "https://kitchen.example/other") == found


def test_page_without_an_entry_gives_the_paragraph_with_the_link() -> None:
    page = f'<p>Before</p><p>I baked <a href="{TARGET}">this</a>, lovely.</p><p>After</p>'
    assert read_entry(page, TARGET).text == "I baked this, lovely."


def test_hostile_pages_end_somewhere() -> None:
    for page in (
        "<div class=h-entry>" * 10_000,
        "<" * 40_000,
        '<a href="' * 10_000,
        "<p class=e-content>" * 10_000,
    ):
        read_entry(page, TARGET)
        links_to(page, "text/html", TARGET, SOURCE)
