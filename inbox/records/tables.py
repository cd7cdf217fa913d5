"""The tables of the ledger about readers, recipes and messages, and what they say.

One row of `messages` is one thing that a reader wrote; `readings` is what the
program makes of it, `hand_labels` what a person said instead, `labels` what
counts: the hand label where there is one, else the reading. `labels` can always
be made anew from the other two (`inbox.records.settle`), and `second-batch check`
verifies that it agrees.
"""

from datetime import date, datetime
from typing import Any

from sqlalchemy import ForeignKey, Index, LargeBinary, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from inbox.records.base import Row, one_of
from inbox.words import CHANNELS, HAZARDS, KINDS, OUTCOMES

DOORS = ("form", "mail", "table", "jsonl", "feed", "mailbox", "mention")
APART = ("auto_reply", "bounce", "list_mail", "calendar", "newsletter", "own_mail", "robot", "double")


def _index_where_set(name: str, seldom_set: str, *columns: str) -> Index:
    """Index over the few rows in which a column holds something; over all it would lead planners astray."""
    there = text(f"{seldom_set} IS NOT NULL")
    return Index(name, *columns, sqlite_where=there, postgresql_where=there)


class Reader(Row):
    """Somebody who wrote in; by address, or by a handle in one channel, or not known at all."""

    __tablename__ = "readers"

    id: Mapped[int] = mapped_column(primary_key=True)
    email: Mapped[str | None] = mapped_column(unique=True)
    channel: Mapped[str | None]
    handle: Mapped[str | None]
    name: Mapped[str | None]
    first_seen_at: Mapped[datetime]
    bounced_at: Mapped[datetime | None]
    unsubscribed_at: Mapped[datetime | None]
    unsubscribe_token: Mapped[str | None] = mapped_column(unique=True)
    """Opaque part of the address by which the reader takes themselves off."""
    forgotten_at: Mapped[datetime | None]

    __table_args__ = (UniqueConstraint("channel", "handle"),)

    @property
    def is_forgotten(self) -> bool:
        """Whether they asked to be forgotten."""
        return self.forgotten_at is not None


class Recipe(Row):
    """A published recipe of the owner."""

    __tablename__ = "recipes"

    id: Mapped[int] = mapped_column(primary_key=True)
    slug: Mapped[str] = mapped_column(unique=True)
    title: Mapped[str]
    url: Mapped[str | None]
    published_on: Mapped[date | None]
    ingredients: Mapped[list[str]]
    steps: Mapped[list[str]]
    tags: Mapped[dict[str, Any]]
    created_at: Mapped[datetime]

    revisions: Mapped[list["Revision"]] = relationship(
        back_populates="recipe", order_by="Revision.made_at", cascade="all, delete-orphan"
    )


class Revision(Row):
    """A dated change to a recipe, noted by the owner or seen at a catalogue import."""

    __tablename__ = "revisions"

    id: Mapped[int] = mapped_column(primary_key=True)
    recipe_id: Mapped[int] = mapped_column(ForeignKey("recipes.id", ondelete="CASCADE"), index=True)
    made_at: Mapped[datetime]
    note: Mapped[str]
    noticed: Mapped[bool]
    """Whether the program noticed it at an import, rather than the owner writing it down."""
    before: Mapped[dict[str, Any] | None]

    recipe: Mapped[Recipe] = relationship(back_populates="revisions")


class IntakeRun(Row):
    """One import: a file, a look at a mailbox, a feed; its three numbers sum to what it held."""

    __tablename__ = "intake_runs"

    id: Mapped[int] = mapped_column(primary_key=True)
    door: Mapped[str]
    source: Mapped[str]
    digest: Mapped[str | None] = mapped_column(index=True)
    """SHA-256 of the file, to say that it was brought in before."""
    started_at: Mapped[datetime]
    finished_at: Mapped[datetime | None]
    taken_back_at: Mapped[datetime | None]
    position: Mapped[int] = mapped_column(default=0)
    """Items dealt with so far; a run that was cut goes on from here."""
    stored_count: Mapped[int] = mapped_column(default=0)
    already_here_count: Mapped[int] = mapped_column(default=0)
    set_aside_count: Mapped[int] = mapped_column(default=0)
    kept_apart_count: Mapped[int] = mapped_column(default=0)
    """Of the stored ones, those not written by a reader: automatic mail, bounces, newsletters."""

    __table_args__ = (one_of("door", (*DOORS, "recipes")),)


class SetAside(Row):
    """An incoming item that could not be taken in: kept whole, with the reason."""

    __tablename__ = "set_aside"

    id: Mapped[int] = mapped_column(primary_key=True)
    run_id: Mapped[int | None] = mapped_column(ForeignKey("intake_runs.id"), index=True)
    door: Mapped[str]
    place: Mapped[str]
    """Where in the source it stood, such as "row 17"."""
    reason: Mapped[str]
    fingerprint: Mapped[str] = mapped_column(unique=True)
    raw: Mapped[bytes] = mapped_column(LargeBinary)
    details: Mapped[dict[str, Any] | None]
    """What the door needs to try again, such as the columns of a table."""
    set_aside_at: Mapped[datetime]
    left_out_at: Mapped[datetime | None]
    taken_in_at: Mapped[datetime | None]


class Message(Row):
    """One thing that a reader wrote, from any door."""

    __tablename__ = "messages"

    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(unique=True)
    """What makes it the same message when it comes again."""
    fingerprint: Mapped[str] = mapped_column(index=True)
    """Hash of reader and plain text, to find the same words through another door."""
    door: Mapped[str]
    channel: Mapped[str]
    run_id: Mapped[int | None] = mapped_column(ForeignKey("intake_runs.id"), index=True)
    reader_id: Mapped[int | None] = mapped_column(ForeignKey("readers.id"))
    received_at: Mapped[datetime]
    stored_at: Mapped[datetime]
    subject: Mapped[str | None]
    text: Mapped[str]
    page_recipe_id: Mapped[int | None] = mapped_column(ForeignKey("recipes.id"))
    """Recipe whose page or form it was sent from."""
    page_url: Mapped[str | None]
    links: Mapped[list[str]] = mapped_column(default=list)
    stars: Mapped[float | None]
    """Rating on the scale 1 to 5."""
    thumbs_up_count: Mapped[int] = mapped_column(default=0)
    form: Mapped[str | None]
    rfc_message_id: Mapped[str | None]
    in_reply_to: Mapped[str | None]
    references: Mapped[list[str]] = mapped_column(default=list)
    answers_message_id: Mapped[int | None] = mapped_column(ForeignKey("messages.id"))
    kept_apart: Mapped[str | None]
    """Why it is no reader's message; such rows are counted and never read."""
    doubtful_twin_id: Mapped[int | None] = mapped_column(ForeignKey("messages.id"))
    """A message that may be the same one; shown to the owner, not merged."""
    reply_wanted: Mapped[bool] = mapped_column(default=False)
    may_quote: Mapped[bool] = mapped_column(default=False)
    tell_me: Mapped[bool] = mapped_column(default=False)
    consent: Mapped[dict[str, Any] | None]
    """Wording and moment of each box that was ticked."""
    attachments: Mapped[list[str]] = mapped_column(default=list)
    """Names of what was attached and not kept."""
    no_reply_needed_at: Mapped[datetime | None]

    reader: Mapped[Reader | None] = relationship()
    page_recipe: Mapped[Recipe | None] = relationship(foreign_keys=[page_recipe_id])
    labels: Mapped["Labels | None"] = relationship(back_populates="message", cascade="all, delete-orphan")
    reading: Mapped["MessageReading | None"] = relationship(cascade="all, delete-orphan")

    __table_args__ = (
        one_of("door", DOORS),
        one_of("channel", CHANNELS),
        one_of("kept_apart", APART),
        # With what is kept apart in it, so that a walk in order of time need not look at the messages.
        Index("ix_messages_position", "received_at", "id", "kept_apart"),
        Index("ix_messages_reader", "reader_id", "received_at"),
        *(
            _index_where_set(f"ix_messages_{column}", column, column)
            for column in ("page_recipe_id", "rfc_message_id", "answers_message_id", "doubtful_twin_id")
        ),
    )


class RawItem(Row):
    """The whole original of a message, zlib-compressed."""

    __tablename__ = "raw_items"

    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id", ondelete="CASCADE"), primary_key=True)
    media_type: Mapped[str]
    packed: Mapped[bytes] = mapped_column(LargeBinary)


class Photo(Row):
    """A reader's picture: re-encoded, without metadata, at most 1600 px."""

    __tablename__ = "photos"

    id: Mapped[int] = mapped_column(primary_key=True)
    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id", ondelete="CASCADE"), index=True)
    width: Mapped[int]
    height: Mapped[int]
    jpeg: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)
    thumbnail: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)


class MessageReading(Row):
    """What the program makes of one message, with the model that said so."""

    __tablename__ = "readings"

    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id", ondelete="CASCADE"), primary_key=True)
    model_version: Mapped[str] = mapped_column(index=True)
    read_at: Mapped[datetime]
    kind_probabilities: Mapped[dict[str, Any]]
    kinds: Mapped[list[str]]
    outcome_probabilities: Mapped[dict[str, Any]]
    outcome: Mapped[str | None]
    fault_probabilities: Mapped[dict[str, Any]]
    faults: Mapped[list[str]]
    hazard: Mapped[str | None]
    hazard_probability: Mapped[float | None]
    hazard_words: Mapped[list[str]]
    recipe_id: Mapped[int | None] = mapped_column(ForeignKey("recipes.id"))
    recipe_confidence: Mapped[float]
    recipe_also: Mapped[list[str]]
    recipe_why: Mapped[str]
    wants: Mapped[str | None]
    language: Mapped[str]


class HandLabel(Row):
    """A person's correction of one field of what the program read; never overwritten by it."""

    __tablename__ = "hand_labels"

    id: Mapped[int] = mapped_column(primary_key=True)
    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id", ondelete="CASCADE"), index=True)
    field: Mapped[str]
    value: Mapped[dict[str, Any]]
    """{"is": value}, so that "none" can be said too."""
    account_id: Mapped[int | None] = mapped_column(ForeignKey("accounts.id"))
    labelled_at: Mapped[datetime]
    from_random_sample: Mapped[bool] = mapped_column(default=False)
    """Whether it was offered in the week's random sample, and so counts for measuring."""

    __table_args__ = (
        UniqueConstraint("message_id", "field"),
        one_of("field", ("kinds", "outcome", "faults", "hazard", "recipe", "language")),
    )


class Labels(Row):
    """What counts for one message: hand labels over the reading, in columns that can be searched."""

    __tablename__ = "labels"

    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id", ondelete="CASCADE"), primary_key=True)
    received_at: Mapped[datetime]
    """Copied from the message, so that one index serves a kind in order of time."""
    is_made_it: Mapped[bool]
    is_problem: Mapped[bool]
    is_request: Mapped[bool]
    is_question: Mapped[bool]
    is_comment: Mapped[bool]
    is_junk: Mapped[bool]
    outcome: Mapped[str | None]
    failed_probability: Mapped[float]
    """Probability that the report says the dish failed; 0 or 1 where a person said so."""
    problem_probability: Mapped[float]
    hazard: Mapped[str | None]
    recipe_id: Mapped[int | None] = mapped_column(ForeignKey("recipes.id"))
    language: Mapped[str]
    least_sure: Mapped[float]
    """Margin of the least certain kind, from 0 (a coin toss) to 0.5 (certain)."""
    by_hand: Mapped[bool]

    message: Mapped[Message] = relationship(back_populates="labels")
    recipe: Mapped[Recipe | None] = relationship()
    faults: Mapped[list["MessageFault"]] = relationship(cascade="all, delete-orphan")

    __table_args__ = (
        one_of("outcome", OUTCOMES),
        one_of("hazard", HAZARDS),
        *(
            Index(f"ix_labels_{kind}", f"is_{kind}", "received_at", "message_id")
            for kind in ("made_it", "problem", "request", "question", "comment", "junk")
        ),
        Index("ix_labels_hazard", "hazard", "received_at"),
        _index_where_set("ix_labels_any_hazard", "hazard", "received_at", "message_id"),
        Index("ix_labels_recipe", "recipe_id", "received_at"),
        Index("ix_labels_least_sure", "least_sure"),
    )

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds that hold, in the order of `words.KINDS`."""
        return tuple(kind for kind in KINDS if getattr(self, f"is_{kind}"))


class MessageFault(Row):
    """One fault that a message tells of, as it counts."""

    __tablename__ = "message_faults"

    message_id: Mapped[int] = mapped_column(
        ForeignKey("labels.message_id", ondelete="CASCADE"), primary_key=True
    )
    fault: Mapped[str] = mapped_column(primary_key=True)
    probability: Mapped[float]
    recipe_id: Mapped[int | None]
    received_at: Mapped[datetime | None]
    """Both copied from `labels`, so that one index counts what is told of each recipe's page."""

    __table_args__ = (Index("ix_message_faults_told", "fault", "recipe_id", "received_at", "message_id"),)
