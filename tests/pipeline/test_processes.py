"""A long archive is read by several processes, to the same readings, whichever of them dies."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from sqlalchemy import Engine

from inbox.pipeline.processes import LEAST_WAITING, processes_wanted, several_processes
from inbox.pipeline.rounds import Kitchen
from inbox.reading.findings import CatalogueRecipe, Reading, RecipeLink, Told
from inbox.reading.training import seed_messages
from inbox.records.engine import make_sessions
from inbox.words import KINDS
from tests.pipeline.test_read import LiteralReader


class Signing(LiteralReader):
    """Signs each reading with the number of the process that made it."""

    def read(self, told: Sequence[Told], catalogue: Sequence[CatalogueRecipe]) -> list[Reading]:
        signed = RecipeLink(None, why=str(os.getpid()))
        return [replace(reading, recipe=signed) for reading in super().read(told, catalogue)]


class Slow(Signing):
    """Takes its time, so that it can be killed meanwhile."""

    def read(self, told: Sequence[Told], catalogue: Sequence[CatalogueRecipe]) -> list[Reading]:
        time.sleep(0.2)
        return super().read(told, catalogue)


READ = partial(Signing().read, catalogue=[])
TOLD = [Told("It failed." if number % 3 else "It worked.") for number in range(501)]


def by_whom(readings: list[Reading]) -> set[int]:
    return {int(reading.recipe.why) for reading in readings}


def without_names(readings: list[Reading]) -> list[Reading]:
    return [replace(reading, recipe=RecipeLink(None)) for reading in readings]


def test_few_messages_are_read_here() -> None:
    for processes, waiting in ((1, 10**6), (2, LEAST_WAITING - 1)):
        with several_processes(READ, processes=processes, waiting=waiting) as readers:
            assert by_whom(readers.begin(TOLD).result()) == {os.getpid()}


def test_as_many_as_are_set_or_one_a_core() -> None:
    assert processes_wanted(3) == 3
    assert 1 <= processes_wanted(0) <= 8


def test_many_are_read_by_several_and_come_back_in_order() -> None:
    with several_processes(READ, processes=2, waiting=LEAST_WAITING) as readers:
        pending = [readers.begin(told) for told in (TOLD, [], TOLD[:1])]
        readings, none, one = (each.result() for each in pending)
        assert all(each.done() for each in pending)
        assert none == []
        assert without_names(one) == without_names(READ(TOLD[:1]))
    assert without_names(readings) == without_names(READ(TOLD))
    assert 1 <= len(by_whom(readings)) <= 2
    assert os.getpid() not in by_whom(readings)


def test_one_that_dies_costs_no_message() -> None:
    with several_processes(READ, processes=2, waiting=LEAST_WAITING) as readers:
        os.kill(min(by_whom(readers.begin(TOLD).result())), signal.SIGKILL)
        time.sleep(0.2)
        after = [readers.begin(TOLD), readers.begin(TOLD)]
        for pending in after:
            assert without_names(pending.result()) == without_names(READ(TOLD))
        assert by_whom(readers.begin(TOLD).result()) == {os.getpid()}


def test_one_that_dies_at_work_costs_no_message() -> None:
    slow = partial(Slow().read, catalogue=[])
    with several_processes(slow, processes=2, waiting=LEAST_WAITING) as readers:
        at_work = min(by_whom(readers.begin(TOLD).result()))
        pending = [readers.begin(TOLD), readers.begin(TOLD)]
        os.kill(at_work, signal.SIGKILL)
        assert [without_names(each.result()) for each in pending] == [without_names(READ(TOLD))] * 2


ASKS = """
import sys, time
from inbox.pipeline.processes import several_processes
from tests.pipeline.test_processes import READ, TOLD, by_whom
with several_processes(READ, processes=2, waiting=10_000) as readers:
    print(*by_whom(readers.begin(TOLD).result()), flush=True)
    time.sleep(60)
"""


def test_they_end_with_the_process_that_asks() -> None:
    asks = subprocess.Popen([sys.executable, "-c", ASKS], stdout=subprocess.PIPE, text=True)
    assert asks.stdout is not None
    with asks, asks.stdout:
        readers = [int(word) for word in asks.stdout.readline().split()]
        asks.kill()
    give_up_at = time.monotonic() + 30
    while any(map(is_alive, readers)) and time.monotonic() < give_up_at:
        time.sleep(0.1)
    assert readers
    assert not any(map(is_alive, readers))


def is_alive(number: int) -> bool:
    """Whether a process runs; one that ended and that nobody asked after yet does not."""
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    stat = Path(f"/proc/{number}/stat")
    return not stat.is_file() or stat.read_text().rpartition(")")[2].split()[0] != "Z"


@pytest.mark.slow
def test_the_model_reads_the_same_there(kitchen: Kitchen, sqlite_engine: Engine) -> None:
    model = kitchen.model(make_sessions(sqlite_engine))
    told = [message.told for message in seed_messages()[::20]]
    here = model.read(told, [])
    with several_processes(partial(model.read, catalogue=[]), processes=2, waiting=LEAST_WAITING) as readers:
        there = readers.begin(told).result()
    for one, other in zip(here, there, strict=True):
        assert (one.kinds, one.outcome, one.faults, one.recipe) == (
            other.kinds, other.outcome, other.faults, other.recipe,
        )  # fmt: skip
        assert [one.kind_probabilities[kind] for kind in KINDS] == pytest.approx(
            [other.kind_probabilities[kind] for kind in KINDS], abs=1e-5
        )
