"""What strangers send, as bytes, through each real door up to the item that would be stored.

Raises only if the program has a mistake: `InputError` is a door's own sentence and fine.
"""

import os
import tempfile
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from urllib.parse import parse_qsl

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.intake.arrival import arrive
from inbox.intake.catalogue import Catalogue
from inbox.intake.fetch import Fetched
from inbox.intake.form_guard import make_stamp
from inbox.intake.forms import FORMS, receive_form
from inbox.intake.incoming import Incoming, Unusable, clean
from inbox.intake.mention import read_page, to_incoming
from inbox.intake.mime import MailOptions, read_mail
from inbox.intake.own_words import own_words
from inbox.intake.sources import ImportOptions, open_source
from inbox.ranking.changes import find_changes
from inbox.reading.findings import Told
from inbox.reading.hazards import hazard_signs
from inbox.reading.language import detect_language
from inbox.reading.text import clauses, plain_text
from inbox.records import migrate
from inbox.records.engine import open_engine
from inbox.records.tables import Message
from inbox.records.tables_out import Mention
from inbox.themes.requests import Request, asked_for
from tests.intake.test_mutations import FILES, LETTER

NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)
TARGET = "https://kitchen.example/rye"
CATALOGUE = Catalogue({"rye": 1}, {"rye loaf": 1}, {"kitchen.example/rye": 1})
Door = Callable[[bytes], None]


def check(item: Incoming | Unusable) -> None:
    """Make an item ready as `deliver` does; its words can be stored in any database."""
    if isinstance(item, Unusable):
        assert item.reason
        return
    arrival = arrive(item, CATALOGUE, NOW)
    for words in (
        arrival.text,
        arrival.key,
        arrival.person.name,
        arrival.person.email,
        arrival.person.handle,
    ):
        assert "\x00" not in (words or "")
        (words or "").encode()
    assert item.stars is None or 1 <= item.stars <= 5, item.stars


def mail(content: bytes) -> None:
    """One mail."""
    check(read_mail(content, MailOptions(NOW)))


def file(name: str, content: bytes) -> None:
    """A file that is handed in."""
    # In memory where there is such a folder: a fuzzer writes thousands a second.
    with tempfile.TemporaryDirectory(dir="/dev/shm" if os.path.isdir("/dev/shm") else None) as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        with suppress(InputError), open_source(path, ImportOptions(now=NOW)) as source:
            for piece in source.pieces:
                check(source.read(piece))


def mention(content: bytes) -> None:
    """A page that mentions a recipe; its first line is the type that its server says."""
    head, _, body = content.partition(b"\n")
    page = Fetched("https://ada.example/", 200, {"content-type": head.decode("latin-1")}, body)
    entry = read_page(page, TARGET)
    if entry is not None:
        row = Mention(source="https://ada.example/", target=TARGET, received_at=NOW)
        check(to_incoming(row, entry, page))


def words(content: bytes) -> None:
    """What is worked out of a message's words alone, whatever door it came by."""
    text = clean(content.decode("utf-8", "replace"))
    told = Told(text)
    hazard_signs().find(clauses(plain_text(told)))
    detect_language(text)
    asked_for(Request("1", text))
    find_changes(text)
    own_words(text, is_answer=True)


@cache
def _ledger() -> Session:
    engine = open_engine("sqlite://")
    migrate.upgrade(engine)
    return Session(engine)


def form(content: bytes) -> None:
    """A post of a form; the fields as browsers write them, `form` among them."""
    session = _ledger()
    fields = dict(
        parse_qsl(content.decode("latin-1"), keep_blank_values=True, max_num_fields=100, errors="replace")
    )
    name = fields.pop("form", "")
    name = name if name in FORMS else "general"
    fields["stamp"] = make_stamp(session, name, now=NOW - timedelta(minutes=1))
    slug = fields.pop("slug", None)
    try:
        result = receive_form(session, fields, form=name, recipe_slug=slug, sender="192.0.2.7", now=NOW)
        assert result.problems or session.scalar(select(Message.id).where(Message.id == result.message_id))
    finally:
        session.rollback()


DOORS: dict[str, Door] = {
    "mail": mail,
    "csv": lambda content: file("answers.csv", content),
    "jsonl": lambda content: file("messages.jsonl", content),
    "feed": lambda content: file("feed.xml", content),
    "form": form,
    "mention": mention,
    "words": words,
}
SEEDS: dict[str, list[bytes]] = {
    "mail": [
        LETTER,
        b"From: a@b.example\nSubject: Re: x\nIn-Reply-To: <a@b>\n\nOn Mon, Ada wrote:\n> x\n-- \nAda\n",
    ],
    "csv": [FILES["table.csv"], "Zeitstempel;Name;Text\n3.4.2026 10:00;Jo;süß\n".encode("cp1252")],
    "jsonl": [
        FILES["messages.jsonl"],
        b'{"text":"a","received_at":"2026-11-02","stars":"4,5","page_url":"x"}',
    ],
    "feed": [
        FILES["feed.xml"],
        b'<rss version="2.0"><channel><title>t</title><item><description>a</description>'
        b"<pubDate>Mon, 02 Nov 2026 10:00:00 GMT</pubDate></item></channel></rss>",
    ],
    "form": [
        b"form=made_it&text=It+sank&name=Ada&email=a%40b.example&stars=4&may_quote=on&changes=less+sugar",
        b"form=ask&slug=rye&text=https%3A%2F%2Fa.example&website=x&reply_wanted=on&tell_me=on",
    ],
    "mention": [
        b'text/html; charset=utf-8\n<div class="h-entry"><p class="p-name">Rye</p>'
        b'<a class="p-author h-card" href="https://ada.example">Ada</a>'
        b'<time class="dt-published" datetime="2026-11-02">x</time>'
        b'<div class="e-content">It sank <a href="https://kitchen.example/rye">rye</a></div></div>',
        b'application/json\n{"a": ["https://kitchen.example/rye#x"]}',
    ],
    "words": [
        b"Please, please could you make a dairy-free lasagne? My son is allergic to milk. Thanks x",
        b"I used 250 g of oat milk instead of 1 1/2 cups of cream - it sank, and I was ill.",
    ],
}
