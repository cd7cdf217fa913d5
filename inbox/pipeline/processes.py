"""Reading on several cores: each batch in parts, every part read by a process of its own.

The ledger is read and written by the process that asks; the others get texts and give readings back. One that
dies costs nothing but time: reading goes on without them. They end when the one that asks ends, however it
ends. Start with `several_processes`.
"""

import logging
import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import current_process, get_context, parent_process
from threading import Thread
from typing import Final, Protocol

from inbox.reading.findings import Reading, Told
from inbox.sparing import spare_collection

ReadBatch = Callable[[list[Told]], list[Reading]]
"""Reads some messages; can be pickled."""

LEAST_WAITING: Final = 1_000
"""Messages below which it does not pay: to start, a process takes as long as to read some 350."""

MOST: Final = 8
"""Processes that are started without being asked for: each takes some 270 MB."""

_NICENESS: Final = 5
"""Pages and forms go before reading."""

_log = logging.getLogger(__name__)
_read_here: ReadBatch | None = None


def processes_wanted(setting: int) -> int:
    """How many processes read: as set, or where that is 0 one for each core that this process may use."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return setting or min(cores, MOST)


class Pending(Protocol):
    """A batch that is being read."""

    def done(self) -> bool:
        """Whether `result` need not wait for others."""

    def result(self) -> list[Reading]:
        """One reading for each message, in their order."""


class Readers(Protocol):
    """Who reads batches."""

    @property
    def room(self) -> int:
        """How many batches may be under way at once."""

    def begin(self, told: list[Told]) -> Pending:
        """Have these messages read."""


@contextmanager
def several_processes(read: ReadBatch, *, processes: int, waiting: int) -> Iterator[Readers]:
    """Readers that read batches as `read` does, on several cores where that pays.

    Parameters
    ----------
    read : callable
        Can be pickled, and gives each message the same reading whatever stands beside it.
    processes : int
        With 1, batches are read here.
    waiting : int
        How many messages there are to read; few of them are read here.
    """
    if processes < 2 or waiting < LEAST_WAITING or current_process().daemon:
        yield _Here(read)
        return
    # Spawned, not forked: a fork of a process with threads may hang on a lock that one of them held.
    pool = ProcessPoolExecutor(processes, get_context("spawn"), _begin, (read,))
    try:
        yield _InParts(pool, read, processes)
    finally:
        pool.shutdown(cancel_futures=True)


class _Here:
    room = 1

    def __init__(self, read: ReadBatch) -> None:
        self._read = read

    def begin(self, told: list[Told]) -> Pending:
        return _Later(self._read, told)


@dataclass(frozen=True)
class _Later:
    """A batch that is read here, when its readings are asked for."""

    read: ReadBatch
    told: list[Told]

    def done(self) -> bool:
        return True

    def result(self) -> list[Reading]:
        return self.read(self.told)


class _InParts:
    room = 2
    """One is read while the one before is stored."""

    def __init__(self, pool: ProcessPoolExecutor, read: ReadBatch, processes: int) -> None:
        self._pool = pool
        self._is_broken = False
        self._read = read
        self._processes = processes

    def begin(self, told: list[Told]) -> Pending:
        if self._is_broken:
            return _Later(self._read, told)
        size = -(-len(told) // self._processes) or 1
        try:
            parts = [self._pool.submit(_read_part, told[at : at + size]) for at in range(0, len(told), size)]
        except BrokenProcessPool:
            return _Later(self.read_here, told)
        return _Parts(parts, _Later(self.read_here, told))

    def read_here(self, told: list[Told]) -> list[Reading]:
        if not self._is_broken:
            _log.warning("A process that reads has died; reading goes on in one process.")
            self._is_broken = True
        return self._read(told)


@dataclass(frozen=True)
class _Parts:
    parts: list[Future[list[Reading]]]
    otherwise: Pending

    def done(self) -> bool:
        return all(part.done() for part in self.parts)

    def result(self) -> list[Reading]:
        try:
            return [reading for part in self.parts for reading in part.result()]
        except BrokenProcessPool:
            return self.otherwise.result()


def _begin(read: ReadBatch) -> None:
    """Make this process ready to read."""
    global _read_here
    _read_here = read
    spare_collection()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the process that asks says when to end
    if hasattr(os, "nice"):
        os.nice(_NICENESS)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    # Each process holds an end of every pipe, so that none of them notices when the one that asks was killed.
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _read_part(told: list[Told]) -> list[Reading]:
    if _read_here is None:
        raise RuntimeError("the process was not made ready")
    return _read_here(told)
