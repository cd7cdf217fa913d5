"""Hand labels lead to another model, for all workers, only if it is at least as right."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline import learning, rounds
from inbox.pipeline.long_work import ask, ask_to_stop, do_next
from inbox.pipeline.rounds import Kitchen
from inbox.pipeline.works import READ_AGAIN, REGROUP, works
from inbox.reading import saved
from inbox.reading.training import seed_messages
from inbox.records.accounts import create_account
from inbox.records.engine import make_sessions, open_engine
from inbox.records.settle import set_hand_label
from inbox.records.tables import Labels, Message, MessageReading
from inbox.records.tables_out import Learning, LongWork
from inbox.settings import Settings
from tests.makers import make_message

LONDON = ZoneInfo("Europe/London")


@pytest.fixture
def sessions(fresh_engine: Engine) -> sessionmaker[Session]:
    return make_sessions(fresh_engine)


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def either(request: pytest.FixtureRequest) -> Iterator[sessionmaker[Session]]:
    """Sessions on an empty ledger, on each database in turn."""
    if request.param == "sqlite":
        yield make_sessions(request.getfixturevalue("fresh_engine"))
        return
    engine = open_engine(request.getfixturevalue("fresh_postgres_url"))
    yield make_sessions(engine)
    engine.dispose()


@pytest.fixture(autouse=True)
def few_shipped(monkeypatch: pytest.MonkeyPatch) -> None:
    every = seed_messages()
    monkeypatch.setattr(saved, "seed_messages", lambda: every[::15])


def say_by_hand(
    session: Session, count: int, now: datetime, kinds: tuple[str, ...] = ("comment",)
) -> list[int]:
    """Messages that the shipped ones would take for requests, put right by hand."""
    numbers = []
    for at in range(count):
        message = make_message(session, text=f"Please zucchini {at}", received_at=now)
        set_hand_label(session, message.id, "kinds", [kinds[at % len(kinds)]], account_id=None, now=now)
        numbers.append(message.id)
    return numbers


def do(
    sessions: sessionmaker[Session], settings: Settings, kitchen: Kitchen, what: str, now: datetime
) -> str:
    with sessions.begin() as session:
        number = ask(session, what, {}, now=now)
    do_next(sessions, works(sessions, kitchen, settings, clock=lambda: now), clock=lambda: now)
    with sessions() as session:
        row = session.get_one(LongWork, number)
        assert row.trouble is None
        return row.result or ""


def test_what_helps_is_taken_by_all_workers_and_all_is_read_again(
    either: sessionmaker[Session], settings: Settings, now: datetime
) -> None:
    sessions = either
    with sessions.begin() as session:
        labelled = say_by_hand(session, 24, now)
        unlabelled = make_message(session, text="Please zucchini as well", received_at=now).id
        hazard_by_hand = make_message(session, text="Please zucchini for the ovens", received_at=now).id
        set_hand_label(session, hazard_by_hand, "hazard", "pet", account_id=None, now=now)
    one, other = Kitchen(settings), Kitchen(settings)
    do(sessions, settings, one, READ_AGAIN, now)
    before = other.model(sessions)
    assert one.model(sessions).version == before.version
    with sessions() as session:
        assert "request" in session.get_one(Labels, unlabelled).kinds

    said = do(sessions, settings, one, learning.LEARN, now)

    assert "The new model is in use." in said
    assert "Read 26 messages" in said
    after = other.model(sessions)
    assert after.version != before.version
    assert after.version == one.model(sessions).version == Kitchen(settings).model(sessions).version
    with sessions() as session:
        row = session.scalars(select(Learning)).one()
        assert (row.taken, row.label_count, row.tried_at) == (True, 24, now)
        assert row.right_after >= row.right_before
        assert f"{100 * row.right_before:.1f} of 100 before, {100 * row.right_after:.1f} of 100 with" in said
        assert set(session.scalars(select(MessageReading.model_version))) == {after.version}
        assert session.get_one(Labels, unlabelled).kinds == ("comment",)
        assert session.get_one(Labels, hazard_by_hand).hazard == "pet"
        assert session.get_one(Labels, labelled[0]).kinds == ("comment",)
        at_hand = Kitchen(settings).model_at_hand(session)
        assert at_hand is not None
        assert at_hand.version == after.version

    # Begun again after a kill it goes on with the reading, and learns nothing twice.
    again = do(sessions, settings, Kitchen(settings), learning.LEARN, now + timedelta(days=1))
    assert "Read 0 messages" in again
    with sessions() as session:
        assert len(session.scalars(select(Learning.id)).all()) == 1


WORDS = "walnut barley saffron lentil mango turnip rhubarb sesame pistachio okra fennel quince".split()


def test_what_harms_is_refused_in_plain_words(
    either: sessionmaker[Session], settings: Settings, now: datetime
) -> None:
    # Each wish stands there twice, put right once as a wish and once as a remark. Of a pair one lies in the
    # quarter that is tested and the other among those learned from, so that what is learned is always wrong.
    sessions, kitchen = either, Kitchen(settings)
    with sessions.begin() as session:
        for word in WORDS:
            for kind in ("request", "comment"):
                said = f"Please could you make a recipe with {word}? {word} {word}, please!"
                message = make_message(session, text=said, received_at=now)
                set_hand_label(session, message.id, "kinds", [kind], account_id=None, now=now)
    before = kitchen.model(sessions).version

    said = do(sessions, settings, kitchen, learning.LEARN, now)

    with sessions() as session:
        row = session.scalars(select(Learning)).one()
        assert (row.taken, row.label_count) == (False, 2 * len(WORDS))
        assert row.right_after < row.right_before
        assert said == (
            f"Tried to learn from 24 messages put right by hand; how right it is on them: "
            f"{100 * row.right_before:.1f} of 100 before, {100 * row.right_after:.1f} of 100 with them. "
            "That is less right, so the model in use stays."
        )
        assert learning.new_label_count(session) == 0
    assert kitchen.model(sessions).version == before == Kitchen(settings).model(sessions).version


def test_readers_words_are_taken_while_the_model_is_trained(
    sessions: sessionmaker[Session], settings: Settings, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    def train(_folder: object, _labelled: object) -> object:
        with sessions.begin() as session:
            make_message(session, text="It sank.", received_at=now)
        return object()

    monkeypatch.setattr(rounds, "load_or_train", train)
    Kitchen(settings).model(sessions)
    with sessions() as session:
        assert session.scalars(select(Message.text)).all() == ["It sank."]


def test_too_few_are_said_to_be_too_few(
    sessions: sessionmaker[Session], settings: Settings, now: datetime
) -> None:
    with sessions.begin() as session:
        say_by_hand(session, 3, now)
        number = ask(session, learning.LEARN, {}, now=now)
    do_next(sessions, works(sessions, Kitchen(settings), settings, clock=lambda: now), clock=lambda: now)
    with sessions() as session:
        assert "there are 3" in (session.get_one(LongWork, number).trouble or "")


def test_stopped_between_two_trainings_it_changes_nothing(
    sessions: sessionmaker[Session], settings: Settings, now: datetime
) -> None:
    with sessions.begin() as session:
        say_by_hand(session, 20, now)
        number = ask(session, learning.LEARN, {}, now=now)
    kinds = works(sessions, Kitchen(settings), settings, clock=lambda: now)
    learn = kinds[learning.LEARN]

    def stopped_early(arguments: object, upload: Path | None, tell: object) -> str:
        with sessions.begin() as session:
            ask_to_stop(session, number, now=now)
        return learn(arguments, upload, tell)  # type: ignore[arg-type]

    do_next(sessions, {learning.LEARN: stopped_early}, clock=lambda: now)
    with sessions() as session:
        assert (session.get_one(LongWork, number).result or "").startswith("Stopped")
        assert session.scalars(select(Learning)).all() == []


@pytest.mark.parametrize(
    ("count", "hour", "after", "due"),
    [(24, 14, 25, False), (25, 14, 25, True), (24, 3, 25, True), (25, 14, 0, False), (19, 3, 5, False)],
)
def test_when_it_is_time(
    sessions: sessionmaker[Session], now: datetime, count: int, hour: int, after: int, due: bool
) -> None:
    at = now.astimezone(LONDON).replace(hour=hour)
    with sessions.begin() as session:
        say_by_hand(session, count, now)
        asked = learning.ask_if_due(session, after=after, zone=LONDON, now=at)
        assert (asked is not None) is due
        assert learning.ask_if_due(session, after=after, zone=LONDON, now=at) is None


def test_once_a_day_and_only_after_new_labels(sessions: sessionmaker[Session], now: datetime) -> None:
    with sessions.begin() as session:
        numbers = say_by_hand(session, 30, now)
        first = learning.ask_if_due(session, after=25, zone=LONDON, now=now)
        session.get_one(LongWork, first).finished_at = now
        assert learning.ask_if_due(session, after=25, zone=LONDON, now=now + timedelta(hours=19)) is None
        session.add(
            Learning(tried_at=now, taken=False, label_count=30, right_before=0.5, right_after=0.4, labels={})
        )
        session.flush()
        later = now + timedelta(hours=21)
        assert learning.ask_if_due(session, after=25, zone=LONDON, now=later) is None
        for number in numbers[:25]:
            set_hand_label(session, number, "faults", ["dense"], account_id=None, now=later)
        assert learning.ask_if_due(session, after=25, zone=LONDON, now=later) is not None


def test_what_was_learned_is_kept_as_it_was_and_forgotten_messages_are_gone(
    sessions: sessionmaker[Session], settings: Settings, now: datetime
) -> None:
    with sessions.begin() as session:
        numbers = say_by_hand(session, 24, now)
    learning.learn(sessions, settings.model_folder, now=now)
    with sessions.begin() as session:
        set_hand_label(session, numbers[0], "kinds", ["junk"], account_id=None, now=now)
        session.delete(session.get_one(Labels, numbers[1]).message)
    with sessions() as session:
        kept = learning.learned(session)
        assert [one.id for one in kept] == [str(number) for number in numbers if number != numbers[1]]
        assert kept[0].kinds == {"comment"}


def test_grouping_again_can_be_asked_for(
    sessions: sessionmaker[Session], settings: Settings, kitchen: Kitchen, now: datetime
) -> None:
    with sessions.begin() as session:
        create_account(session, "Ines", "owner", None, now=now)
    assert do(sessions, settings, kitchen, REGROUP, now) == "Placed 0 requests; 0 themes are new."
