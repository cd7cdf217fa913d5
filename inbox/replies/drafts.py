"""A reply while it is written: opened, saved as it is typed, thrown away.

What it may be written from stands in `inbox.replies.suggest`.
"""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.reading.cautions import caution_for
from inbox.records.tables import Message, Recipe
from inbox.records.tables_out import Reply
from inbox.replies.compose import Sender, is_persons_address, one_line, reply_subject, thread_of
from inbox.replies.phrases import first_name
from inbox.replies.whom import same_thing

_APART_WORDS = {
    "auto_reply": "an automatic reply",
    "bounce": "a delivery report",
    "list_mail": "mail of a list",
    "calendar": "an invitation",
    "newsletter": "a newsletter",
    "own_mail": "mail of your own",
}


def open_draft(session: Session, message_id: int, *, now: datetime, sender: Sender) -> Reply:
    """Draft of the answer to a message: the one begun before, or a new one.

    The subject, the thread and the greeting are filled in; for a message with a hazard the
    caution too. Nothing is sent.

    Raises
    ------
    NotFoundError
        If there is no such message.
    InputError
        If it is automatic mail, or the reader left no way to be answered.
    """
    message = session.get(Message, message_id)
    if message is None:
        raise NotFoundError(f"There is no message {message_id}.")
    begun = session.scalar(
        select(Reply)
        .where(Reply.message_id == message_id, Reply.state == "draft")
        .order_by(Reply.id)
        .limit(1)
    )
    if begun is not None:
        return begun
    if message.kept_apart:
        what = _APART_WORDS.get(message.kept_apart, "automatic mail")
        raise InputError(f"Message {message_id} is {what}; it is not answered.")
    address = address_for(message)
    if address is None and place_of(message) is None:
        raise InputError(f"The reader of message {message_id} left no way to be answered.")
    thread = thread_of(message.rfc_message_id, message.in_reply_to, message.references)
    reply = Reply(
        message_id=message_id,
        reader_id=message.reader_id,
        also_answers=same_thing(session, message_id, now=now)[1:],
        state="draft",
        to_address=address,
        subject=reply_subject(message.subject, _about(session, message, sender)),
        body=beginning(message, sender),
        in_reply_to=thread.in_reply_to,
        references=list(thread.references),
        created_at=now,
        changed_at=now,
    )
    session.add(reply)
    session.flush()
    return reply


def save_draft(session: Session, reply_id: int, subject: str, body: str, now: datetime) -> Reply:
    """Keep what is typed. A reply that was sent or waits to go is not changed.

    Raises
    ------
    NotFoundError, InputError
        If there is no such reply, or it is no draft any more.
    """
    reply = get_reply(session, reply_id)
    if reply.state != "draft":
        raise InputError(
            f"Reply {reply_id} is {state_words(reply)}; it cannot be changed. Take it back first."
        )
    reply.subject, reply.body, reply.changed_at = one_line(subject), body, now
    session.flush()
    return reply


def throw_away(session: Session, reply_id: int) -> None:
    """Delete a draft."""
    reply = get_reply(session, reply_id)
    if reply.state != "draft":
        raise InputError(f"Reply {reply_id} is {state_words(reply)}; only a draft can be thrown away.")
    session.delete(reply)
    session.flush()


def get_reply(session: Session, reply_id: int, *, locked: bool = False) -> Reply:
    """Reply number `reply_id`, if wanted so that no other process changes it meanwhile."""
    reply = session.get(Reply, reply_id, with_for_update=locked, populate_existing=locked)
    if reply is None:
        raise NotFoundError(f"There is no reply {reply_id}.")
    return reply


def state_words(reply: Reply) -> str:
    """State of a reply in plain words."""
    if reply.state == "sending" and reply.trouble:
        return "one that may have gone out"
    return {
        "draft": "a draft",
        "waiting": "waiting to go",
        "sending": "going out",
        "sent": "sent",
        "came_back": "one that came back",
        "by_hand": "answered by hand",
    }[reply.state]


def address_for(message: Message) -> str | None:
    """Address that the answer goes to; None where it is to be copied to the place instead.

    Somebody who commented in public is answered in public: they did not ask for mail.
    """
    reader = message.reader
    if message.channel in ("comment", "social") or reader is None:
        return None
    if reader.bounced_at or reader.forgotten_at or not is_persons_address(reader.email):
        return None
    return reader.email


def place_of(message: Message) -> str | None:
    """Address of the page that the message was written at, for an answer by hand; "" where not known."""
    if message.channel not in ("comment", "social"):
        return None
    recipe = message.page_recipe
    return message.page_url or (recipe.url if recipe is not None else None) or ""


def recipe_of(session: Session, message: Message) -> Recipe | None:
    """Recipe that the message is about, as it counts."""
    if message.labels is not None and message.labels.recipe_id is not None:
        return session.get(Recipe, message.labels.recipe_id)
    return message.page_recipe


def _about(session: Session, message: Message, sender: Sender) -> str:
    recipe = recipe_of(session, message)
    return recipe.title if recipe is not None else f"your message to {sender.site_name or 'us'}"


def beginning(message: Message, sender: Sender) -> str:
    """What a draft begins with: greeting and name, and between them the caution where there is a hazard."""
    name = first_name(message.reader.name if message.reader else None)
    greeting = f"Hello {name}," if name else "Hello,"
    hazard = message.labels.hazard if message.labels is not None else None
    middle = caution_text(hazard, sender.country) if hazard else ""
    return f"{greeting}\n\n{middle}\n\n{sender.name}".rstrip() + "\n"


def caution_text(hazard: str, country: str) -> str:
    """The usual caution for a hazard, who decides instead of us, and whom to ring where that is known."""
    caution = caution_for(hazard, country)
    lines = [f"{line.who}: {line.number}" for line in caution.help_lines]
    return "\n\n".join([caution.words, caution.defer, *(["\n".join(lines)] if lines else [])])
