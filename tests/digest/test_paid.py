"""What came of a published theme, from the ledger to the page and the digest."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from inbox.digest.paid import load_paid, paid_lines
from inbox.records.settle import set_hand_label
from inbox.records.tables import Message, Recipe
from inbox.records.tables_out import Reply, Telling, ThemeMember
from tests.makers import make_message, make_reader, make_recipe, make_theme

SHELVED = datetime(2026, 10, 1, 12, tzinfo=UTC)


def reported(session: Session, recipe: Recipe, outcome: str, at: datetime, **facts: object) -> Message:
    message = make_message(session, received_at=at, **facts)
    for field, value in {"kinds": ["made_it"], "outcome": outcome, "recipe": recipe.slug}.items():
        set_hand_label(session, message.id, field, value, account_id=None, now=at)
    return message


def test_only_reports_since_publishing_by_those_who_asked(session: Session) -> None:
    recipe = make_recipe(session)
    theme = make_theme(session, shelf="published", shelf_at=SHELVED, recipe_id=recipe.id)
    ada, ben = make_reader(session), make_reader(session, email=None, channel="comment", handle="ben")
    before, after = SHELVED - timedelta(days=30), SHELVED + timedelta(days=7)
    asked = [
        make_message(session, reader_id=ada.id, received_at=before, tell_me=True, text="A gf loaf please"),
        make_message(session, reader_id=ben.id, received_at=before),
        make_message(session, received_at=after),
    ]
    for message in asked:
        session.add(
            ThemeMember(
                message_id=message.id, theme_id=theme.id, similarity=1.0, joined_at=message.received_at
            )
        )
    telling = Telling(theme_id=theme.id, body="It is there", written_at=SHELVED)
    session.add(telling)
    session.flush()
    sent = {
        "state": "sent",
        "subject": "It is there",
        "body": "",
        "created_at": SHELVED,
        "changed_at": SHELVED,
    }
    session.add(Reply(message_id=asked[0].id, reader_id=ada.id, telling_id=telling.id, **sent))
    reported(session, recipe, "failed", before, reader_id=ada.id)
    worked = reported(session, recipe, "worked", after, reader_id=ada.id)
    other = reported(session, recipe, "failed", after)

    (found,) = load_paid(session, ZoneInfo("Europe/Berlin"))

    assert (found.paid.asked_count, found.paid.unmatched_count) == (3, 2)
    assert found.paid.askers.message_ids["worked"] == [worked.id]
    assert found.paid.askers.count == 1
    assert found.paid.others.message_ids["failed"] == [other.id]
    assert (found.wished_to_hear.count, found.told.count) == (1, 1)
    assert found.told.message_ids == (asked[0].id,)
    (line,) = paid_lines(session, ZoneInfo("UTC"), SHELVED, after)
    assert line.figure is not None
    assert line.figure.message_ids == (worked.id,)
    assert paid_lines(session, ZoneInfo("UTC"), after, after + timedelta(days=7)) == []
