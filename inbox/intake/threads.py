"""Which message or reply of ours an arrival answers, and which reply of ours came back."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select, update
from sqlalchemy.orm import Session, aliased

from inbox.intake.incoming import CameBack, clean_address, clean_line, fit_key
from inbox.records.tables import Message, Reader
from inbox.records.tables_out import Reply

Link = tuple[int, str | None, Sequence[str], str | None]
"""Number of a message, its In-Reply-To, its References, and the key of what it answers if the door knows."""


def link_answers(session: Session, links: Sequence[Link]) -> None:
    """Link messages to the message that they answer, directly or through a reply of ours.

    In-Reply-To comes first, then the References from the last to the first (RFC 5322, section 3.6.4).
    """
    wanted: dict[int, list[str]] = {}
    keys: dict[int, str] = {}
    for number, in_reply_to, references, key in links:
        ids = [in_reply_to] if in_reply_to else []
        ids += [one for one in reversed(references[-50:]) if one not in ids]
        if ids:
            wanted[number] = [fit_key(one) for one in ids]
        if key:
            keys[number] = fit_key(key)
    if not wanted and not keys:
        return
    parents = _parents(session, {one for ids in wanted.values() for one in ids})
    by_key = dict(
        session.execute(select(Message.key, Message.id).where(Message.key.in_(keys.values()))).all()
    )
    pairs = []
    for number in {**wanted, **keys}:
        parent = by_key.get(keys.get(number, "")) or next(
            (parents[one] for one in wanted.get(number, ()) if one in parents), None
        )
        if parent is not None and parent != number:
            pairs.append({"id": number, "answers_message_id": parent})
    if pairs:
        session.execute(update(Message), pairs)


def _parents(session: Session, rfc_ids: set[str]) -> dict[str, int]:
    """Messages by the ids of mails: readers' own, and those that a reply of ours with that id answered."""
    if not rfc_ids:
        return {}
    own = session.execute(
        select(Message.rfc_message_id, Message.id).where(Message.rfc_message_id.in_(rfc_ids))
    )
    ours = session.execute(
        select(Reply.rfc_message_id, Reply.message_id).where(
            Reply.rfc_message_id.in_(rfc_ids), Reply.message_id.is_not(None)
        )
    )
    return dict([*ours, *own])


def link_late_parents(session: Session, run_id: int) -> None:
    """Link answers that stood in the file before what they answer; and spare the answered ones a reply.

    Own mail in an archive shows which messages were answered by hand; no reply is owed to those.
    """
    parent = aliased(Message)
    found = (
        select(parent.id)
        .where(parent.rfc_message_id == Message.in_reply_to, parent.id != Message.id)
        .order_by(parent.id)
        .limit(1)
        .scalar_subquery()
    )
    session.execute(
        update(Message)
        .where(
            Message.run_id == run_id, Message.answers_message_id.is_(None), Message.in_reply_to.is_not(None)
        )
        .values(answers_message_id=found)
        .execution_options(synchronize_session=False)
    )
    answers = aliased(Message)
    answered = (
        select(answers.answers_message_id, answers.received_at)
        .where(
            answers.run_id == run_id,
            answers.kept_apart == "own_mail",
            answers.answers_message_id.is_not(None),
        )
        .order_by(answers.received_at)
    )
    first = dict(reversed(session.execute(answered).all()))
    if first:
        open_ones = session.scalars(
            select(Message.id).where(Message.id.in_(first), Message.no_reply_needed_at.is_(None))
        ).all()
        rows = [{"id": number, "no_reply_needed_at": first[number]} for number in open_ones]
        if rows:
            session.execute(update(Message), rows)


def record_returns(session: Session, reports: Sequence[CameBack], *, now: datetime) -> None:
    """Mark replies that came back, and the readers whose address takes no mail."""
    for report in reports:
        address = clean_address(report.address)
        reply = None
        if report.rfc_message_id:
            reply = session.scalar(
                select(Reply).where(Reply.rfc_message_id == fit_key(report.rfc_message_id))
            )
        if reply is None and address:
            reply = session.scalar(
                select(Reply)
                .where(Reply.to_address == address, Reply.state == "sent")
                .order_by(Reply.sent_at.desc())
                .limit(1)
            )
        if not report.permanent:
            continue
        if reply is not None and reply.state in ("sending", "sent"):
            reply.state, reply.came_back_at = "came_back", now
            reply.trouble = clean_line(report.reason, 500)
        reader = session.get(Reader, reply.reader_id) if reply is not None and reply.reader_id else None
        if reader is None and address:
            reader = session.scalar(select(Reader).where(Reader.email == address))
        if reader is not None:
            reader.bounced_at = now
    session.flush()
