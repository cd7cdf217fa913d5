"""Settings that the owner changed on the settings page; they lie in the ledger, for all workers."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.records.tables_out import SavedSetting
from inbox.settings import Settings, owner_settings, parse_setting

_SAVED = select(SavedSetting.name, SavedSetting.value)


def saved_settings(session: Session) -> dict[str, str]:
    """Names and texts of all that was saved, private values of the program included."""
    return dict(session.connection().execute(_SAVED).all())


def with_saved(session: Session, settings: Settings) -> Settings:
    """Settings as they count: what was given from outside, then what the owner saved, then the defaults."""
    return settings.with_saved(saved_settings(session))


def save_settings(session: Session, settings: Settings, values: Mapping[str, str], *, now: datetime) -> None:
    """Keep what the owner typed, all of it or nothing.

    Raises
    ------
    InputError
        If a name is not the owner's to change, or a value cannot be used; the message names it.
    """
    for name in values:
        if name not in owner_settings():
            raise InputError(f"Setting {name} cannot be changed here; see README.md, Settings.")
        parse_setting(name, values[name])
    settings.with_saved(values)
    for name, value in values.items():
        keep(session, name, value, now=now)


def keep(session: Session, name: str, value: str, *, now: datetime) -> None:
    """Write one row, over the one that is there."""
    row = session.get(SavedSetting, name)
    if row is None:
        session.add(SavedSetting(name=name, value=value, changed_at=now))
    else:
        row.value, row.changed_at = value, now
    session.flush()
