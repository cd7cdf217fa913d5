"""Messages: finding them, opening one, correcting what the program read, several at once, undo."""

import zlib
from collections.abc import Mapping, Sequence

from flask import Blueprint, Response, g, request
from sqlalchemy.orm import Session

from inbox.errors import InboxError, InputError, NotFoundError
from inbox.pipeline.catalogue import told_of
from inbox.pipeline.hand_themes import move
from inbox.pipeline.works import reckon_soon
from inbox.reading.explain import Weighed
from inbox.records.settle import remove_hand_label, set_hand_label, toggled
from inbox.records.tables import Labels, Message, Photo, RawItem
from inbox.records.undo import remember, undo
from inbox.web.access import account, inside, may, see_other, settings
from inbox.web.installation import installation
from inbox.web.notices import say
from inbox.web.page import Answer, Refusal
from inbox.web.pages.messages import load_message, load_messages, load_several
from inbox.web.phrasing import said
from inbox.web.row_numbers import row_number, row_numbers
from inbox.words import LANGUAGE_READ

area = Blueprint("messages", __name__)
MOST_AT_ONCE = 200


@area.get("/messages")
@may("owner", "helper")
def show_messages(session: Session) -> Answer:
    """The list; what is looked for stands in the address."""
    return load_messages(session, request.args.to_dict(), settings().zone)


@area.get("/messages/<int:message_id>")
@may("owner", "helper")
def show_message(session: Session, message_id: int) -> Answer:
    """One message."""
    return load_message(session, message_id, explain=_explain)


def _explain(session: Session, message: Message) -> Mapping[str, Weighed]:
    """What weighed in reading it, by the model in use; nothing where that has still to be trained."""
    model = installation().kitchen.model_at_hand(session)
    return model.explain(told_of(session, [message])[0]) if model else {}


@area.post("/messages/<int:message_id>/labels")
@may("owner", "helper")
def correct(session: Session, message_id: int) -> Answer:
    """Correct one label by a touch."""
    step = remember(session, [message_id], account_id=account().account_id, now=g.now)
    words = _correct_one(session, message_id, request.form.get("touch", ""))
    say(words, undo=step)
    return see_other(inside(request.form.get("then"), f"/messages/{message_id}"))


def _correct_one(session: Session, message_id: int, touch: str) -> str:
    """Apply what a touch such as "kind:problem" or "fault:sank" says; returns a sentence about it."""
    field, _, code = touch.partition(":")
    labels = session.get(Labels, message_id)
    who = account().account_id
    if field == "kind":
        value = toggled(labels.kinds if labels else (), code)
        set_hand_label(session, message_id, "kinds", value, account_id=who, now=g.now)
        return "Now: " + ", ".join(said(kind) for kind in value) + "."
    if field == "fault":
        held = {row.fault for row in labels.faults} if labels else set()
        set_hand_label(session, message_id, "faults", sorted(held ^ {code}), account_id=who, now=g.now)
        return f"{said(code).capitalize()}: {'taken off' if code in held else 'put on'}."
    if field == "language":
        set_hand_label(session, message_id, field, LANGUAGE_READ, account_id=who, now=g.now)
        return "It is in English, and what the program read counts."
    if field in ("outcome", "hazard", "recipe"):
        chosen = code or request.form.get(field) or None
        set_hand_label(session, message_id, field, chosen, account_id=who, now=g.now)
        return f"{field.capitalize()} set by hand."
    if field == "theme":
        move(session, message_id, row_number(request.form.get("theme")), now=g.now)
        reckon_soon(session, now=g.now)
        return "Theme set by hand."
    if field == "back":
        remove_hand_label(session, message_id, code)
        return "The program's own reading counts again."
    raise InputError(f"There is no label {field!r} to correct.")


@area.post("/messages/<int:message_id>/no-reply")
@may("owner", "helper")
def no_reply(session: Session, message_id: int) -> Answer:
    """Say that a message needs no answer, or that it does after all."""
    step = remember(session, [message_id], account_id=account().account_id, now=g.now)
    message = session.get(Message, message_id)
    if message is None:
        raise NotFoundError(f"There is no message {message_id}.")
    message.no_reply_needed_at = None if message.no_reply_needed_at else g.now
    say("No reply needed." if message.no_reply_needed_at else "Back among the replies to write.", undo=step)
    return see_other(inside(request.form.get("then"), f"/messages/{message_id}"))


@area.post("/messages/several")
@may("owner", "helper")
def correct_several(session: Session) -> Answer:
    """Correct several messages at once; one undo takes all of it back."""
    chosen = row_numbers(request.form.getlist("pick"))
    then = inside(request.form.get("then"), "/messages")
    if not chosen:
        say("Tick some messages first.")
        return see_other(then)
    if len(chosen) > MOST_AT_ONCE:
        raise InputError(f"{len(chosen)} messages were chosen; choose at most {MOST_AT_ONCE}.")
    if "set_kind" not in request.form:
        return load_several(session, chosen, then)
    step = remember(session, chosen, account_id=account().account_id, now=g.now)
    try:
        done = _correct_all(session, chosen)
        if not done:
            raise InputError("Choose what is to be done with them.")
    except InboxError as error:
        session.rollback()
        return Refusal(load_several(session, chosen, then, str(error)))
    say(f"{len(chosen)} {'message' if len(chosen) == 1 else 'messages'}: {', '.join(done)}.", undo=step)
    return see_other(then)


def _correct_all(session: Session, chosen: Sequence[int]) -> list[str]:
    """What the form under the list asks for, on each of the chosen messages."""
    kind, recipe = request.form.get("set_kind", ""), request.form.get("set_recipe", "")
    theme = row_number(request.form.get("set_theme"))
    done = []
    for field, value, words in (
        ("kinds", [kind], f"now {said(kind)}"),
        ("recipe", recipe, "recipe set"),
    ):
        if value and value != [""]:
            for message_id in chosen:
                set_hand_label(session, message_id, field, value, account_id=account().account_id, now=g.now)
            done.append(words)
    if theme is not None:
        for message_id in chosen:
            move(session, message_id, theme, now=g.now)
        reckon_soon(session, now=g.now)
        done.append("theme set")
    mark = request.form.get("reply", "")
    if mark in ("none", "wanted"):
        for message_id in chosen:
            message = session.get(Message, message_id)
            if message is not None:
                message.no_reply_needed_at = g.now if mark == "none" else None
        done.append("no reply needed" if mark == "none" else "to be answered")
    return done


@area.post("/undo/<int:step_id>")
@may("owner", "helper")
def undo_step(session: Session, step_id: int) -> Answer:
    """Take a change by hand back."""
    undo(session, step_id, account_id=account().account_id)
    say("Undone.")
    return see_other(inside(request.form.get("then"), "/messages"))


@area.get("/messages/<int:message_id>/original")
@may("owner", "helper")
def show_original(session: Session, message_id: int) -> Answer:
    """The whole original as plain text, never as what it claims to be."""
    raw = session.get(RawItem, message_id)
    if raw is None:
        raise NotFoundError(f"No original of message {message_id} is kept.")
    response = Response(zlib.decompress(raw.packed), content_type="text/plain; charset=utf-8")
    response.headers["Content-Disposition"] = f'inline; filename="message-{message_id}.txt"'
    return response


@area.get("/photos/<int:photo_id>/<size>.jpeg")
@may("owner", "helper")
def show_photo(session: Session, photo_id: int, size: str) -> Answer:
    """A reader's picture, small or whole."""
    photo = session.get(Photo, photo_id)
    if photo is None or size not in ("small", "whole"):
        raise NotFoundError(f"There is no picture {photo_id}.")
    response = Response(photo.thumbnail if size == "small" else photo.jpeg, content_type="image/jpeg")
    response.headers["Cache-Control"] = "private, max-age=86400"
    return response
