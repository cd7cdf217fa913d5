"""The week's random sample: fair, the same whoever asks, and not shuffled by what comes in late."""

from collections import Counter
from datetime import timedelta

import pytest
from sqlalchemy import update
from sqlalchemy.orm import Session

from inbox.calendar import Week
from inbox.pipeline.checking import SAMPLE_COUNT, measured, week_sample
from inbox.records.settle import settle
from inbox.records.tables import Message
from inbox.settings import Settings
from tests.makers import make_message
from tests.records.test_settle import add_reading

FIRST = Week.parse("2024-W01")


def fill(session: Session, settings: Settings, week: Week, count: int, **facts: object) -> list[int]:
    """So many messages of a week, read unless they are kept apart."""
    begin = week.start_at(settings.zone)
    ids = [
        make_message(session, received_at=begin + timedelta(minutes=minute), **facts).id
        for minute in range(count)
    ]
    for number in ids:
        add_reading(session, number)
    return ids


def test_the_sample_is_of_the_week_and_the_same_for_all(any_session: Session, settings: Settings) -> None:
    fill(any_session, settings, FIRST, 15)
    ids = fill(any_session, settings, FIRST.following(), 60)

    sample = week_sample(any_session, FIRST.following(), settings)

    assert sample == week_sample(any_session, FIRST.following(), settings)
    assert len(set(sample)) == SAMPLE_COUNT
    assert sample == sorted(set(sample) & set(ids))


def test_what_no_reader_wrote_or_is_not_read_is_not_drawn(session: Session, settings: Settings) -> None:
    fill(session, settings, FIRST, 200, kept_apart="newsletter")
    read = fill(session, settings, FIRST, 4)
    make_message(session, received_at=FIRST.start_at(settings.zone))

    assert week_sample(session, FIRST, settings) == read


def test_a_late_message_takes_one_place_at_most(session: Session, settings: Settings) -> None:
    fill(session, settings, FIRST, 30)
    before = week_sample(session, FIRST, settings)
    late = fill(session, settings, FIRST, 1)

    after = week_sample(session, FIRST, settings)

    assert len(set(before) - set(after)) <= 1
    assert set(after) <= {*before, *late}


def test_every_message_is_drawn_as_often_as_another(session: Session, settings: Settings) -> None:
    """Over 400 weeks of 40 messages with the same numbers; 8.7 is the standard deviation of one count."""
    ids = fill(session, settings, FIRST, 40)
    week, drawn, together = FIRST, Counter[int](), Counter[bool]()
    for _ in range(400):
        sample = week_sample(session, week, settings)
        drawn.update(sample)
        together.update(ids[at] in sample and ids[at + 1] in sample for at in range(39))
        week = week.following()
        session.execute(update(Message).values(received_at=week.start_at(settings.zone)))

    assert len(drawn) == 40
    assert all(abs(count - 100) < 4 * 8.7 for count in drawn.values())
    assert together[True] / together.total() == pytest.approx(10 / 40 * 9 / 39, abs=0.01)


def test_the_last_weeks_kinds_are_counted(any_session: Session, settings: Settings) -> None:
    for week, kinds in (
        (FIRST, ["problem"]),
        (FIRST.following(), ["made_it", "problem"]),
        (FIRST.following(), ["made_it"]),
        (FIRST.following(), ["junk"]),
        (FIRST.following().following(), ["made_it"]),
    ):
        message = make_message(any_session, received_at=week.start_at(settings.zone))
        add_reading(any_session, message.id, kinds=kinds)
        settle(any_session, [message.id])
    now = FIRST.following().following().start_at(settings.zone) + timedelta(hours=1)

    counted = {one.kind: one.counted for one in measured(any_session, settings, now=now)}

    assert counted == {"made_it": 2, "problem": 1, "request": 0, "question": 0, "comment": 0, "junk": 1}
