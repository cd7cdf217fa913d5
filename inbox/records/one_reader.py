"""One reader: all that is held about them, and forgetting them.

Forgetting takes identity and words out of every table that can hold them, and
leaves rows that count and say nothing: a message keeps its moment, recipe and
labels. `wipe_traces` then makes the database file itself free of the words.
"""

import hashlib
import json
from collections.abc import Callable, Sequence
from datetime import datetime
from html import escape
from typing import Any

from sqlalchemy import Engine, delete, func, inspect, or_, select, update
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.records.base import Row
from inbox.records.tables import Message, MessageReading, Photo, RawItem, Reader, SetAside
from inbox.records.tables_out import (
    Alert,
    DigestRow,
    Mention,
    RecipeStanding,
    Reply,
    RequestSketch,
    Theme,
    ThemeMember,
    ThemeRank,
)

GONE = "(words of a reader who asked to be forgotten)"
_SHORTEST_TRACE = 8
"""Shorter strings, such as a year or a fault, are not somebody's words."""


def find_reader(session: Session, who: str) -> Reader:
    """The reader with this address, "channel:handle", or number.

    Raises
    ------
    NotFoundError
        If there is none.
    """
    channel, _, handle = who.partition(":")
    by = [
        func.lower(Reader.email) == who.strip().lower(),
        (Reader.channel == channel) & (Reader.handle == handle),
    ]
    if who.isdecimal():
        by.append(Reader.id == int(who))
    reader = session.scalar(select(Reader).where(or_(*by)).limit(1))
    if reader is None:
        raise NotFoundError(
            f"There is no reader {who!r}; give an address, channel:handle such as social:ada, or a number."
        )
    return reader


def all_about(session: Session, reader_id: int) -> dict[str, Any]:
    """Everything held about one reader, as plain values that JSON can hold."""
    reader = session.get_one(Reader, reader_id)
    messages = session.scalars(
        select(Message).where(Message.reader_id == reader_id).order_by(Message.id)
    ).all()
    ids = [message.id for message in messages]
    replies = session.scalars(
        select(Reply).where(or_(Reply.reader_id == reader_id, Reply.message_id.in_(ids))).order_by(Reply.id)
    ).all()
    return {
        "reader": _columns(reader),
        "messages": [
            {
                **_columns(message),
                "read_as": _columns(message.reading) if message.reading else None,
                "counts_as": _columns(message.labels) if message.labels else None,
                "photos": session.scalar(select(func.count()).where(Photo.message_id == message.id)),
                "original_kept": session.get(RawItem, message.id) is not None,
            }
            for message in messages
        ],
        "replies": [_columns(reply) for reply in replies],
    }


def _columns(row: Row) -> dict[str, Any]:
    values = {item.key: getattr(row, item.key) for item in inspect(type(row)).column_attrs}
    return {
        name: value.isoformat() if hasattr(value, "isoformat") else value
        for name, value in values.items()
        if value not in (None, [], "")
    }


def as_page(about: dict[str, Any]) -> str:
    """`all_about` as one readable HTML page without styles or scripts."""
    parts = ["<!doctype html><html lang=en><meta charset=utf-8><title>What is held about you</title>"]
    parts += ["<h1>What is held about you</h1>", _table(about["reader"])]
    for heading in ("messages", "replies"):
        parts.append(f"<h2>{heading.capitalize()} ({len(about[heading])})</h2>")
        parts += [_table(row) for row in about[heading]]
    return "\n".join(parts)


def _table(row: dict[str, Any]) -> str:
    cells = (
        f"<tr><th scope=row>{escape(name.replace('_', ' '))}</th><td>{escape(_cell(value))}</td></tr>"
        for name, value in row.items()
    )
    return f"<table>{''.join(cells)}</table>"


def _cell(value: Any) -> str:
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def forgotten_key(key: str) -> str:
    """Key of a forgotten message: says nothing, and keeps an old export from bringing its words back."""
    return f"forgotten:{hashlib.sha256(key.encode()).hexdigest()[:32]}"


def forget(session: Session, reader_id: int, *, now: datetime) -> int:
    """Take a reader's identity and words out of every table; returns how many messages lost theirs.

    Raises
    ------
    NotFoundError
        If there is no such reader.
    """
    reader = session.get(Reader, reader_id)
    if reader is None:
        raise NotFoundError(f"There is no reader {reader_id}.")
    messages = session.scalars(select(Message).where(Message.reader_id == reader_id)).all()
    replies = session.scalars(
        select(Reply).where(
            or_(Reply.reader_id == reader_id, Reply.message_id.in_([message.id for message in messages]))
        )
    ).all()
    words = [*(message.text for message in messages), *(message.subject or "" for message in messages)]
    names = [name for name in (reader.email, reader.handle, reader.name) if name]
    _scrub_theme_names(session, words, names)
    _scrub_documents(session, _scrubber([*words, *(reply.body for reply in replies)], names))
    _forget_messages(session, [message.id for message in messages])
    for reply in replies:
        reply.to_address, reply.subject, reply.body = None, "", ""
        if reply.state in ("draft", "waiting"):
            session.delete(reply)
    _forget_set_aside(session, [name for name in (reader.email, reader.handle) if name], now)
    reader.email = reader.handle = reader.channel = reader.name = reader.unsubscribe_token = None
    reader.forgotten_at = now
    session.flush()
    return len(messages)


def _forget_set_aside(session: Session, names: Sequence[str], now: datetime) -> None:
    """Empty the set-aside items that name the reader, those that were decided on among them."""
    marks = [name.lower().encode(code) for name in names for code in ("utf-8", "utf-16-le")]
    for item_id in session.scalars(select(SetAside.id).where(SetAside.raw != b"")).all():
        item = session.get_one(SetAside, item_id)
        raw = item.raw.lower()
        if any(mark in raw for mark in marks):
            item.raw, item.place, item.details = b"", GONE, None
            item.left_out_at = item.left_out_at or now
        session.flush()
        session.expunge(item)


def _forget_messages(session: Session, ids: Sequence[int]) -> None:
    session.execute(delete(RawItem).where(RawItem.message_id.in_(ids)))
    session.execute(delete(Photo).where(Photo.message_id.in_(ids)))
    session.execute(delete(Mention).where(Mention.message_id.in_(ids)))
    session.execute(delete(RequestSketch).where(RequestSketch.message_id.in_(ids)))
    # An alert quotes only a long message's beginning, by which `_scrubber` cannot know it.
    session.execute(update(Alert).where(Alert.message_id.in_(ids)).values(words=GONE))
    session.execute(
        update(MessageReading)
        .where(MessageReading.message_id.in_(ids))
        .values(wants=None, hazard_words=[], recipe_why="")
    )
    for message in session.scalars(select(Message).where(Message.id.in_(ids))):
        message.text, message.subject = "", None
        message.links, message.attachments, message.references = [], [], []
        message.page_url = message.in_reply_to = message.rfc_message_id = message.consent = None
        message.key, message.fingerprint = forgotten_key(message.key), f"forgotten:{message.id}"
        message.may_quote = message.tell_me = message.reply_wanted = False


def _scrubber(words: Sequence[str], names: Sequence[str]) -> Callable[[Any], Any]:
    """A function that takes these words and names out of a JSON value, however deep."""
    plain = [" ".join(text.split()) for text in words if text.strip()]
    marks = [name for name in names if len(name) >= 3]

    def is_theirs(text: str) -> bool:
        bare = " ".join(text.strip(" …\"“”'‘’.").split())
        quoted = len(bare) >= _SHORTEST_TRACE and any(bare in source for source in plain)
        holds = any(len(source) >= _SHORTEST_TRACE and source in " ".join(text.split()) for source in plain)
        return quoted or holds or any(mark in text for mark in marks)

    def scrub(value: Any) -> Any:
        if isinstance(value, str):
            return GONE if is_theirs(value) else value
        if isinstance(value, dict):
            return {key: scrub(inner) for key, inner in value.items()}
        return [scrub(inner) for inner in value] if isinstance(value, list) else value

    return scrub


def _scrub_theme_names(session: Session, words: Sequence[str], names: Sequence[str]) -> None:
    """Take the reader's name, and phrases that nobody else wrote, out of names that the program gave.

    The next grouping may name such a theme anew; what a person named stays, unless the reader is named in it.
    """
    sources = [" ".join(text.split()).casefold() for text in words]
    marks = [name.casefold() for name in names if len(name) >= 3]
    for theme in session.scalars(select(Theme)):
        plain = " ".join(theme.name.split()).casefold()
        named = any(mark in plain for mark in marks)
        quoted = not theme.named_by_hand and any(plain in source for source in sources)
        if named or (quoted and not _is_also_written_by_others(session, theme)):
            theme.name = f"theme {theme.id}"


def _is_also_written_by_others(session: Session, theme: Theme) -> bool:
    """Whether a message of somebody else in the theme holds its name (asked before words are taken out)."""
    texts = session.scalars(
        select(Message.text)
        .join(ThemeMember, ThemeMember.message_id == Message.id)
        .where(ThemeMember.theme_id == theme.id)
    )
    plain = " ".join(theme.name.split()).casefold()
    return sum(plain in " ".join(text.split()).casefold() for text in texts) > 1


def _scrub_documents(session: Session, scrub: Callable[[Any], Any]) -> None:
    """Take the words out of what was computed from them or frozen with them."""
    for digest in session.scalars(select(DigestRow)):
        digest.document = scrub(digest.document)
    for row in (*session.scalars(select(ThemeRank)), *session.scalars(select(RecipeStanding))):
        row.details, row.in_words = scrub(row.details), scrub(row.in_words)
    for alert in session.scalars(select(Alert)):
        alert.words = scrub(alert.words)


def wipe_traces(engine: Engine) -> None:
    """Rewrite the database file, so that deleted words are not left in it or in its log.

    On PostgreSQL the tables that held words are rewritten; its log is its administrator's.
    """
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        if engine.dialect.name == "postgresql":
            for table in ("messages", "raw_items", "photos", "replies", "digests", "readings", "set_aside"):
                connection.exec_driver_sql(f"VACUUM FULL {table}")
            return
        raw = connection.connection.driver_connection
        if raw is None:
            raise RuntimeError("the pool gave no connection")
        raw.commit()
        # Deleted words stay in the index's older segments until these are merged.
        raw.execute("INSERT INTO message_words(message_words) VALUES ('optimize')")
        raw.execute("VACUUM")
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
