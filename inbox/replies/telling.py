"""Telling those who asked: once a theme is published, its readers hear of it, each by their own mail.

Only who ticked "tell me" is written to, each once, and each can take themselves off by
one click (RFC 8058). Start with `who_asked`.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.tables import Message, Reader, Recipe
from inbox.records.tables_out import Reply, Telling, Theme, ThemeMember
from inbox.replies.compose import Sender, is_persons_address, new_message_id, one_line, thread_of
from inbox.replies.letter import unsubscribe_url
from inbox.replies.phrases import first_name

WORDS_RECALLED: Final = 400
"""Characters of the reader's own words that are recalled in the mail. Chosen."""


@dataclass(frozen=True, slots=True)
class Asker:
    """A reader who asked for a theme and ticked "tell me"."""

    reader_id: int
    name: str | None
    address: str
    message_id: int
    asked_at: datetime
    words: str


def who_asked(session: Session, theme_id: int) -> list[Asker]:
    """Readers to be told that the theme is published, in the order in which they asked.

    Left out are those who never ticked, who were told before, who took themselves off, whose
    mail came back, and who were forgotten.
    """
    told = select(Reply.reader_id).join(Telling, Telling.id == Reply.telling_id)
    told = told.where(Telling.theme_id.in_(_family(session, theme_id)), Reply.reader_id.is_not(None))
    rows = session.execute(
        select(Message, Reader)
        .join(ThemeMember, ThemeMember.message_id == Message.id)
        .join(Reader, Reader.id == Message.reader_id)
        .where(
            ThemeMember.theme_id.in_(_family(session, theme_id)),
            Message.tell_me,
            Message.kept_apart.is_(None),
            Reader.email.is_not(None),
            Reader.unsubscribed_at.is_(None),
            Reader.bounced_at.is_(None),
            Reader.forgotten_at.is_(None),
            Reader.id.not_in(told),
        )
        .order_by(Message.received_at, Message.id)
    )
    found: dict[int, Asker] = {}
    for message, reader in rows:
        address = reader.email
        if reader.id not in found and address is not None and is_persons_address(address):
            found[reader.id] = Asker(
                reader.id, reader.name, address, message.id, message.received_at, message.text
            )
    return list(found.values())


def press_telling(
    session: Session,
    theme_id: int,
    body: str,
    *,
    account_id: int | None,
    now: datetime,
    hold_minutes: int,
    sender: Sender,
) -> list[Reply]:
    """Let one mail for each who asked wait to go; pressed again it reaches only those not told yet.

    Raises
    ------
    NotFoundError
        If there is no such theme.
    InputError
        If the theme is not published, the note is empty, or the owner has no address.
    """
    theme = session.get(Theme, theme_id)
    if theme is None:
        raise NotFoundError(f"There is no theme {theme_id}.")
    if theme.shelf != "published":
        raise InputError(f"“{theme.name}” is not published yet; put it on that shelf first.")
    if not body.strip():
        raise InputError("The note is empty; write what you want to tell them.")
    if not is_persons_address(sender.address):
        raise InputError("Mail needs an address to come from; set owner_email on the settings page.")
    askers = who_asked(session, theme_id)
    telling = session.scalar(select(Telling).where(Telling.theme_id == theme_id))
    if telling is None:
        telling = Telling(theme_id=theme_id)
        session.add(telling)
    telling.body, telling.written_at = body.strip(), now
    session.flush()
    recipe = session.get(Recipe, theme.recipe_id) if theme.recipe_id else None
    replies = [_reply(session, telling, theme, recipe, asker, now, sender) for asker in askers]
    for reply in replies:
        reply.pressed_at, reply.pressed_by_id = now, account_id
        reply.leaves_at = now + timedelta(minutes=hold_minutes)
    session.flush()
    return replies


def telling_text(asker: Asker, note: str, recipe: Recipe | None, sender: Sender, off_url: str) -> str:
    """Text of one reader's mail, with their own words recalled."""
    name = first_name(asker.name)
    words = one_line(asker.words)
    recalled = words if len(words) <= WORDS_RECALLED else words[:WORDS_RECALLED].rsplit(" ", 1)[0] + " ..."
    parts = [
        f"Hello {name}," if name else "Hello,",
        f"On {asker.asked_at.day} {asker.asked_at:%B %Y} you wrote:\n\n    “{recalled}”",
        note.strip(),
    ]
    if recipe is not None:
        parts.append(f"{recipe.title}\n{recipe.url}" if recipe.url else recipe.title)
    if sender.name:
        parts.append(sender.name)
    site = sender.site_name or "this site"
    parts.append(
        f"-- \nYou get this once, because you asked {site} to tell you. "
        f"If you want no such mail again:\n{off_url}"
    )
    return "\n\n".join(parts) + "\n"


def unsubscribe(session: Session, token: str, now: datetime) -> bool:
    """Take the reader with this token off, and withdraw what still waits to tell them.

    Returns
    -------
    bool
        False where nobody has the token. Done twice, it stays done.
    """
    reader = reader_of(session, token)
    if reader is None:
        return False
    reader.unsubscribed_at = reader.unsubscribed_at or now
    session.execute(
        delete(Reply).where(
            Reply.reader_id == reader.id, Reply.telling_id.is_not(None), Reply.state.in_(("draft", "waiting"))
        )
    )
    session.flush()
    return True


def reader_of(session: Session, token: str) -> Reader | None:
    """Reader with this token, to show the page on which they confirm; a look alone changes nothing."""
    if not 20 <= len(token) <= 100:
        return None
    return session.scalar(select(Reader).where(Reader.unsubscribe_token == token))


def _family(session: Session, theme_id: int) -> set[int]:
    """Number of the theme and of those merged into it."""
    family, fresh = {theme_id}, {theme_id}
    while fresh:
        fresh = set(session.scalars(select(Theme.id).where(Theme.merged_into_id.in_(fresh)))) - family
        family |= fresh
    return family


def _reply(
    session: Session,
    telling: Telling,
    theme: Theme,
    recipe: Recipe | None,
    asker: Asker,
    now: datetime,
    sender: Sender,
) -> Reply:
    reader = session.get_one(Reader, asker.reader_id)
    reader.unsubscribe_token = reader.unsubscribe_token or secrets.token_urlsafe(24)
    message = session.get_one(Message, asker.message_id)
    thread = thread_of(message.rfc_message_id, message.in_reply_to, message.references)
    title = recipe.title if recipe is not None else theme.name
    reply = Reply(
        message_id=asker.message_id,
        reader_id=asker.reader_id,
        telling_id=telling.id,
        also_answers=[],
        state="waiting",
        to_address=asker.address,
        subject=f"You asked for it: {title}",
        body=telling_text(
            asker, telling.body, recipe, sender, unsubscribe_url(sender, reader.unsubscribe_token)
        ),
        rfc_message_id=new_message_id(sender.domain),
        in_reply_to=thread.in_reply_to,
        references=list(thread.references),
        created_at=now,
        changed_at=now,
    )
    session.add(reply)
    return reply
