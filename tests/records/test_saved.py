"""What the owner saves counts, under whatever was given from outside."""

from dataclasses import replace
from datetime import datetime

import pytest
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.records.saved import save_settings, saved_settings, with_saved
from inbox.settings import Settings


def test_saved_value_replaces_a_default(session: Session, settings: Settings, now: datetime) -> None:
    save_settings(session, settings, {"site_name": "Crumb & Co", "digest_hour": "6"}, now=now)

    counted = with_saved(session, settings)

    assert (counted.site_name, counted.digest_hour) == ("Crumb & Co", 6)


def test_environment_wins_over_what_was_saved(session: Session, settings: Settings, now: datetime) -> None:
    save_settings(session, settings, {"site_name": "Crumb & Co"}, now=now)

    counted = with_saved(session, replace(settings, given=frozenset({"site_name"})))

    assert counted.site_name == "Test kitchen"


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        ({"site_name": "x", "digest_hour": "25"}, "digest_hour is 25"),
        ({"digest_hour": "early"}, "digest_hour from the settings page is 'early'"),
        ({"timezone": "Mars/Base"}, "timezone is 'Mars/Base'"),
        ({"database_url": "sqlite://"}, "database_url cannot be changed here"),
    ],
)
def test_all_or_nothing(
    session: Session, settings: Settings, now: datetime, values: dict[str, str], reason: str
) -> None:
    with pytest.raises(InputError, match=reason):
        save_settings(session, settings, values, now=now)

    assert saved_settings(session) == {}
