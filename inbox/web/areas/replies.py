"""Writing replies: drafts saved as typed, sent by a press, taken back within the hold."""

from dataclasses import replace

from flask import Blueprint, g, request
from sqlalchemy.orm import Session

from inbox.errors import InboxError
from inbox.records.tables_out import Reply
from inbox.records.undo import remember
from inbox.replies.compose import sender_of
from inbox.replies.drafts import get_reply, open_draft, save_draft, throw_away
from inbox.replies.phrases import delete_phrase, save_phrase
from inbox.replies.sending import answered_by_hand, press_send, settle_doubtful, take_back
from inbox.replies.suggest import suggestions
from inbox.replies.whom import no_reply_needed
from inbox.web.access import account, inside, may, see_other, settings
from inbox.web.notices import say
from inbox.web.page import Answer, Refusal
from inbox.web.pages.replies import load_phrases, load_replies, load_reply, load_sent
from inbox.web.row_numbers import row_number, row_numbers

area = Blueprint("replies", __name__)


@area.get("/replies")
@may("owner", "helper")
def show_replies(session: Session) -> Answer:
    """Whom an answer is owed."""
    return load_replies(session, now=g.now)


@area.get("/replies/<int:message_id>")
@may("owner", "helper")
def show_reply(session: Session, message_id: int) -> Answer:
    """The reply to one message."""
    return load_reply(session, message_id, settings())


@area.post("/replies/<int:message_id>/begin")
@may("owner", "helper")
def begin(session: Session, message_id: int) -> Answer:
    """Open a draft, or the one begun before."""
    open_draft(session, message_id, now=g.now, sender=sender_of(settings()))
    return see_other(f"/replies/{message_id}")


@area.post("/replies/<int:message_id>")
@may("owner", "helper")
def write(session: Session, message_id: int) -> Answer:
    """Keep what is typed, and do what the pressed button says."""
    draft = open_draft(session, message_id, now=g.now, sender=sender_of(settings()))
    changed_elsewhere = request.form.get("changed_at", "") not in ("", draft.changed_at.isoformat())
    if changed_elsewhere and draft.body != request.form.get("body", "").replace("\r\n", "\n"):
        return _both_words(session, message_id, draft)
    what = request.form.get("do", "save")
    typed = request.form.get("body", draft.body).replace("\r\n", "\n")
    save_draft(session, draft.id, request.form.get("subject", draft.subject), typed, g.now)
    try:
        # What was typed is kept even where it cannot be sent as it is.
        with session.begin_nested():
            return _go_on(session, message_id, draft, what)
    except InboxError as error:
        page = load_reply(session, message_id, settings())
        return Refusal(replace(page, problems=[("body", str(error))]), keep=True)


def _both_words(session: Session, message_id: int, draft: Reply) -> Refusal:
    """The same draft was changed in another window; nothing of either is lost."""
    page = load_reply(session, message_id, settings())
    return Refusal(
        replace(
            page,
            body=request.form.get("body", ""),
            subject=request.form.get("subject", draft.subject),
            others_words=draft.body,
            problems=[
                (
                    "body",
                    "This draft was changed in another window. Your words are in the field, the others "
                    "below it; press a button to keep what is in the field.",
                )
            ],
        )
    )


def _go_on(session: Session, message_id: int, draft: Reply, what: str) -> Answer:
    """Send, use a suggestion, mark as answered, or throw away; "save" was done by coming here."""
    if what == "save":
        return see_other(f"/replies/{message_id}")
    if what.startswith("use:"):
        offered = suggestions(session, message_id, country=settings().country)
        number = row_number(what[4:])
        if number is not None and number < len(offered):
            body = f"{draft.body.rstrip()}\n\n{offered[number].body}".lstrip()
            save_draft(session, draft.id, draft.subject, body, g.now)
        return see_other(f"/replies/{message_id}")
    who = account().account_id
    if what == "send":
        hold = settings().reply_hold_minutes
        press_send(
            session, draft.id, account_id=who, now=g.now, hold_minutes=hold, sender=sender_of(settings())
        )
        say(f"It goes in {hold} minutes; until then it can be taken back under Replies sent.")
    elif what == "by_hand":
        answered_by_hand(session, draft.id, account_id=who, now=g.now)
        say("Marked as answered by hand.")
    elif what == "throw_away":
        throw_away(session, draft.id)
        say("The draft is thrown away.")
    return see_other("/replies")


@area.post("/replies/no-reply")
@may("owner", "helper")
def skip(session: Session) -> Answer:
    """No reply needed, for all messages of one entry."""
    ids = row_numbers(request.form.get("messages", "").split(","))
    step = remember(session, ids, account_id=account().account_id, now=g.now)
    no_reply_needed(session, ids, g.now)
    say("No reply needed.", undo=step)
    return see_other(inside(request.form.get("then"), "/replies"))


@area.get("/replies/sent")
@may("owner", "helper")
def show_sent(session: Session) -> Answer:
    """What waits to go, went, or came back."""
    return load_sent(session, row_number(request.args.get("before")))


@area.post("/replies/sent/<int:reply_id>")
@may("owner", "helper")
def change_sent(session: Session, reply_id: int) -> Answer:
    """Take a waiting reply back, or say what became of one that may have gone out."""
    what = request.form.get("do", "")
    if what == "take_back":
        reply = take_back(session, reply_id, g.now)
        say("Taken back; it is a draft again.")
        return see_other(f"/replies/{reply.message_id}" if reply.message_id else "/replies/sent")
    if what in ("went_out", "not_out"):
        settle_doubtful(session, reply_id, went_out=what == "went_out", now=g.now)
        say("Noted.")
    else:
        get_reply(session, reply_id)
    return see_other("/replies/sent")


@area.get("/phrases")
@may("owner", "helper")
def show_phrases(session: Session) -> Answer:
    """The saved phrases."""
    return load_phrases(session)


@area.post("/phrases")
@may("owner", "helper")
def keep_phrase(session: Session) -> Answer:
    """Save a phrase, over the one of the same name."""
    name, body = request.form.get("name", ""), request.form.get("body", "").replace("\r\n", "\n")
    try:
        save_phrase(session, name, body, now=g.now)
    except InboxError as error:
        return Refusal(replace(load_phrases(session), name=name, body=body, trouble=str(error)))
    say("Kept.")
    return see_other("/phrases")


@area.post("/phrases/<int:phrase_id>/forget")
@may("owner", "helper")
def forget_phrase(session: Session, phrase_id: int) -> Answer:
    """Take a phrase out."""
    delete_phrase(session, phrase_id)
    say("Taken out.")
    return see_other("/phrases")
