"""Comments in a feed, Atom (RFC 4287) or RSS, from a file or polled at an address; threads by RFC 4685.

An entry is known by its id, compared character by character (RFC 4287, section 4.2.6.1). Start with
`read_feed`; `poll_feed` looks at an address and asks only for what is new.
"""

import calendar
import io
import json
import xml.sax
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import feedparser
from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InputError
from inbox.intake.deliver import deliver_all
from inbox.intake.fetch import Fetched
from inbox.intake.html_text import text_of
from inbox.intake.incoming import Incoming, Unusable, clean, clean_address, fit_key, short_hash
from inbox.records.tables import IntakeRun, Message, SetAside
from inbox.records.tables_out import SavedSetting

FEED_LIMIT_BYTES = 64 * 1024 * 1024
POLL_LIMIT_BYTES = 8 * 1024 * 1024
_STATE = "feed.state:"
_ENDS = (b"</feed>", b"</rss>", b"</rdf:rdf>")


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a feed, as the parser gives it, and its place."""

    number: int
    values: Mapping[str, Any]


def read_feed(content: bytes, *, name: str) -> list[Entry]:
    """Entries of a feed.

    Raises
    ------
    InputError
        If it is no feed, or is cut off before its end.
    """
    try:
        found = feedparser.parse(io.BytesIO(content), sanitize_html=False, resolve_relative_uris=True)
    except ValueError as error:  # the parser's own, on a declaration of an encoding that is none
        raise InputError(f"{name} cannot be read as a feed. Export or download it once more.") from error
    trouble = found.get("bozo_exception")
    if isinstance(trouble, xml.sax.SAXException) and not content.rstrip()[-20:].lower().endswith(_ENDS):
        raise InputError(f"{name} is cut off or no XML: {trouble}. Export or download it once more.")
    if not found.entries and not found.version:
        raise InputError(f"{name} is no Atom or RSS feed.")
    return [Entry(number, values) for number, values in enumerate(found.entries, start=1)]


def read_entry(entry: Entry, *, own_addresses: Collection[str] = ()) -> Incoming | Unusable:
    """One entry as an item; its link, or the page it answers, gives the page that it stands on."""
    values = entry.values
    place = f"entry {entry.number}"
    text, written = _text(values)
    original = json.dumps(
        {key: value for key, value in values.items() if not key.endswith("_parsed")},
        ensure_ascii=False,
        default=str,
    )
    raw = clean(original).encode()
    if not text:
        reason = f"Entry {entry.number} of the feed has no text."
        details = {"written": written.isoformat() if written else None}
        return Unusable(door="feed", place=place, reason=reason, raw=raw, details=details)
    author = values.get("author_detail") or {}
    answered = values.get("thr_in-reply-to") or {}
    identity = str(values.get("id") or values.get("link") or "")
    address = clean_address(author.get("email"))
    return Incoming(
        door="feed",
        channel="comment",
        text=text,
        key=f"feed:{identity}" if identity else f"feed:sha256:{short_hash(raw)}",
        received_at=written,
        name=author.get("name") or values.get("author"),
        email=address,
        page_url=values.get("link") or answered.get("href"),
        subject=values.get("title"),
        raw=raw,
        raw_type="application/json",
        answers_key=f"feed:{answered['ref']}" if answered.get("ref") else None,
        kept_apart="own_mail" if address and address in own_addresses else None,
        place=place,
    )


def read_kept(
    raw: bytes, details: Mapping[str, Any], *, number: int, own_addresses: Collection[str] = ()
) -> Incoming | Unusable:
    """An entry that was set aside, read once more from what was kept of it."""
    try:
        values = json.loads(raw)
    except ValueError:
        reason = f"What is kept of entry {number} is no entry; bring its feed in once more."
        return Unusable(door="feed", place=f"entry {number}", reason=reason, raw=raw, details=details)
    item = read_entry(Entry(number, values), own_addresses=own_addresses)
    written = details.get("written")
    if isinstance(item, Incoming) and written:
        return replace(item, received_at=datetime.fromisoformat(written))
    return item


def _text(values: Mapping[str, Any]) -> tuple[str, datetime | None]:
    """Text of an entry, from its content or summary, and when it was written."""
    pieces = [*(values.get("content") or []), values.get("summary_detail") or {}]
    text = ""
    for piece in pieces:
        value = str(piece.get("value") or "")
        text = value if piece.get("type") == "text/plain" and "<" not in value else text_of(value)
        if text.strip():
            break
    written = values.get("published_parsed") or values.get("updated_parsed")
    try:
        moment = datetime.fromtimestamp(calendar.timegm(written), UTC) if written else None
    except (ValueError, TypeError, OverflowError):
        moment = None
    return text.strip(), moment


def poll_feed(
    sessions: sessionmaker[Session],
    url: str,
    *,
    fetch: Callable[[str, Mapping[str, str]], Fetched],
    now: datetime,
    own_addresses: Collection[str] = (),
) -> int | None:
    """Look at a feed, take in what is new, and commit.

    Asks conditionally (RFC 9110, section 13): a feed that did not change is not sent again.

    Parameters
    ----------
    fetch : callable
        Takes the address and request header fields.

    Returns
    -------
    int or None
        Number of the run; None if nothing was new.

    Raises
    ------
    InputError
        If the address cannot be fetched or is no feed.
    """
    name = _STATE + short_hash(url)
    with sessions.begin() as session:
        kept = session.scalar(select(SavedSetting.value).where(SavedSetting.name == name))
    known = json.loads(kept) if kept else {}
    asked = {
        field: known[key]
        for field, key in (("If-None-Match", "etag"), ("If-Modified-Since", "last-modified"))
        if known.get(key)
    }
    # The answer is waited for outside a transaction, so that no other writer waits too.
    answer = fetch(url, asked)
    if answer.status == 304:
        return None
    if answer.status != 200:
        raise InputError(f"The feed {url} answered with status {answer.status}.")
    if answer.is_cut:
        raise InputError(f"The feed {url} has more than {len(answer.body):,} bytes.")
    items = [read_entry(entry, own_addresses=own_addresses) for entry in read_feed(answer.body, name=url)]
    state = {key: answer.headers[key] for key in ("etag", "last-modified") if key in answer.headers}
    with sessions.begin() as session:
        run_id = _take_new(session, url, items, now)
        session.merge(SavedSetting(name=name, value=json.dumps(state), changed_at=now))
    return run_id


def _take_new(session: Session, url: str, items: list[Incoming | Unusable], now: datetime) -> int | None:
    """Take in the entries that are not here yet; a look that finds none makes no run."""
    marks = [_mark(item) for item in items]
    here = set(session.scalars(select(Message.key).where(Message.key.in_(marks))))
    here |= set(session.scalars(select(SetAside.fingerprint).where(SetAside.fingerprint.in_(marks))))
    new = [item for item, mark in zip(items, marks, strict=True) if mark not in here]
    if not new:
        return None
    run = IntakeRun(door="feed", source=url, started_at=now, finished_at=now)
    session.add(run)
    session.flush()
    for end in deliver_all(session, new, run_id=run.id, now=now):
        run.position += 1
        run.stored_count += end.state == "stored"
        run.already_here_count += end.state == "already_here"
        run.set_aside_count += end.state == "set_aside"
        run.kept_apart_count += end.kept_apart is not None
    session.flush()
    return run.id


def _mark(item: Incoming | Unusable) -> str:
    """By what an entry is known when it comes again: its key, or its bytes if it was set aside."""
    return item.fingerprint if isinstance(item, Unusable) else fit_key(str(item.key))
