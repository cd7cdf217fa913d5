"""The demo site: half a year of an invented recipe site, taken in through the doors that every site has.

It plays on one Monday morning, so that it gives the same digest on any day. Start with `build_demo`.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol
from zoneinfo import ZoneInfo

from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.digest.document import Digest
from inbox.intake.recipes import import_recipes
from inbox.intake.run import RunResult, import_path
from inbox.intake.sources import ImportOptions
from inbox.pipeline.rounds import Kitchen
from inbox.pipeline.weekly import make_digest
from inbox.places import seed_folder
from inbox.records import accounts, migrate
from inbox.records.engine import make_sessions, open_engine
from inbox.records.tables import Message, Recipe
from inbox.replies.whom import no_reply_needed
from inbox.settings import Settings

ZONE = ZoneInfo("Europe/London")
OPENED_AT = datetime(2026, 5, 25, 9, 0, tzinfo=ZONE).astimezone(UTC)
"""When the site's recipes were brought in first."""
CHANGED_AT = datetime(2026, 9, 15, 9, 0, tzinfo=ZONE).astimezone(UTC)
"""When they were brought in again, one of them changed."""
PLAYS_AT = datetime(2026, 11, 23, 7, 30, tzinfo=ZONE).astimezone(UTC)
"""The Monday morning; the last full week is 2026-W47."""

ANSWERED_UNTIL = datetime(2026, 11, 9, 9, 0, tzinfo=ZONE).astimezone(UTC)
"""What was written before has been answered; the replies to write are of the last two weeks."""

DOOR_FILES = ("letters.mbox", "comments.csv", "forms.jsonl", "social.jsonl", "comments_november.csv")
"""What is brought in, in this order; the last one overlaps with the second."""


class Progress(Protocol):
    """Told what is being done, how far it is, and of how much where that is known."""

    def __call__(self, what: str, done: int, of: int | None) -> None:
        """Show it."""


@dataclass(frozen=True)
class DemoSite:
    """The demo site, ready to be looked at.

    Attributes
    ----------
    clock : callable
        Always says the moment at which the demo plays, in UTC.
    imports : tuple of (str, RunResult)
        How each file was taken in.
    digest : Digest
        Of the last full week.
    """

    settings: Settings
    engine: Engine
    clock: Callable[[], datetime]
    imports: tuple[tuple[str, RunResult], ...]
    digest: Digest


def demo_settings(folder: Path) -> Settings:
    """Settings of the demo site."""
    return Settings(
        folder=folder,
        site_name="Harbour Street Suppers",
        site_url="https://harbourstreet.example",
        owner_name="Maren",
        owner_email="maren@harbourstreet.example",
        timezone=ZONE.key,
        country="GB",
    )


def plays_at() -> datetime:
    """Moment at which the demo plays, in UTC."""
    return PLAYS_AT


def build_demo(folder: Path, *, progress: Progress = lambda what, done, of: None) -> DemoSite:
    """Make the demo site in a folder: recipes, imports, reading, themes, ranking, the last week's digest.

    Made again in the same folder it changes nothing.

    Parameters
    ----------
    folder : Path
        Made if missing.
    progress : callable, optional
    """
    settings = demo_settings(folder)
    engine = open_engine(settings.engine_url)
    migrate.upgrade(engine)
    imports = _take_in(settings, engine, progress)
    sessions = make_sessions(engine)
    _open_account(sessions, settings)
    if any(run.stored for _, run in imports):
        _answer_what_is_old(sessions)
    digest = make_digest(sessions, Kitchen(settings), settings, now=PLAYS_AT, tell=progress)
    return DemoSite(settings, engine, plays_at, imports, digest)


def _open_account(sessions: sessionmaker[Session], settings: Settings) -> None:
    """Let the invented owner sign in by a link; she has no password."""
    with sessions.begin() as session:
        if not accounts.has_owner(session):
            accounts.create_account(session, settings.owner_name, "owner", None, now=OPENED_AT)


def _take_in(settings: Settings, engine: Engine, progress: Progress) -> tuple[tuple[str, RunResult], ...]:
    """Bring in the recipes as they stood in May and as they stand, then every file of messages."""
    sessions = make_sessions(engine)
    source = seed_folder() / "demo"
    with sessions.begin() as session:
        if not session.scalar(select(func.count(Recipe.id))):
            import_recipes(session, str(source / "recipes_in_may.json"), now=OPENED_AT)
        import_recipes(session, str(source / "recipes.json"), now=CHANGED_AT)
    options = ImportOptions(
        now=PLAYS_AT, own_addresses=frozenset({settings.owner_email}), zone=settings.zone, day_first=False
    )

    def take(name: str) -> RunResult:
        return import_path(
            sessions,
            source / name,
            options=options,
            progress=lambda done, of: progress(f"Taking in {name}", done, of),
        )

    return tuple((name, take(name)) for name in DOOR_FILES)


def _answer_what_is_old(sessions: sessionmaker[Session]) -> None:
    """Say of all that was written until two weeks ago that it needs no reply any more."""
    with sessions.begin() as session:
        old = session.scalars(select(Message.id).where(Message.received_at < ANSWERED_UNTIL)).all()
        no_reply_needed(session, old, ANSWERED_UNTIL)
