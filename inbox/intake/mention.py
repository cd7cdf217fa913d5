"""Mentions on readers' own sites: a Webmention receiver (W3C Recommendation of 12 January 2017).

`receive_mention` checks what can be checked at once and lets the mention wait; `verify_mentions` fetches the
pages, takes new ones in, brings changed ones up to date, and takes away those whose page is gone.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urldefrag, urlsplit

from sqlalchemy import delete, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InputError, NotFoundError
from inbox.intake.catalogue import address_key, load_catalogue
from inbox.intake.charset import decode
from inbox.intake.deliver import deliver
from inbox.intake.fetch import Fetched, FetchError, check_url
from inbox.intake.incoming import Incoming, clean, short_hash
from inbox.intake.microformats import MentionEntry, links_to, read_entry
from inbox.intake.take_back import remove_messages
from inbox.records.tables import HandLabel, Message, MessageReading, RawItem
from inbox.records.tables_out import Mention, Reply, RequestSketch

URL_LIMIT = 2000
TRIES = 3


@dataclass(frozen=True, slots=True)
class Verified:
    """How one mention was settled."""

    mention_id: int
    state: str
    message_id: int | None
    reason: str | None


def receive_mention(
    session: Session, source: str, target: str, *, site_urls: Collection[str], now: datetime
) -> int:
    """Let a mention wait for its verification; the answer to the sender is 202.

    Parameters
    ----------
    source, target : str
        As the sender gave them.
    site_urls : collection of str
        Addresses of the owner's site; the target lies on one of them or is a known recipe.

    Returns
    -------
    int
        Number of the mention; the same pair again gives the same number and is verified anew.

    Raises
    ------
    InputError
        If an address cannot be used, both are the same, or the target is not the owner's; answered with 400.
    """
    for name, url in (("source", source), ("target", target)):
        if not url or len(url) > URL_LIMIT:
            raise InputError(f"The {name} of the mention is missing or longer than {URL_LIMIT} characters.")
        check_url(url)
    if urldefrag(source)[0] == urldefrag(target)[0]:
        raise InputError("Source and target of the mention are the same page.")
    if not _is_ours(session, target, site_urls):
        raise InputError(f"{target[:200]} is no page of this site.")
    row = session.scalar(select(Mention).where(Mention.source == source, Mention.target == target))
    if row is None:
        row = Mention(source=source, target=target, received_at=now)
        session.add(row)
    row.state, row.received_at, row.tried_count = "waiting", now, 0
    session.flush()
    return row.id


def _is_ours(session: Session, target: str, site_urls: Collection[str]) -> bool:
    if address_key(target) in load_catalogue(session).by_address:
        return True
    hosts = {urlsplit(url).netloc.casefold().removeprefix("www.") for url in site_urls if url}
    return urlsplit(target).netloc.casefold().removeprefix("www.") in hosts


def refused_mentions(session: Session, *, limit: int = 50) -> Sequence[Mention]:
    """Mentions that were not taken in, the newest first."""
    return session.scalars(
        select(Mention).where(Mention.state == "refused").order_by(Mention.received_at.desc()).limit(limit)
    ).all()


def try_mention_again(session: Session, mention_id: int, *, now: datetime) -> None:
    """Let a mention that was refused wait for its verification once more.

    Raises
    ------
    NotFoundError
        If there is no such mention.
    InputError
        If it was not refused.
    """
    row = session.get(Mention, mention_id)
    if row is None:
        raise NotFoundError(f"There is no mention {mention_id}.")
    if row.state != "refused":
        raise InputError(f"Mention {mention_id} was not refused; there is nothing to try again.")
    row.state, row.received_at, row.tried_count, row.reason = "waiting", now, 0, None
    session.flush()


def verify_mentions(
    sessions: sessionmaker[Session], *, fetch: Callable[[str], Fetched], now: datetime, limit: int = 20
) -> list[Verified]:
    """Fetch the pages of waiting mentions and settle them, each in a transaction of its own.

    Parameters
    ----------
    fetch : callable
        Gives a page, or raises FetchError; see `inbox.intake.fetch`.
    """
    with sessions.begin() as session:
        waiting = session.scalars(
            select(Mention).where(Mention.state == "waiting").order_by(Mention.received_at).limit(limit)
        ).all()
        pairs = [(row.id, row.source) for row in waiting]
    settled = []
    for mention_id, source in pairs:
        page: Fetched | None = None
        trouble: str | None = None
        try:
            page = fetch(source)
        except FetchError as error:
            trouble = str(error)
        with sessions.begin() as session:
            settled.append(_settle(session, mention_id, page, trouble, now))
    return settled


def _settle(
    session: Session, mention_id: int, page: Fetched | None, trouble: str | None, now: datetime
) -> Verified:
    """Decide about one mention by its page."""
    row = session.get_one(Mention, mention_id)
    row.checked_at = now
    row.tried_count += 1
    if page is None or page.status >= 500:
        row.reason = trouble or f"The page answered with status {page.status if page else 0}."
        if row.tried_count >= TRIES:
            row.state = "refused"
    elif page.status in (404, 410):
        _take_away(session, row, f"The page answered with status {page.status}.")
    elif page.status != 200:
        row.state, row.reason = "refused", f"The page answered with status {page.status}."
    else:
        _compare_page(session, row, page, now)
    session.flush()
    return Verified(row.id, row.state, row.message_id, row.reason)


def _compare_page(session: Session, row: Mention, page: Fetched, now: datetime) -> None:
    entry = read_page(page, row.target)
    if entry is None:
        _take_away(session, row, "The page does not link to the target.")
        return
    row.state, row.reason = "verified", None
    known = session.get(Message, row.message_id) if row.message_id else None
    if known is not None:
        _bring_up_to_date(session, known, entry)
        return
    end = deliver(session, to_incoming(row, entry, page), run_id=None, now=now)
    row.message_id = end.message_id


def read_page(page: Fetched, target: str) -> MentionEntry | None:
    """What a page says of `target`; None where it does not link there."""
    charset = page.headers.get("content-type", "").partition("charset=")[2].strip("\"' ;")
    body = clean(decode(page.body, charset or "utf-8"))
    if not links_to(body, page.media_type, target, page.url):
        return None
    if "html" in page.media_type or not page.media_type:
        return read_entry(body, target)
    return MentionEntry(text=body[:600].strip())


def to_incoming(row: Mention, entry: MentionEntry, page: Fetched) -> Incoming:
    """A verified mention as an item."""
    return Incoming(
        door="mention",
        channel="social",
        text=entry.text,
        key=f"mention:{short_hash(row.source, row.target)}",
        received_at=entry.published_at or row.received_at,
        name=entry.author,
        handle=entry.author_url or urlsplit(row.source).hostname,
        page_url=row.target,
        subject=entry.title,
        raw=page.body,
        raw_type=page.media_type or "text/html",
        links=(row.source,),
    )


def _bring_up_to_date(session: Session, message: Message, entry: MentionEntry) -> None:
    """Give a message the words that its page has now, and let it be read again."""
    if message.text == entry.text:
        return
    message.text, message.subject = entry.text, entry.title
    for table in (MessageReading, RequestSketch):
        session.execute(delete(table).where(table.message_id == message.id))


def _take_away(session: Session, row: Mention, reason: str) -> None:
    """Settle a mention whose page is gone or links no more; its message goes, or stays without its words.

    A message that was answered or labelled by hand keeps its place, as with an import that is taken back.
    """
    message_id = row.message_id
    row.state = "gone" if message_id else "refused"
    row.reason = reason
    if message_id is None:
        return
    row.message_id = None
    session.flush()
    answered = session.scalar(
        select(Reply.id).where(Reply.message_id == message_id, Reply.state != "draft").limit(1)
    )
    labelled = session.scalar(select(HandLabel.id).where(HandLabel.message_id == message_id).limit(1))
    if answered or labelled:
        message = session.get_one(Message, message_id)
        message.text, message.subject, message.links = "", None, []
        session.execute(delete(RawItem).where(RawItem.message_id == message_id))
    else:
        remove_messages(session, [message_id])
