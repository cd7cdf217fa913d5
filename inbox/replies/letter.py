"""A reply as the mail that goes out, and what is checked before it may go."""

from datetime import datetime
from email.message import EmailMessage

from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.records.tables import Message, Reader
from inbox.records.tables_out import Reply
from inbox.replies.compose import Sender, Thread, compose, new_message_id
from inbox.replies.drafts import beginning, place_of
from inbox.replies.phrases import unfilled


def build_mail(reply: Reply, message: Message | None, sender: Sender, now: datetime) -> EmailMessage:
    """Make the mail of a reply as it goes out: the owner's words, then the reader's own below."""
    reader = reply.reader
    token = reader.unsubscribe_token if reader is not None and reply.telling_id else None
    return compose(
        sender=sender,
        to=reply.to_address or "",
        to_name=reader.name if reader is not None else None,
        subject=reply.subject,
        body=with_quotation(reply.body, message) if message is not None else reply.body,
        message_id=reply.rfc_message_id or new_message_id(sender.domain),
        now=now,
        thread=Thread(reply.in_reply_to, tuple(reply.references)),
        unsubscribe_url=unsubscribe_url(sender, token) if token else None,
    )


def unsubscribe_url(sender: Sender, token: str) -> str:
    """Address at which a reader takes themselves off, by a page or by one click."""
    return f"{sender.public_url}/unsubscribe/{token}"


def with_quotation(body: str, message: Message, most_lines: int = 30) -> str:
    """`body` and below it what the reader wrote, each line after a ">"."""
    lines = message.text.strip().splitlines()
    kept = lines[:most_lines] + (["[...]"] if len(lines) > most_lines else [])
    day = f"{message.received_at.day} {message.received_at:%B %Y}"
    quoted = "\n".join(f"> {line}".rstrip() for line in kept)
    return f"{body.rstrip()}\n\nOn {day} you wrote:\n{quoted}\n"


def check_words(session: Session, reply: Reply, sender: Sender | None = None) -> None:
    """Refuse an answer in which nothing is written, or a field is still to be filled in.

    Raises
    ------
    InputError
        It says which field.
    """
    missing = unfilled(reply.body) or unfilled(reply.subject)
    if missing:
        raise InputError(f"There is still {{{missing[0]}}} to fill in; write it out or take it away.")
    message = session.get(Message, reply.message_id) if reply.message_id else None
    begun = beginning(message, sender) if message is not None and sender is not None else ""
    if not reply.body.split() or (reply.body.split() == begun.split() and not _has_hazard(message)):
        raise InputError("Nothing is written yet; write something first.")


def _has_hazard(message: Message | None) -> bool:
    """Whether the draft began with a caution, which may go out as it is."""
    return message is not None and message.labels is not None and message.labels.hazard is not None


def check_reader(session: Session, reply: Reply) -> None:
    """Refuse a reader whose mail came back, who was forgotten, or who took themselves off."""
    reader = session.get(Reader, reply.reader_id) if reply.reader_id else None
    if reader is not None and reader.forgotten_at:
        raise InputError("This reader asked to be forgotten; nothing is sent to them.")
    if reader is not None and reader.bounced_at:
        raise InputError(f"Mail to {reply.to_address} came back; nothing more is sent there.")
    if reader is not None and reply.telling_id and reader.unsubscribed_at:
        raise InputError("This reader no longer wants to be told; nothing is sent to them.")
    message = session.get(Message, reply.message_id) if reply.message_id else None
    if message is not None and message.kept_apart:
        raise InputError("This is automatic mail; it is not answered.")
    if reply.message_id and message is not None and place_of(message) is not None and not reply.telling_id:
        raise InputError("This answer is copied to the place by hand; mark it as answered there.")
