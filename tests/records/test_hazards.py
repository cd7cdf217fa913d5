"""A hazard waits before everything else until the owner says that it is dealt with."""

from datetime import datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.records.hazards import WAITS_DAYS, count_waiting, deal_with, tick, ticks_of
from inbox.records.settle import set_hand_label
from inbox.records.tables_out import Alert
from tests.makers import make_message


def _hazard(session: Session, at: datetime) -> int:
    message = make_message(session, received_at=at)
    set_hand_label(session, message.id, "hazard", "allergen", account_id=None, now=at)
    return message.id


def test_it_waits_until_dealt_with_and_can_wait_again(any_session: Session, now: datetime) -> None:
    number = _hazard(any_session, now - timedelta(days=1))
    _hazard(any_session, now - timedelta(days=WAITS_DAYS + 1))

    assert count_waiting(any_session, now=now) == 1
    deal_with(any_session, number, done=True, now=now)
    assert count_waiting(any_session, now=now) == 0
    deal_with(any_session, number, done=False, now=now)
    assert count_waiting(any_session, now=now) == 1


def test_an_alert_that_was_raised_is_used(session: Session, now: datetime) -> None:
    number = _hazard(session, now)
    session.add(Alert(subject=f"hazard:{number}", message_id=number, words="x", raised_at=now))
    session.flush()

    deal_with(session, number, done=True, now=now)

    assert session.query(Alert).count() == 1


def test_a_message_without_hazard_is_not_dealt_with(session: Session, now: datetime) -> None:
    with pytest.raises(NotFoundError):
        deal_with(session, make_message(session).id, done=True, now=now)


def test_who_ticked_first_and_when_stays(any_session: Session, now: datetime) -> None:
    number = _hazard(any_session, now)
    points, later = ["Look at the label.", "Tell the readers."], now + timedelta(hours=1)

    tick(any_session, number, points, {points[0]}, account_id=None, now=now)
    tick(any_session, number, points, set(points), account_id=None, now=later)
    assert {row.point: row.ticked_at for row in ticks_of(any_session, [number])} == {
        points[0]: now,
        points[1]: later,
    }

    tick(any_session, number, points, {points[1]}, account_id=None, now=later)
    assert [row.point for row in ticks_of(any_session, [number])] == [points[1]]
