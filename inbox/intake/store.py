"""Writing the rows of new messages; only `deliver` calls this."""

import zlib
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select, update
from sqlalchemy.dialects.postgresql import insert as postgresql_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert
from sqlalchemy.orm import Session

from inbox.intake.arrival import Arrival
from inbox.intake.compare import stored_by_key
from inbox.intake.incoming import (
    SET_ASIDE_LIMIT_BYTES,
    Delivered,
    Unusable,
    clean,
    clean_line,
    fit_key,
)
from inbox.intake.readers import add_readers
from inbox.intake.threads import link_answers, record_returns
from inbox.records.engine import is_postgresql
from inbox.records.settle import check_label, settle
from inbox.records.tables import HandLabel, Message, Photo, RawItem, SetAside


def store(session: Session, arrivals: Sequence[Arrival], run_id: int | None, now: datetime) -> None:
    """Write the rows of new messages."""
    if not arrivals:
        return
    readers = add_readers(session, [(arrival.person, arrival.sighting.received_at) for arrival in arrivals])
    rows = [
        _row(arrival, reader_id, run_id, now) for arrival, reader_id in zip(arrivals, readers, strict=True)
    ]
    numbers = _insert_messages(session, rows)
    for arrival in arrivals:
        arrival.message_id, arrival.is_new = numbers[arrival.key]
    arrivals = [arrival for arrival in arrivals if arrival.is_new]
    _store_originals(session, arrivals)
    _mark_twins(session, arrivals)
    _store_labels(session, arrivals, now)
    link_answers(
        session,
        [
            (_number(a), a.incoming.in_reply_to, a.incoming.references, a.incoming.answers_key)
            for a in arrivals
        ],
    )
    record_returns(session, [report for a in arrivals for report in a.incoming.came_back], now=now)


def put_aside(session: Session, item: Unusable, *, run_id: int | None, now: datetime) -> Delivered:
    """Keep an item that cannot be taken in; the same bytes again are already here."""
    kept = item.raw[:SET_ASIDE_LIMIT_BYTES]
    before = session.scalar(select(SetAside).where(SetAside.fingerprint == item.fingerprint))
    if before is not None:
        return Delivered("already_here", set_aside_id=before.id)
    row = SetAside(
        run_id=run_id,
        door=item.door,
        place=clean_line(item.place) or "",
        reason=clean(item.reason)[:1000],
        fingerprint=item.fingerprint,
        raw=kept,
        details=dict(item.details) if item.details else None,
        set_aside_at=now,
    )
    session.add(row)
    session.flush()
    return Delivered("set_aside", set_aside_id=row.id)


def _insert_messages(session: Session, rows: list[dict[str, Any]]) -> dict[str, tuple[int, bool]]:
    """Number of each row by its key, and whether it is new: another worker may have been faster."""
    make = postgresql_insert if is_postgresql(session) else sqlite_insert
    table = Message.__table__
    statement = make(table).on_conflict_do_nothing().returning(table.c.key, table.c.id)  # type: ignore[arg-type]
    numbers = {key: (number, True) for key, number in session.execute(statement, rows)}
    missing = [row["key"] for row in rows if row["key"] not in numbers]
    if missing:
        numbers |= {key: (number, False) for key, (number, _) in stored_by_key(session, missing).items()}
    return numbers


def _number(arrival: Arrival) -> int:
    assert arrival.message_id is not None  # noqa: S101  (set by _store)
    return arrival.message_id


def _row(arrival: Arrival, reader_id: int | None, run_id: int | None, now: datetime) -> dict[str, Any]:
    """Columns of one message."""
    item = arrival.incoming
    return {
        "key": arrival.key,
        "fingerprint": arrival.fingerprint,
        "door": item.door,
        "channel": item.channel,
        "run_id": run_id,
        "reader_id": reader_id,
        "received_at": arrival.sighting.received_at,
        "stored_at": now,
        "subject": clean_line(item.subject),
        "text": arrival.text,
        "page_recipe_id": arrival.sighting.page_id,
        "page_url": clean_line(item.page_url or item.page_slug, 2000),
        "links": [link for link in (clean_line(one, 2000) for one in item.links[:50]) if link],
        "stars": item.stars,
        "thumbs_up_count": item.thumbs_up_count,
        "form": item.form,
        "rfc_message_id": fit_key(item.rfc_message_id) if item.rfc_message_id else None,
        "in_reply_to": fit_key(item.in_reply_to) if item.in_reply_to else None,
        "references": [fit_key(one) for one in item.references[-50:]],
        "answers_message_id": None,
        "kept_apart": item.kept_apart,
        "doubtful_twin_id": None,
        "reply_wanted": item.reply_wanted,
        "may_quote": item.may_quote,
        "tell_me": item.tell_me,
        "consent": dict(item.consent) if item.consent else None,
        "attachments": [name for name in (clean_line(one, 200) for one in item.attachments[:50]) if name],
        "no_reply_needed_at": None,
    }


def _store_originals(session: Session, arrivals: Sequence[Arrival]) -> None:
    """The whole originals, compressed, and the pictures."""
    originals = [
        {
            "message_id": arrival.message_id,
            "media_type": arrival.incoming.raw_type,
            "packed": zlib.compress(arrival.incoming.raw, 1),
        }
        for arrival in arrivals
        if arrival.incoming.raw
    ]
    if originals:
        session.execute(insert(RawItem.__table__), originals)  # type: ignore[arg-type]
    pictures = [
        {
            "message_id": arrival.message_id,
            "width": picture.width,
            "height": picture.height,
            "jpeg": picture.jpeg,
            "thumbnail": picture.thumbnail,
        }
        for arrival in arrivals
        for picture in arrival.incoming.photos
    ]
    if pictures:
        session.execute(insert(Photo.__table__), pictures)  # type: ignore[arg-type]


def _mark_twins(session: Session, arrivals: Sequence[Arrival]) -> None:
    pairs = []
    for arrival in arrivals:
        twin = arrival.doubtful_twin
        number = twin.message_id if isinstance(twin, Arrival) else twin
        if number is not None:
            pairs.append({"id": arrival.message_id, "doubtful_twin_id": number})
    if pairs:
        session.execute(update(Message), pairs)


def _store_labels(session: Session, arrivals: Sequence[Arrival], now: datetime) -> None:
    """Hand labels that came with the items; doors have checked them."""
    rows: list[dict[str, Any]] = [
        {
            "message_id": arrival.message_id,
            "field": field,
            "value": {"is": check_label(field, value)},
            "account_id": None,
            "labelled_at": now,
            "from_random_sample": False,
        }
        for arrival in arrivals
        for field, value in arrival.incoming.labels.items()
    ]
    if rows:
        session.execute(insert(HandLabel.__table__), rows)  # type: ignore[arg-type]
        settle(session, [row["message_id"] for row in rows])
