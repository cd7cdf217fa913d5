"""The list of messages, and one message with all that is known of it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.reading.explain import Weighed
from inbox.records.search import Search, beside, find, messages_of
from inbox.records.tables import (
    HandLabel,
    Message,
    MessageReading,
    Photo,
    RawItem,
)
from inbox.records.tables_out import Reply, ThemeMember
from inbox.web.page import Page
from inbox.web.pages.address import Address, position_text, read_address
from inbox.web.pages.choices import recipe_choices, theme_choices, word_choices
from inbox.web.pages.entries import Entry, entries_of, load_entries, name_of
from inbox.web.phrasing import Choice, said
from inbox.words import FAULTS, HAZARDS, KINDS, LANGUAGE_READ, OUTCOMES

COUNTED_AT_MOST = 1_000
"""Beyond that a list says "more than 1,000"; an exact figure would cost a walk over the archive."""


@dataclass(frozen=True)
class MessagesPage(Page):
    """One stretch of the messages that a search describes."""

    template: ClassVar[str] = "messages/list.html"
    address: Address
    entries: list[Entry]
    count_words: str
    newer: str
    older: str
    kinds: Sequence[Choice]
    outcomes: Sequence[Choice]
    faults: Sequence[Choice]
    hazards: Sequence[Choice]
    is_empty_ledger: bool


def load_messages(session: Session, given: Mapping[str, str], zone: ZoneInfo) -> MessagesPage:
    """The messages page for one address."""
    address = read_address(session, given, zone)
    found = find(
        session,
        address.search,
        older_than=address.older_than,
        newer_than=address.newer_than,
        count_at_most=COUNTED_AT_MOST + 1,
    )
    places = found.places
    return MessagesPage(
        address=address,
        entries=entries_of(found.lines, found.marked),
        count_words=_count_words(found.count),
        newer=address.link(newer=position_text(places[0])) if places and found.has_newer else "",
        older=address.link(older=position_text(places[-1])) if places and found.has_older else "",
        kinds=word_choices(KINDS, "any kind"),
        outcomes=word_choices(OUTCOMES, "any outcome"),
        faults=word_choices(FAULTS, "any fault"),
        hazards=[("", "with or without"), ("any", "any hazard"), *word_choices(HAZARDS)[1:]],
        is_empty_ledger=not places and not address.asked and not given.get("older"),
    )


@dataclass(frozen=True)
class SeveralPage(Page):
    """The ticked messages, and what can be done with them."""

    template: ClassVar[str] = "messages/several.html"
    entries: list[Entry]
    then: str
    kinds: Sequence[Choice]
    recipes: list[Choice]
    themes: list[Choice]
    trouble: str = ""


def load_several(session: Session, chosen: Sequence[int], then: str, trouble: str = "") -> SeveralPage:
    """The page on which several messages are corrected at once."""
    found = find(session, Search(only=tuple(chosen)), limit=len(chosen) or 1)
    return SeveralPage(
        entries=entries_of(found.lines),
        then=then,
        kinds=word_choices(KINDS, "leave the kind"),
        recipes=recipe_choices(session, "leave the recipe"),
        themes=theme_choices(session, "leave the theme"),
        trouble=trouble,
    )


def _count_words(count: int | None) -> str:
    if count is None:
        return "Many messages"
    if count > COUNTED_AT_MOST:
        return f"More than {COUNTED_AT_MOST:,} messages"
    return "One message" if count == 1 else f"{count:,} messages" if count else "No messages"


@dataclass(frozen=True)
class Touch:
    """One label that can be touched: what it is called, whether it holds, what the touch sends."""

    code: str
    words: str
    holds: bool


@dataclass(frozen=True)
class Because:
    """Why the program reads something into a message: what, how sure, and in which words."""

    what: str
    how_sure: float | None
    words: str = ""
    against: str = ""
    share_in_words: float | None = None


@dataclass(frozen=True)
class PhotoShown:
    """One of the reader's pictures."""

    id: int
    width: int
    height: int


@dataclass(frozen=True)
class ReplyLine:
    """An answer that was sent or is being written."""

    id: int
    state: str
    body: str
    when: datetime


@dataclass(frozen=True)
class MessagePage(Page):
    """One message."""

    template: ClassVar[str] = "messages/one.html"
    entry: Entry
    subject: str
    text: str
    facts: list[tuple[str, str, str]]
    """Name, words, address or nothing."""
    kinds: list[Touch]
    outcomes: list[Touch]
    faults: list[Touch]
    other_faults: list[Touch]
    hazard: str
    hazards: Sequence[Choice]
    recipe: str
    recipe_slug: str
    recipes: list[Choice]
    theme_id: str
    theme: str
    themes: list[Choice]
    is_request: bool
    language: str
    """Where it is another one than the program reads, and nobody said what the message is; else empty."""
    by_hand: list[str]
    because: list[Because]
    is_explained: bool
    photos: list[PhotoShown]
    attachments: list[str]
    has_original: bool
    answers: Entry | None
    answered_by: list[Entry]
    replies: list[ReplyLine]
    no_reply_needed: bool
    can_reply: bool
    apart: str
    twin: Entry | None
    older: int | None
    newer: int | None


Explain = Callable[[Session, Message], Mapping[str, Weighed]]
"""Says what weighed in reading a message, by label; nothing where no model is at hand."""


def load_message(session: Session, message_id: int, *, explain: Explain) -> MessagePage:
    """The page of one message; raises NotFoundError."""
    message = next(iter(messages_of(session, [message_id])), None)
    if message is None:
        raise NotFoundError(f"There is no message {message_id}. It may have been taken back with its import.")
    labels = message.labels
    kinds = labels.kinds if labels else ()
    faults = {row.fault for row in labels.faults} if labels else set()
    member = session.get(ThemeMember, message_id)
    recipe = labels.recipe if labels else None
    older, newer = beside(session, message)
    weighed = explain(session, message) if message.reading else {}
    answered_by = session.scalars(
        select(Message.id).where(Message.answers_message_id == message_id).order_by(Message.received_at)
    ).all()
    beside_it = [one for one in (message.answers_message_id, message.doubtful_twin_id) if one]
    entries = load_entries(session, [message_id, *beside_it, *answered_by])
    return MessagePage(
        entry=entries[message_id],
        subject=message.subject or "",
        text=message.text,
        facts=_facts(message),
        kinds=[Touch(kind, said(kind), kind in kinds) for kind in KINDS],
        outcomes=[
            *(Touch(word, said(word), bool(labels and labels.outcome == word)) for word in OUTCOMES),
            Touch("", "not said", bool(labels and labels.outcome is None)),
        ],
        faults=[Touch(fault, said(fault), True) for fault in FAULTS if fault in faults],
        other_faults=[Touch(fault, said(fault), False) for fault in FAULTS if fault not in faults],
        hazard=labels.hazard or "" if labels else "",
        hazards=word_choices(HAZARDS, "no hazard"),
        recipe=recipe.title if recipe else "",
        recipe_slug=recipe.slug if recipe else "",
        recipes=recipe_choices(session, "no recipe, or not known"),
        theme_id=str(member.theme_id) if member else "",
        theme=member.theme.name if member else "",
        themes=theme_choices(session, "no theme"),
        is_request="request" in kinds,
        language=labels.language if labels and not kinds and labels.language != LANGUAGE_READ else "",
        by_hand=list(
            session.scalars(
                select(HandLabel.field).where(HandLabel.message_id == message_id).order_by(HandLabel.id)
            )
        ),
        because=_because(message.reading, weighed),
        is_explained=bool(weighed),
        photos=[
            PhotoShown(*row)
            for row in session.execute(
                select(Photo.id, Photo.width, Photo.height).where(Photo.message_id == message_id)
            )
        ],
        attachments=message.attachments,
        has_original=session.scalar(select(RawItem.message_id).where(RawItem.message_id == message_id))
        is not None,
        answers=entries.get(message.answers_message_id or 0),
        answered_by=[entries[number] for number in answered_by],
        replies=[
            ReplyLine(row.id, said(row.state), row.body, row.sent_at or row.changed_at)
            for row in session.scalars(select(Reply).where(Reply.message_id == message_id).order_by(Reply.id))
        ],
        no_reply_needed=message.no_reply_needed_at is not None,
        can_reply=message.kept_apart is None,
        apart=said(message.kept_apart),
        twin=entries.get(message.doubtful_twin_id or 0),
        older=older,
        newer=newer,
    )


def _facts(message: Message) -> list[tuple[str, str, str]]:
    """What stands in the margin of a message: who, where from, what was allowed."""
    facts = [
        ("from", name_of(message.reader), f"/readers/{message.reader_id}" if message.reader_id else ""),
        ("came by", {"mail": "a mail file", "jsonl": "a message file"}.get(message.door, message.door), ""),
    ]
    if message.page_recipe:
        facts.append(
            ("written on the page of", message.page_recipe.title, f"/recipes/{message.page_recipe.slug}")
        )
    if message.stars is not None:
        facts.append(("stars given", f"{message.stars:g} of 5", ""))
    if message.thumbs_up_count:
        facts.append(("others agreed", f"{message.thumbs_up_count:,}", ""))
    allowed = [
        words
        for words, holds in (
            ("wants an answer", message.reply_wanted),
            ("may be quoted", message.may_quote),
            ("wants to be told when it is published", message.tell_me),
        )
        if holds
    ]
    if allowed:
        facts.append(("the reader", "; ".join(allowed), ""))
    return facts


def _because(reading: MessageReading | None, weighed: Mapping[str, Weighed]) -> list[Because]:
    """What the reading rests on, in the order of what matters."""
    if reading is None:
        return []
    found = []
    if reading.hazard:
        found.append(
            Because(
                f"hazard: {said(reading.hazard)}", reading.hazard_probability, ", ".join(reading.hazard_words)
            )
        )
    for kind, value in sorted(reading.kind_probabilities.items(), key=lambda item: -item[1]):
        if value >= 0.05:
            found.append(_weighing(said(kind), value, weighed.get(kind)))
    if "made_it" in reading.kinds:
        for outcome, value in sorted(reading.outcome_probabilities.items(), key=lambda item: -item[1]):
            if value >= 0.1:
                what = f"outcome: {'not said' if outcome == 'unsaid' else said(outcome)}"
                found.append(_weighing(what, value, weighed.get(outcome)))
    for fault in reading.faults:
        how_sure = reading.fault_probabilities.get(fault)
        found.append(_weighing(f"fault: {said(fault)}", how_sure, weighed.get(fault)))
    if reading.recipe_why:
        found.append(Because("the recipe", reading.recipe_confidence or None, reading.recipe_why))
    if reading.wants:
        found.append(Because("asks for", None, reading.wants))
    return found


def _weighing(what: str, how_sure: float | None, weighed: Weighed | None) -> Because:
    """One reading with the words that weighed most for it, and those against it."""
    if weighed is None:
        return Because(what, how_sure)
    return Because(
        what,
        how_sure,
        words=_named(weighed, 1),
        against=_named(weighed, -1),
        share_in_words=weighed.share_in_words,
    )


def _named(weighed: Weighed, direction: int) -> str:
    words = [f"“{name}”" for name, weight in weighed.words if weight * direction > 0]
    signs = [name for name, weight in weighed.signs if weight * direction > 0]
    return ", ".join(words + signs)
