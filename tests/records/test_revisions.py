"""Changes to recipes, and faults of their pages that are mended, as the owner writes them down."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.revisions import mend, note_revision
from tests.makers import make_recipe

ZONE = ZoneInfo("Pacific/Auckland")


def test_a_change_is_kept_with_its_day_where_the_owner_lives(session: Session, now: datetime) -> None:
    make_recipe(session, slug="tart")

    revision = note_revision(session, "tart", "  Longer  bake ", date(2026, 11, 20), ZONE, now=now)

    assert revision.note == "Longer bake"
    assert revision.made_at == datetime(2026, 11, 19, 23, tzinfo=UTC)
    assert not revision.noticed


@pytest.mark.parametrize(("note", "days"), [("", 0), ("x" * 501, 0), ("fine", 2)])
def test_a_change_without_words_or_ahead_of_time_is_refused(
    session: Session, now: datetime, note: str, days: int
) -> None:
    make_recipe(session, slug="tart")
    with pytest.raises(InputError):
        note_revision(session, "tart", note, (now + timedelta(days=days)).date(), ZONE, now=now)


def test_mending(session: Session, now: datetime) -> None:
    make_recipe(session, slug="tart")

    assert mend(session, "tart", "wrong_amount", " ", now=now).note is None
    assert mend(session, "tart", "question:freezes", "It freezes.", now=now).note == "It freezes."
    with pytest.raises(InputError):
        mend(session, "tart", "sank", None, now=now)
    with pytest.raises(NotFoundError):
        mend(session, "pie", "wrong_amount", None, now=now)
