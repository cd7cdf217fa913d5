"""Comment feeds after RFC 4287, section 1.1, and RFC 4685, section 3; RSS as programs write it."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.intake.deliver import deliver_all
from inbox.intake.feed import poll_feed, read_entry, read_feed
from inbox.intake.fetch import Fetched
from inbox.intake.incoming import Incoming, Unusable
from inbox.intake.run import import_path
from inbox.intake.sources import ImportOptions
from inbox.records.engine import make_sessions
from inbox.records.tables import IntakeRun, Message
from tests.makers import make_recipe

NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)
MINIMAL = b"""<?xml version="1.0" encoding="utf-8"?>
<feed xmlns="http://www.w3.org/2005/Atom">
  <title>Example Feed</title>
  <link href="http://example.org/"/>
  <updated>2003-12-13T18:30:02Z</updated>
  <author><name>Ada Bell</name></author>
  <id>urn:uuid:60a76c80-d399-11d9-b93C-0003939e0af6</id>
  <entry>
    <title>Robots</title>
    <link href="http://example.org/2003/12/13/atom03"/>
    <id>urn:uuid:1225c695-cfb8-4ebb-aaaa-80da344efa6a</id>
    <updated>2003-12-13T18:30:02Z</updated>
    <summary>Some text.</summary>
  </entry>
</feed>
"""
EXTENSIVE = b"""<?xml version="1.0" encoding="utf-8"?>
<feed xmlns="http://www.w3.org/2005/Atom">
  <title type="text">dive</title>
  <updated>2005-07-31T12:29:29Z</updated>
  <id>tag:example.org,2003:3</id>
  <entry>
    <title>Atom draft-07 snapshot</title>
    <link rel="alternate" type="text/html" href="http://example.org/2005/04/02/atom"/>
    <link rel="enclosure" type="audio/mpeg" length="1337" href="http://example.org/audio/ph34r.mp3"/>
    <id>tag:example.org,2003:3.2397</id>
    <updated>2005-07-31T12:29:29Z</updated>
    <published>2003-12-13T08:29:29-04:00</published>
    <author><name>Ada Bell</name><uri>http://example.org/</uri><email>ada@example.com</email></author>
    <content type="xhtml" xml:lang="en" xml:base="http://example.org/">
      <div xmlns="http://www.w3.org/1999/xhtml"><p><i>[Update: The loaf sank.]</i></p></div>
    </content>
  </entry>
</feed>
"""
THREAD = b"""<?xml version="1.0" encoding="utf-8"?>
<feed xmlns="http://www.w3.org/2005/Atom" xmlns:thr="http://purl.org/syndication/thread/1.0">
  <id>http://www.example.org/myfeed</id><title>My Example Feed</title>
  <updated>2005-07-28T12:00:00Z</updated>
  <entry>
    <id>tag:example.org,2005:1</id><title>My original entry</title>
    <updated>2006-03-01T12:12:12Z</updated>
    <link type="application/xhtml+xml" href="http://www.example.org/entries/1"/>
    <link rel="replies" type="application/atom+xml" href="http://www.example.org/comments.xml"
      thr:count="10"/>
    <summary>This is my original entry</summary>
  </entry>
  <entry>
    <id>tag:example.org,2005:1,1</id><title>A response to the original</title>
    <updated>2006-03-01T12:12:13Z</updated>
    <link href="http://www.example.org/entries/1/1"/>
    <thr:in-reply-to ref="tag:example.org,2005:1" type="application/xhtml+xml"
      href="http://www.example.org/entries/1"/>
    <summary>This is a response to the original entry</summary>
  </entry>
</feed>
"""
RSS = b"""<?xml version="1.0" encoding="UTF-8"?>
<rss version="2.0" xmlns:content="http://purl.org/rss/1.0/modules/content/"
 xmlns:dc="http://purl.org/dc/elements/1.1/"><channel><title>Comments</title>
<item><title>By: Ada</title><link>https://kitchen.example/lemon-loaf/#comment-31</link>
<dc:creator><![CDATA[Ada]]></dc:creator><pubDate>Mon, 02 Nov 2026 10:00:00 +0100</pubDate>
<guid isPermaLink="false">https://kitchen.example/?p=9#comment-31</guid>
<description><![CDATA[It sank&#8230;]]></description>
<content:encoded><![CDATA[<p>It sank &#8211; twice.</p><p>Why?</p>]]></content:encoded></item>
<item><title>By: Bo</title><guid>https://kitchen.example/?p=9#comment-32</guid></item>
</channel></rss>
"""


def items(content: bytes) -> list[Incoming | Unusable]:
    return [read_entry(entry) for entry in read_feed(content, name="feed.xml")]


def item(content: bytes) -> Incoming:
    found = items(content)[0]
    assert isinstance(found, Incoming)
    return found


def test_minimal_feed_of_rfc_4287() -> None:
    found = item(MINIMAL)
    assert found.key == "feed:urn:uuid:1225c695-cfb8-4ebb-aaaa-80da344efa6a"
    assert (found.text, found.subject) == ("Some text.", "Robots")
    assert found.received_at == datetime(2003, 12, 13, 18, 30, 2, tzinfo=UTC)


def test_extensive_feed_of_rfc_4287() -> None:
    found = item(EXTENSIVE)
    assert found.key == "feed:tag:example.org,2003:3.2397"
    assert found.received_at == datetime(2003, 12, 13, 12, 29, 29, tzinfo=UTC)
    assert (found.name, found.email) == ("Ada Bell", "ada@example.com")
    assert found.text == "[Update: The loaf sank.]"
    assert found.page_url == "http://example.org/2005/04/02/atom"


def test_thread_of_rfc_4685(session: Session) -> None:
    ends = deliver_all(session, items(THREAD), run_id=None, now=NOW)
    answer = session.get_one(Message, ends[1].message_id)
    assert answer.answers_message_id == ends[0].message_id


def test_rss_comments_stand_on_their_page(session: Session) -> None:
    recipe = make_recipe(session, slug="lemon-loaf", url="https://kitchen.example/lemon-loaf/")
    found = items(RSS)
    ends = deliver_all(session, found, run_id=None, now=NOW)
    assert [end.state for end in ends] == ["stored", "set_aside"]
    message = session.get_one(Message, ends[0].message_id)
    assert message.text == "It sank \u2013 twice.\n\nWhy?"
    assert message.page_recipe_id == recipe.id
    assert message.received_at == datetime(2026, 11, 2, 9, tzinfo=UTC)


def test_ids_are_compared_to_the_letter(session: Session) -> None:
    # RFC 4287, section 4.2.6.1: ids that differ in case are different.
    other = MINIMAL.replace(b"urn:uuid:1225", b"URN:uuid:1225").replace(b"Some text.", b"Other words.")
    ends = deliver_all(session, [*items(MINIMAL), *items(other), *items(MINIMAL)], run_id=None, now=NOW)
    assert [end.state for end in ends] == ["stored", "stored", "already_here"]


@pytest.mark.parametrize("content", [THREAD[:700], b"<feed><entry>", b"<?xml version='1.0'?><cake/>"])
def test_feed_that_is_cut_or_none_is_refused(content: bytes) -> None:
    with pytest.raises(InputError, match=r"cut off|no Atom or RSS"):
        items(content)


def test_entities_are_not_fetched_and_do_not_blow_up() -> None:
    bomb = b"""<?xml version="1.0"?><!DOCTYPE feed [<!ENTITY a "aaaaaaaaaa">
<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">
<!ENTITY c SYSTEM "file:///etc/passwd">]><feed xmlns="http://www.w3.org/2005/Atom"><id>x</id><title>t</title>
<entry><id>1</id><title>&c;</title><summary>&b; safe</summary></entry></feed>"""
    texts = [json.dumps([one.text, one.subject]) for one in items(bomb) if isinstance(one, Incoming)]
    assert not any("root:" in text for text in texts)


def test_file_of_a_feed(fresh_engine: Engine, tmp_path: Path) -> None:
    path = tmp_path / "comments.xml"
    path.write_bytes(RSS)
    result = import_path(make_sessions(fresh_engine), path, options=ImportOptions(now=NOW))
    assert (result.stored, result.set_aside, result.total) == (1, 1, 2)


class Server:
    """A feed at an address, which answers conditional requests."""

    def __init__(self, body: bytes) -> None:
        self.body, self.etag = body, '"1"'
        self.asked: list[Mapping[str, str]] = []

    def __call__(self, url: str, headers: Mapping[str, str]) -> Fetched:
        self.asked.append(headers)
        if headers.get("If-None-Match") == self.etag:
            return Fetched(url, 304)
        return Fetched(url, 200, {"etag": self.etag, "last-modified": "then"}, self.body)


def test_poll_asks_only_for_what_is_new(fresh_engine: Engine) -> None:
    sessions, server = make_sessions(fresh_engine), Server(MINIMAL)
    assert poll_feed(sessions, "https://kitchen.example/feed", fetch=server, now=NOW) is not None
    assert poll_feed(sessions, "https://kitchen.example/feed", fetch=server, now=NOW) is None
    assert server.asked[1] == {"If-None-Match": '"1"', "If-Modified-Since": "then"}
    # The feed has changed, its entries have not: no run is noted.
    server.etag = '"2"'
    assert poll_feed(sessions, "https://kitchen.example/feed", fetch=server, now=NOW) is None
    server.body, server.etag = THREAD, '"3"'
    assert poll_feed(sessions, "https://kitchen.example/feed", fetch=server, now=NOW) is not None
    with sessions.begin() as session:
        assert [run.stored_count for run in session.scalars(select(IntakeRun).order_by(IntakeRun.id))] == [
            1,
            2,
        ]
