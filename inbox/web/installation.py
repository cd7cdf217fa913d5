"""What the application holds for its whole life: settings, sessions, the clock, the signing key."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from typing import cast

from flask import current_app
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline.rounds import Kitchen
from inbox.records.engine import make_sessions, reading_sessions
from inbox.records.limits import signing_key
from inbox.settings import Settings

_NAME = "second_batch"


def utc_now() -> datetime:
    """The present moment; tests hand in a clock that stands still."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class Installation:
    """The one thing that the application remembers between requests; only the kitchen's models change."""

    settings: Settings
    engine: Engine
    clock: Callable[[], datetime]
    kitchen: Kitchen

    @cached_property
    def writing(self) -> sessionmaker[Session]:
        """Sessions for requests that may change something."""
        return make_sessions(self.engine)

    @cached_property
    def reading(self) -> sessionmaker[Session]:
        """Sessions for requests that only look."""
        return reading_sessions(self.engine)

    @property
    def is_https(self) -> bool:
        """Whether people reach it by https, so that cookies and headers can insist on it."""
        return self.settings.public_url.startswith("https://")

    def make_key(self) -> str:
        """Signing key from the ledger; one for this process where the ledger cannot be written."""
        try:
            with self.writing.begin() as session:
                return signing_key(session, now=self.clock())
        except DBAPIError:
            return secrets.token_urlsafe(32)


def remember(app: object, installation: Installation) -> None:
    """Attach `installation` to the application."""
    app.extensions[_NAME] = installation  # type: ignore[attr-defined]


def installation() -> Installation:
    """The installation of the application that handles this request."""
    return cast(Installation, current_app.extensions[_NAME])
