"""Changes to recipes, and faults of their pages that are mended, as the owner writes them down."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.revisions import answer_question, mend, note_revision, unmend
from inbox.records.settle import set_hand_label
from inbox.records.tables_out import Mended
from tests.makers import make_message, make_recipe

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
    with pytest.raises(InputError):
        mend(session, "tart", "sank", None, now=now)
    with pytest.raises(NotFoundError):
        mend(session, "pie", "wrong_amount", None, now=now)


def test_an_answered_question_remembers_who_asked_and_can_be_opened_again(
    session: Session, now: datetime
) -> None:
    make_recipe(session, slug="tart")
    asked, elsewhere = make_message(session).id, make_message(session).id
    for field, value in {"kinds": ["question"], "recipe": "tart"}.items():
        set_hand_label(session, asked, field, value, account_id=None, now=now)
    day = now.astimezone(ZONE).date()

    row = answer_question(
        session, "tart", " Can it  freeze? ", "Yes.", [asked, elsewhere], day, ZONE, now=now
    )

    assert (row.what, row.note, row.message_ids) == ("question:Can it freeze?", "Yes.", [asked])
    assert row.mended_at <= now
    unmend(session, "tart", row.id)
    assert session.get(Mended, row.id) is None
    with pytest.raises(NotFoundError):
        unmend(session, "tart", row.id)


@pytest.mark.parametrize(
    ("question", "note", "days", "words"),
    [
        (" ", "Yes.", 0, "what is asked"),
        ("Can it freeze?", "", 0, "what you added"),
        ("Can it freeze?", "Yes.", 2, "lies ahead"),
        ("Can it freeze?", "Yes.", 0, "not about this recipe"),
    ],
)
def test_an_answer_that_lacks_something_says_what(
    session: Session, now: datetime, question: str, note: str, days: int, words: str
) -> None:
    make_recipe(session, slug="tart")
    day = now.astimezone(ZONE).date() + timedelta(days=days)

    with pytest.raises(InputError, match=words):
        answer_question(session, "tart", question, note, [make_message(session).id], day, ZONE, now=now)
