"""Reading fills labels for what is new, once, and leaves hand labels alone."""

import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime

import pytest
from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline.catalogue import hand_labelled
from inbox.pipeline.read import ReadResult, read_messages
from inbox.reading.findings import CatalogueRecipe, Reading, RecipeLink, Told
from inbox.records.engine import make_sessions, open_engine
from inbox.records.settle import set_hand_label
from inbox.records.tables import Labels, MessageReading
from inbox.words import KINDS
from tests.makers import make_message, make_recipe


class LiteralReader:
    """Stands for a model: a problem where the word "failed" stands, else a made-it report."""

    def __init__(self, version: str = "first") -> None:
        self.version = version
        self.told: list[Told] = []

    def read(self, told: Sequence[Told], catalogue: Sequence[CatalogueRecipe]) -> list[Reading]:
        self.told += told
        return [self._one(message) for message in told]

    def _one(self, message: Told) -> Reading:
        kinds = ("made_it", "problem") if "failed" in message.text else ("made_it",)
        return Reading(
            kind_probabilities={kind: 0.9 if kind in kinds else 0.1 for kind in KINDS},
            kinds=kinds,
            outcome_probabilities={"worked": 1.0, "mixed": 0.0, "failed": 0.0, "unsaid": 0.0},
            outcome="worked",
            fault_probabilities={},
            faults=(),
            hazard=None,
            recipe=RecipeLink(message.page, 1.0 if message.page else 0.0),
        )


@pytest.fixture
def sessions(fresh_engine: Engine) -> sessionmaker[Session]:
    return make_sessions(fresh_engine)


def test_new_messages_are_read_once(sessions: sessionmaker[Session], now: datetime) -> None:
    with sessions.begin() as session:
        recipe = make_recipe(session, slug="rye-loaf")
        ids = [make_message(session, page_recipe_id=recipe.id).id for _ in range(3)]
        make_message(session, kept_apart="newsletter")
    model = LiteralReader()
    steps: list[tuple[int, int]] = []

    first = read_messages(sessions, model, now=now, progress=lambda *step: steps.append(step))
    second = read_messages(sessions, model, now=now)

    assert (first.read_count, first.new_ids) == (3, tuple(ids))
    assert (second.read_count, second.new_ids) == (0, ())
    assert steps == [(3, 3)]
    assert [told.page for told in model.told] == ["rye-loaf"] * 3
    with sessions() as session:
        assert session.scalar(select(func.count()).select_from(MessageReading)) == 3
        assert session.get_one(Labels, ids[0]).recipe_id == recipe.id


def test_another_model_reads_again_and_hand_labels_stay(
    sessions: sessionmaker[Session], now: datetime
) -> None:
    with sessions.begin() as session:
        message_id = make_message(session, text="It failed.").id
    read_messages(sessions, LiteralReader(), now=now)
    with sessions.begin() as session:
        set_hand_label(session, message_id, "kinds", ["question"], account_id=None, now=now)

    result = read_messages(sessions, LiteralReader("second"), now=now, again=True)

    assert (result.read_count, result.new_ids) == (1, ())
    with sessions() as session:
        assert session.get_one(MessageReading, message_id).model_version == "second"
        assert session.get_one(Labels, message_id).kinds == ("question",)


def test_an_answer_is_told_the_recipe_of_its_thread(sessions: sessionmaker[Session], now: datetime) -> None:
    model = LiteralReader()
    with sessions.begin() as session:
        recipe = make_recipe(session, slug="rye-loaf")
        asked = make_message(session, page_recipe_id=recipe.id)
    read_messages(sessions, model, now=now)
    with sessions.begin() as session:
        make_message(session, answers_message_id=asked.id)

    read_messages(sessions, model, now=now)

    assert model.told[-1].thread_recipe == "rye-loaf"


def test_hand_labels_become_training_messages(sessions: sessionmaker[Session], now: datetime) -> None:
    with sessions.begin() as session:
        spoken, unspoken = make_message(session, text="It sank."), make_message(session)
        set_hand_label(session, spoken.id, "kinds", ["made_it", "problem"], account_id=None, now=now)
        set_hand_label(session, spoken.id, "faults", ["sank"], account_id=None, now=now)
        set_hand_label(session, unspoken.id, "hazard", None, account_id=None, now=now)

    with sessions() as session:
        (labelled,) = hand_labelled(session)

    assert labelled.told.text == "It sank."
    assert (labelled.kinds, labelled.faults) == ({"made_it", "problem"}, {"sank"})


def test_two_who_read_from_both_ends_meet(fresh_engine: Engine, now: datetime) -> None:
    count = 4_000
    with make_sessions(fresh_engine).begin() as session:
        ids = [make_message(session).id for _ in range(count)]
    both_at_it = threading.Barrier(2, timeout=60)

    class GoesAlong(LiteralReader):
        def read(self, told: Sequence[Told], catalogue: Sequence[CatalogueRecipe]) -> list[Reading]:
            if len(self.told) < count / 4:
                both_at_it.wait()  # neither has all to itself
            return super().read(told, catalogue)

    def read(model: LiteralReader, newest_first: bool) -> ReadResult:
        return read_messages(make_sessions(fresh_engine), model, now=now, newest_first=newest_first)

    up, down = GoesAlong(), GoesAlong()
    with ThreadPoolExecutor(2) as pool:
        first, second = pool.map(read, (up, down), (False, True))

    assert sorted(first.new_ids + second.new_ids) == ids
    assert len(up.told) + len(down.told) <= count + 2 * 500


@pytest.mark.postgres
def test_two_workers_read_different_messages(fresh_postgres_url: str, now: datetime) -> None:
    count = 1_700
    engine = open_engine(fresh_postgres_url)
    with make_sessions(engine).begin() as session:
        ids = [make_message(session).id for _ in range(count)]
    both_at_it = threading.Barrier(2, timeout=60)

    class MeetsTheOther(LiteralReader):
        def read(self, told: Sequence[Told], catalogue: Sequence[CatalogueRecipe]) -> list[Reading]:
            if not self.told:
                both_at_it.wait()  # each holds a batch now
            return super().read(told, catalogue)

    models = [MeetsTheOther(), MeetsTheOther()]
    with ThreadPoolExecutor(2) as pool:
        first, second = pool.map(lambda model: read_messages(make_sessions(engine), model, now=now), models)

    assert first.read_count + second.read_count == count == sum(len(model.told) for model in models)
    assert sorted(first.new_ids + second.new_ids) == ids
    engine.dispose()


@pytest.mark.slow
@pytest.mark.postgres
def test_two_workers_with_processes_of_their_own_do_not_wait_for_themselves(
    fresh_postgres_url: str, now: datetime
) -> None:
    count = 4_200
    engine = open_engine(fresh_postgres_url)
    with make_sessions(engine).begin() as session:
        ids = [make_message(session).id for _ in range(count)]

    def read(newest_first: bool) -> ReadResult:
        sessions = make_sessions(engine)
        return read_messages(sessions, LiteralReader(), now=now, processes=2, newest_first=newest_first)

    with ThreadPoolExecutor(2) as pool:
        first, second = pool.map(read, (False, True), timeout=120)

    assert first.read_count + second.read_count == count
    assert sorted(first.new_ids + second.new_ids) == ids
    engine.dispose()


@pytest.mark.postgres
def test_what_a_failing_worker_held_is_read_by_the_other(fresh_postgres_url: str, now: datetime) -> None:
    engine = open_engine(fresh_postgres_url)
    with make_sessions(engine).begin() as session:
        ids = [make_message(session).id for _ in range(20)]
    holds, fails = threading.Event(), threading.Event()

    class Fails(LiteralReader):
        def read(self, told: Sequence[Told], catalogue: Sequence[CatalogueRecipe]) -> list[Reading]:
            holds.set()
            assert fails.wait(60)
            raise RuntimeError("the worker is gone")

    with ThreadPoolExecutor(2) as pool:
        failing = pool.submit(read_messages, make_sessions(engine), Fails(), now=now)
        assert holds.wait(60)
        other = pool.submit(read_messages, make_sessions(engine), LiteralReader(), now=now)
        with pytest.raises(TimeoutError):
            other.result(timeout=0.5)  # nothing is free: it waits instead of saying that all is read
        fails.set()
        assert other.result(timeout=60).new_ids == tuple(ids)
        with pytest.raises(RuntimeError, match="gone"):
            failing.result()
    engine.dispose()
