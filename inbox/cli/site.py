"""What every command works on: the settings and the opened ledger of one installation."""

import sys
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import TypeVar

import click
from sqlalchemy import Engine
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InputError
from inbox.records import migrate
from inbox.records.engine import make_sessions, open_engine
from inbox.records.saved import with_saved
from inbox.settings import Settings

Command = TypeVar("Command", bound=Callable[..., object])


class Site:
    """One installation, opened when a command first needs it.

    Parameters
    ----------
    given : Settings
        From options, environment, file and defaults.
    origins : mapping of str to str
        Where each of them came from.
    """

    def __init__(self, given: Settings, origins: Mapping[str, str]) -> None:
        self.given = given
        self.origins = dict(origins)
        self._engine: Engine | None = None

    def open(self, *, make: bool = False) -> Engine:
        """Open the ledger, brought to the newest form of its tables.

        Parameters
        ----------
        make : bool, default=False
            Whether a ledger is made where there is none.

        Raises
        ------
        InputError
            If there is none and `make` is false.
        """
        if self._engine is None:
            file = self.given.folder / "ledger.sqlite3"
            if not make and not self.given.database_url and not file.exists():
                raise InputError(
                    f"There is no ledger in {self.given.folder}; "
                    "run second-batch setup, or say where it is with --folder."
                )
            self._engine = open_engine(self.given.engine_url)
            migrate.upgrade(self._engine)
        return self._engine

    @property
    def sessions(self) -> sessionmaker[Session]:
        """Sessions on the opened ledger."""
        return make_sessions(self.open())

    @cached_property
    def settings(self) -> Settings:
        """Settings as they count, with what the owner saved."""
        with self.sessions() as session:
            return with_saved(session, self.given)

    def now(self) -> datetime:
        """The present moment, in UTC."""
        return datetime.now(UTC)

    def close(self) -> None:
        """Let the database go."""
        if self._engine is not None:
            self._engine.dispose()
            self._engine = None


pass_site = click.make_pass_decorator(Site)

as_json = click.option("--json", "as_json", is_flag=True, help="Print JSON, for a script.")

existing_file = click.Path(exists=True, path_type=Path)


class Progress:
    """A line that moves on a terminal, and nothing in a pipe."""

    def __init__(self, label: str) -> None:
        self._label = label
        self._shown = sys.stderr.isatty()

    def __call__(self, done: int, of: int | None = None) -> None:
        """Say how far the work is."""
        if self._shown:
            share = f" of {of:,}" if of else ""
            click.echo(f"\r{self._label}: {done:,}{share} ", err=True, nl=False)

    def end(self) -> None:
        """Leave the line."""
        if self._shown:
            click.echo("", err=True)
