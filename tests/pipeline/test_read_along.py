"""What is brought in is read meanwhile, once, and what was under way at a stop waits to be read."""

import time
from collections.abc import Callable
from datetime import datetime

import pytest
from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline.processes import LEAST_WAITING
from inbox.pipeline.read_along import read_along
from inbox.records.engine import make_sessions
from inbox.records.tables import Labels, Message, MessageReading
from tests.makers import make_message
from tests.pipeline.test_read import LiteralReader

GIVE_UP_SECONDS = 60


@pytest.fixture
def sessions(fresh_engine: Engine) -> sessionmaker[Session]:
    return make_sessions(fresh_engine)


def bring(sessions: sessionmaker[Session], count: int) -> None:
    with sessions.begin() as session:
        for number in range(count):
            make_message(session, text="It failed." if number % 3 else "It worked.")


def reading_count(sessions: sessionmaker[Session]) -> int:
    with sessions() as session:
        return session.scalar(select(func.count()).select_from(MessageReading)) or 0


def go_on_until_some_are_read(sessions: sessionmaker[Session], go_on: Callable[[], None]) -> None:
    give_up_at = time.monotonic() + GIVE_UP_SECONDS
    while not reading_count(sessions):
        assert time.monotonic() < give_up_at, "nothing is read while more is brought in"
        go_on()
        time.sleep(0.02)


def test_reading_begins_before_all_is_there(sessions: sessionmaker[Session], now: datetime) -> None:
    bring(sessions, 3)  # was there before, and comes last
    steps: list[tuple[int, int]] = []

    def bring_in(go_on: Callable[[], None]) -> None:
        bring(sessions, LEAST_WAITING)
        go_on_until_some_are_read(sessions, go_on)
        bring(sessions, 100)
        go_on()

    result = read_along(
        sessions, LiteralReader, bring_in, now=now, processes=2, progress=lambda *step: steps.append(step)
    )

    with sessions() as session:
        ids = session.scalars(select(Message.id).order_by(Message.id)).all()
        problems = session.execute(
            select(Labels.is_problem, func.count()).group_by(Labels.is_problem).order_by(Labels.is_problem)
        ).all()
    assert result.new_ids == tuple(ids)
    assert result.read_count == len(ids) == LEAST_WAITING + 103
    assert [tuple(row) for row in problems] == [(False, 1 + 334 + 34), (True, 2 + 666 + 66)]
    assert not steps or steps[-1] == (len(ids), len(ids))


def test_few_are_read_after(sessions: sessionmaker[Session], now: datetime) -> None:
    model = LiteralReader()

    def bring_in(go_on: Callable[[], None]) -> None:
        bring(sessions, 5)
        go_on()
        assert model.told == []

    result = read_along(sessions, lambda: model, bring_in, now=now, processes=2, progress=lambda _d, _o: None)

    assert result.read_count == len(model.told) == 5


def test_a_stop_leaves_the_rest_to_be_read(sessions: sessionmaker[Session], now: datetime) -> None:
    def bring_in(go_on: Callable[[], None]) -> None:
        bring(sessions, LEAST_WAITING + 500)
        go_on_until_some_are_read(sessions, go_on)
        raise InterruptedError

    with pytest.raises(InterruptedError):
        read_along(sessions, LiteralReader, bring_in, now=now, processes=2, progress=lambda _d, _o: None)
    read = reading_count(sessions)
    assert 0 < read < LEAST_WAITING + 500

    def nothing_more(go_on: Callable[[], None]) -> None:
        go_on()

    result = read_along(
        sessions, LiteralReader, nothing_more, now=now, processes=1, progress=lambda _d, _o: None
    )
    assert read + result.read_count == reading_count(sessions) == LEAST_WAITING + 500
