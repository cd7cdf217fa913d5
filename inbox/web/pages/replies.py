"""Replies: whom an answer is owed, one draft, what was sent, the saved phrases."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import ClassVar

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from inbox.errors import NotFoundError
from inbox.records.tables import Message, Photo
from inbox.records.tables_out import Reply
from inbox.replies.drafts import place_of, state_words
from inbox.replies.phrases import FIELDS, all_phrases
from inbox.replies.suggest import Suggestion, suggestions
from inbox.replies.whom import Owed, owed, owed_count
from inbox.settings import Settings
from inbox.web.page import Page
from inbox.web.pages.entries import Entry, excerpt, load_entries

GROUP_WORDS = {
    "hazard": "Hazards",
    "stuck": "In the middle of cooking",
    "problem": "Something went wrong",
    "question": "Questions",
    "first_made_it": "First reports",
    "rest": "The rest",
}
OWED_SHOWN = 40
COUNTED_AT_MOST = 100
"""Of each group; and first reports are looked for among so many. Chosen: more than twice what is shown."""

SENT_SHOWN = 40


@dataclass(frozen=True)
class OwedLine:
    """One reader who waits for an answer."""

    message_id: int
    message_ids: str
    who: str
    why: str
    words: str
    when: datetime
    way: str
    is_begun: bool


@dataclass(frozen=True)
class RepliesPage(Page):
    """Whom to answer, first things first."""

    template: ClassVar[str] = "replies/list.html"
    groups: list[tuple[str, list[OwedLine]]]
    waiting: list[str]


def load_replies(session: Session, *, now: datetime) -> RepliesPage:
    """The owed list."""
    groups: dict[str, list[OwedLine]] = {}
    for entry in owed(session, now=now, limit=OWED_SHOWN):
        groups.setdefault(entry.group, []).append(_owed_line(entry))
    counts = owed_count(session, now=now, at_most=COUNTED_AT_MOST, reports_at_most=COUNTED_AT_MOST)
    return RepliesPage(
        groups=[(GROUP_WORDS[code], lines) for code, lines in groups.items()],
        waiting=[f"{GROUP_WORDS[code].lower()} {count}" for code, count in counts.items() if count.count],
    )


def _owed_line(entry: Owed) -> OwedLine:
    return OwedLine(
        message_id=entry.message_ids[0],
        message_ids=",".join(str(number) for number in entry.message_ids),
        who=entry.reader_name or "A reader",
        why=entry.reason,
        words=excerpt(entry.words),
        when=entry.received_at,
        way=entry.way,
        is_begun=entry.draft_id is not None,
    )


@dataclass(frozen=True)
class ReplyPage(Page):
    """One reply being written beside the message that it answers."""

    template: ClassVar[str] = "replies/one.html"
    message: Entry
    text: str
    also: list[Entry]
    photos: list[int]
    draft_id: int | None
    changed_at: str
    subject: str
    body: str
    to_address: str
    place: str | None
    trouble: str
    suggestions: list[Suggestion]
    earlier: list[tuple[str, datetime, str]]
    hold_minutes: int
    others_words: str = ""
    """What was saved from another window meanwhile; shown beside what was typed here."""
    problems: list[tuple[str, str]] = field(default_factory=list)


def load_reply(session: Session, message_id: int, settings: Settings) -> ReplyPage:
    """The page on which a message is answered; raises NotFoundError."""
    message = session.get(Message, message_id)
    if message is None:
        raise NotFoundError(f"There is no message {message_id}.")
    replies = session.scalars(select(Reply).where(Reply.message_id == message_id).order_by(Reply.id)).all()
    draft = next((reply for reply in replies if reply.state == "draft"), None)
    entries = load_entries(session, [message_id, *(draft.also_answers if draft else [])])
    return ReplyPage(
        message=entries.pop(message_id),
        text=message.text,
        also=list(entries.values()),
        photos=list(session.scalars(select(Photo.id).where(Photo.message_id == message_id))),
        draft_id=draft.id if draft else None,
        changed_at=draft.changed_at.isoformat() if draft else "",
        subject=draft.subject if draft else "",
        body=draft.body if draft else "",
        to_address=(draft.to_address or "") if draft else "",
        place=place_of(message),
        trouble=(draft.trouble or "") if draft else "",
        suggestions=suggestions(session, message_id, country=settings.country) if draft else [],
        earlier=[
            (state_words(reply), reply.sent_at or reply.changed_at, reply.body)
            for reply in replies
            if reply.state != "draft"
        ],
        hold_minutes=settings.reply_hold_minutes,
    )


@dataclass(frozen=True)
class SentLine:
    """One reply that left the owner's hands."""

    id: int
    message_id: int | None
    to: str
    subject: str
    state: str
    when: datetime
    words: str
    trouble: str
    can_take_back: bool
    is_doubtful: bool


@dataclass(frozen=True)
class SentPage(Page):
    """Replies that wait to go, went, or came back; newest first."""

    template: ClassVar[str] = "replies/sent.html"
    lines: list[SentLine]
    older: str


def load_sent(session: Session, before_id: int | None) -> SentPage:
    """One stretch of the sent replies."""
    query = select(Reply).where(Reply.state != "draft").order_by(Reply.id.desc()).limit(SENT_SHOWN + 1)
    if before_id is not None:
        query = query.where(Reply.id < before_id)
    rows = list(session.scalars(query.options(joinedload(Reply.reader))))
    shown = rows[:SENT_SHOWN]
    return SentPage(
        lines=[
            SentLine(
                id=row.id,
                message_id=row.message_id,
                to=(row.reader.name if row.reader else None) or row.to_address or "copied by hand",
                subject=row.subject,
                state=state_words(row),
                when=row.sent_at or row.leaves_at or row.changed_at,
                words=excerpt(row.body, 160),
                trouble=row.trouble or "",
                can_take_back=row.state == "waiting",
                is_doubtful=row.state == "sending" and bool(row.trouble),
            )
            for row in shown
        ],
        older=f"/replies/sent?before={shown[-1].id}" if len(rows) > SENT_SHOWN else "",
    )


@dataclass(frozen=True)
class PhrasesPage(Page):
    """Words that the owner saves to use again."""

    template: ClassVar[str] = "replies/phrases.html"
    phrases: list[tuple[int, str, str]]
    fields: tuple[str, ...] = FIELDS
    name: str = ""
    body: str = ""
    trouble: str = ""


def load_phrases(session: Session) -> PhrasesPage:
    """All phrases by name."""
    return PhrasesPage(phrases=[(row.id, row.name, row.body) for row in all_phrases(session)])
