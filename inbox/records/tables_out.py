"""The tables of the ledger about themes, replies, digests, and those who run the service."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Index, LargeBinary, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from inbox.records.base import Row, one_of
from inbox.records.tables import Message, Reader, Recipe
from inbox.words import REPLY_STATES, ROLES, SHELVES, STANDINGS


class Theme(Row):
    """One thing that readers ask for. Its number never changes."""

    __tablename__ = "themes"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    named_by_hand: Mapped[bool] = mapped_column(default=False)
    facets: Mapped[dict[str, Any]]
    shelf: Mapped[str] = mapped_column(default="open", index=True)
    shelf_reason: Mapped[str | None]
    shelf_at: Mapped[datetime | None]
    bench_due_on: Mapped[date | None]
    recipe_id: Mapped[int | None] = mapped_column(ForeignKey("recipes.id"))
    """The recipe that was published for it."""
    effort: Mapped[float | None]
    """Owner's own estimate of the work, in days."""
    occasion: Mapped[str | None]
    coverage: Mapped[float] = mapped_column(default=0.0)
    covered_by_id: Mapped[int | None] = mapped_column(ForeignKey("recipes.id"))
    coverage_why: Mapped[str | None]
    merged_into_id: Mapped[int | None] = mapped_column(ForeignKey("themes.id"))
    created_at: Mapped[datetime]

    recipe: Mapped[Recipe | None] = relationship(foreign_keys=[recipe_id])
    covered_by: Mapped[Recipe | None] = relationship(foreign_keys=[covered_by_id])

    __table_args__ = (one_of("shelf", SHELVES),)


class ThemeMember(Row):
    """A request's place in a theme; put there by the program, or by a person and then for good."""

    __tablename__ = "theme_members"

    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id", ondelete="CASCADE"), primary_key=True)
    theme_id: Mapped[int] = mapped_column(ForeignKey("themes.id"), index=True)
    by_hand: Mapped[bool] = mapped_column(default=False)
    similarity: Mapped[float]
    doubtful: Mapped[bool] = mapped_column(default=False)
    typical_rank: Mapped[int | None]
    """1 for the most typical words of the theme, 2 and 3 for the next; else nothing."""
    joined_at: Mapped[datetime]

    theme: Mapped[Theme] = relationship()
    message: Mapped[Message] = relationship()


class RequestSketch(Row):
    """A request made ready for comparison; kept, since making it costs a pass through the encoder."""

    __tablename__ = "request_sketches"

    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id", ondelete="CASCADE"), primary_key=True)
    made_by: Mapped[str]
    """Version of the code and tables that made it; another one makes it anew."""
    packed: Mapped[str] = mapped_column(deferred=True)


class ThemeRefusal(Row):
    """A person's word that a request does not belong to a theme."""

    __tablename__ = "theme_refusals"

    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id", ondelete="CASCADE"), primary_key=True)
    theme_id: Mapped[int] = mapped_column(ForeignKey("themes.id"), primary_key=True)


class ThemesApart(Row):
    """A person's word that two themes are not the same; the lower number stands first."""

    __tablename__ = "themes_apart"

    theme_id: Mapped[int] = mapped_column(ForeignKey("themes.id"), primary_key=True)
    other_id: Mapped[int] = mapped_column(ForeignKey("themes.id"), primary_key=True)

    __table_args__ = (CheckConstraint("theme_id < other_id", name="in_order"),)


class ThemeRank(Row):
    """Where a theme stood in the ranking when it was last computed."""

    __tablename__ = "theme_ranks"

    theme_id: Mapped[int] = mapped_column(ForeignKey("themes.id", ondelete="CASCADE"), primary_key=True)
    ranked_at: Mapped[datetime]
    place: Mapped[int] = mapped_column(index=True)
    score: Mapped[float]
    reader_count: Mapped[int]
    in_words: Mapped[str]
    details: Mapped[dict[str, Any]]
    """The whole `ranking.demand.RankedTheme`: parts, interval, trend, share of draws in the first five."""

    theme: Mapped[Theme] = relationship()


class RecipeStanding(Row):
    """How a recipe did when it was last judged."""

    __tablename__ = "recipe_standings"

    recipe_id: Mapped[int] = mapped_column(ForeignKey("recipes.id", ondelete="CASCADE"), primary_key=True)
    judged_at: Mapped[datetime]
    standing: Mapped[str] = mapped_column(index=True)
    share: Mapped[float]
    low: Mapped[float]
    high: Mapped[float]
    reader_count: Mapped[int]
    failed_count: Mapped[float]
    in_words: Mapped[str]
    details: Mapped[dict[str, Any]]
    """The whole `ranking.health.RecipeHealth` with spikes, faults, causes, revisions and changes."""

    recipe: Mapped[Recipe] = relationship()

    __table_args__ = (one_of("standing", STANDINGS),)


class Reply(Row):
    """An answer to a message."""

    __tablename__ = "replies"

    id: Mapped[int] = mapped_column(primary_key=True)
    message_id: Mapped[int | None] = mapped_column(ForeignKey("messages.id"), index=True)
    reader_id: Mapped[int | None] = mapped_column(ForeignKey("readers.id"), index=True)
    telling_id: Mapped[int | None] = mapped_column(ForeignKey("tellings.id"), index=True)
    also_answers: Mapped[list[int]] = mapped_column(default=list)
    """Further messages of the same reader about the same thing."""
    state: Mapped[str] = mapped_column(index=True)
    to_address: Mapped[str | None]
    subject: Mapped[str]
    body: Mapped[str]
    rfc_message_id: Mapped[str | None] = mapped_column(unique=True)
    in_reply_to: Mapped[str | None]
    references: Mapped[list[str]] = mapped_column(default=list)
    created_at: Mapped[datetime]
    changed_at: Mapped[datetime]
    pressed_at: Mapped[datetime | None]
    pressed_by_id: Mapped[int | None] = mapped_column(ForeignKey("accounts.id"))
    leaves_at: Mapped[datetime | None]
    """When the hold ends in which it can be taken back."""
    sent_at: Mapped[datetime | None]
    came_back_at: Mapped[datetime | None]
    trouble: Mapped[str | None]

    message: Mapped[Message | None] = relationship(foreign_keys=[message_id])
    reader: Mapped[Reader | None] = relationship()

    __table_args__ = (
        one_of("state", REPLY_STATES),
        UniqueConstraint("telling_id", "reader_id"),
        Index("ix_replies_leaving", "state", "leaves_at"),
    )


class Phrase(Row):
    """Words that the owner saves to use again in replies, with fields in braces."""

    __tablename__ = "phrases"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    body: Mapped[str]
    changed_at: Mapped[datetime]


class Telling(Row):
    """The owner's note to those who asked to be told that a theme is published."""

    __tablename__ = "tellings"

    id: Mapped[int] = mapped_column(primary_key=True)
    theme_id: Mapped[int] = mapped_column(ForeignKey("themes.id"), unique=True)
    body: Mapped[str]
    written_at: Mapped[datetime]


class DigestRow(Row):
    """One week's findings, frozen when built."""

    __tablename__ = "digests"

    id: Mapped[int] = mapped_column(primary_key=True)
    week: Mapped[str] = mapped_column(unique=True)
    built_at: Mapped[datetime]
    document: Mapped[dict[str, Any]]
    mailed_at: Mapped[datetime | None]


class Alert(Row):
    """A hazard or a sudden failure that the owner is told of at once."""

    __tablename__ = "alerts"

    id: Mapped[int] = mapped_column(primary_key=True)
    subject: Mapped[str] = mapped_column(unique=True)
    """What it is about, so that it is told once: "hazard:17" or "spike:4:2026-W47"."""
    message_id: Mapped[int | None] = mapped_column(ForeignKey("messages.id", ondelete="CASCADE"), index=True)
    recipe_id: Mapped[int | None] = mapped_column(ForeignKey("recipes.id"))
    words: Mapped[str]
    raised_at: Mapped[datetime]
    mailed_at: Mapped[datetime | None]
    dealt_with_at: Mapped[datetime | None]


class HazardTick(Row):
    """A point of a hazard's check list that somebody has looked at."""

    __tablename__ = "hazard_ticks"

    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id", ondelete="CASCADE"), primary_key=True)
    point: Mapped[str] = mapped_column(primary_key=True)
    """The words that were ticked; reworded, the point is open again."""
    account_id: Mapped[int | None] = mapped_column(ForeignKey("accounts.id"))
    ticked_at: Mapped[datetime]


class Mended(Row):
    """The owner's word that a fault of a recipe's page is mended, or a question answered on it."""

    __tablename__ = "mended"

    id: Mapped[int] = mapped_column(primary_key=True)
    recipe_id: Mapped[int] = mapped_column(ForeignKey("recipes.id", ondelete="CASCADE"), index=True)
    what: Mapped[str]
    """A fault code, or "question:" and the question in the owner's words."""
    note: Mapped[str | None]
    mended_at: Mapped[datetime]
    message_ids: Mapped[list[int] | None]
    """For a question: the messages that had asked it by then, so that the same question is known again."""


class PageFault(Row):
    """How often readers told of a fault of a recipe's page since it was mended (`records.page_faults`)."""

    __tablename__ = "page_faults"

    recipe_id: Mapped[int] = mapped_column(ForeignKey("recipes.id", ondelete="CASCADE"), primary_key=True)
    fault: Mapped[str] = mapped_column(primary_key=True)
    told_count: Mapped[int] = mapped_column(index=True)


class Account(Row):
    """Somebody who may sign in."""

    __tablename__ = "accounts"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    role: Mapped[str]
    password_hash: Mapped[str | None]
    created_at: Mapped[datetime]
    closed_at: Mapped[datetime | None]
    code_secret: Mapped[str | None]
    """What the person's phone makes codes of, in base 32; empty where a sign-in asks for no code."""
    code_step: Mapped[int | None]
    """The last time step whose code was used; it and those before it are used up."""

    __table_args__ = (one_of("role", ROLES),)


class SpareCode(Row):
    """A code to sign in with once, without the phone; kept only as a hash."""

    __tablename__ = "spare_codes"

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id", ondelete="CASCADE"), index=True)
    code_hash: Mapped[str] = mapped_column(unique=True)
    made_at: Mapped[datetime]
    used_at: Mapped[datetime | None]


class DoorNote(Row):
    """What happened at the door with one account; kept for a while (`door_book.KEPT_DAYS`)."""

    __tablename__ = "door_notes"

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id", ondelete="CASCADE"))
    what: Mapped[str]
    happened_at: Mapped[datetime]
    known_browser: Mapped[bool]

    __table_args__ = (Index("ix_door_notes_newest", "account_id", "happened_at"),)


class SignIn(Row):
    """A sign-in that is in force; its token is kept only as a hash, and it can be revoked."""

    __tablename__ = "sign_ins"

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id", ondelete="CASCADE"), index=True)
    token_hash: Mapped[str] = mapped_column(unique=True)
    once: Mapped[bool] = mapped_column(default=False)
    """A one-time link rather than a session."""
    created_at: Mapped[datetime]
    seen_at: Mapped[datetime]
    ends_at: Mapped[datetime]

    account: Mapped[Account] = relationship()


class UndoStep(Row):
    """What some labels were before a person changed them, for as long as it can be undone."""

    __tablename__ = "undo_steps"

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id", ondelete="CASCADE"), index=True)
    made_at: Mapped[datetime]
    before: Mapped[dict[str, Any]]


class Attempt(Row):
    """A try at a door that is limited: a sign-in or a form post, by hashed sender; kept for a day."""

    __tablename__ = "attempts"

    id: Mapped[int] = mapped_column(primary_key=True)
    door: Mapped[str]
    sender_hash: Mapped[str]
    tried_at: Mapped[datetime]

    __table_args__ = (Index("ix_attempts_sender", "door", "sender_hash", "tried_at"),)


class JobRun(Row):
    """The claim of one process on one job and period; unique, so that it is done once."""

    __tablename__ = "job_runs"

    id: Mapped[int] = mapped_column(primary_key=True)
    job: Mapped[str]
    period: Mapped[str]
    claimed_by: Mapped[str]
    started_at: Mapped[datetime]
    finished_at: Mapped[datetime | None]
    trouble: Mapped[str | None]

    __table_args__ = (UniqueConstraint("job", "period"),)


class LongWork(Row):
    """Work that takes a while (an import, a regrouping): asked for, going on, done or stopped."""

    __tablename__ = "long_work"

    id: Mapped[int] = mapped_column(primary_key=True)
    what: Mapped[str]
    arguments: Mapped[dict[str, Any]]
    asked_at: Mapped[datetime]
    started_at: Mapped[datetime | None]
    seen_alive_at: Mapped[datetime | None]
    finished_at: Mapped[datetime | None]
    stop_asked_at: Mapped[datetime | None]
    done_count: Mapped[int] = mapped_column(default=0)
    of_count: Mapped[int | None]
    result: Mapped[str | None]
    trouble: Mapped[str | None]


class Learning(Row):
    """One try at learning from hand labels: what was learned from, and whether the result was taken."""

    __tablename__ = "learnings"

    id: Mapped[int] = mapped_column(primary_key=True)
    tried_at: Mapped[datetime]
    taken: Mapped[bool]
    label_count: Mapped[int]
    right_before: Mapped[float]
    right_after: Mapped[float]
    """Macro-F1 of kinds in cross-validation on the hand-labelled messages, from 0 to 1."""
    labels: Mapped[dict[str, Any]]
    """Number of each message with its labels as they were learned; no words of readers."""


class UploadPiece(Row):
    """A piece of a file that was handed in for long work; in the ledger, so that any worker can do it."""

    __tablename__ = "upload_pieces"

    work_id: Mapped[int] = mapped_column(ForeignKey("long_work.id", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)
    content: Mapped[bytes] = mapped_column(LargeBinary)


class SavedSetting(Row):
    """A setting that the owner changed on the settings page."""

    __tablename__ = "saved_settings"

    name: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[str]
    changed_at: Mapped[datetime]


class Columns(Row):
    """How the columns of a table from one source are to be read, remembered for the next export."""

    __tablename__ = "columns"

    source: Mapped[str] = mapped_column(primary_key=True)
    """Hash of the table's heads."""
    mapping: Mapped[dict[str, Any]]
    changed_at: Mapped[datetime]


class Mention(Row):
    """Somebody's word that a page of theirs links to one of the owner's; verified before it counts."""

    __tablename__ = "mentions"

    id: Mapped[int] = mapped_column(primary_key=True)
    source: Mapped[str]
    target: Mapped[str]
    state: Mapped[str] = mapped_column(default="waiting", index=True)
    received_at: Mapped[datetime]
    checked_at: Mapped[datetime | None]
    tried_count: Mapped[int] = mapped_column(default=0)
    reason: Mapped[str | None]
    message_id: Mapped[int | None] = mapped_column(ForeignKey("messages.id", ondelete="SET NULL"), index=True)

    __table_args__ = (
        one_of("state", ("waiting", "verified", "refused", "gone")),
        UniqueConstraint("source", "target"),
    )
