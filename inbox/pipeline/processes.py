"""Reading on several cores: each batch in parts, every part read by a process of its own.

The ledger is read and written by the process that asks; the others get texts and give readings back. One that
dies costs nothing but time: reading goes on without them. They end when the one that asks ends, however it
ends. Start with `several_processes`.
"""

import logging
import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import current_process, get_context, parent_process
from threading import Thread
from typing import Final

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


@contextmanager
def several_processes(read: ReadBatch, *, processes: int, waiting: int) -> Iterator[ReadBatch]:
    """A way to read batches as `read` does, on several cores where that pays.

    Parameters
    ----------
    read : callable
        Can be pickled, and gives each message the same reading whatever stands beside it.
    processes : int
        With 1, `read` itself comes back.
    waiting : int
        How many messages there are to read; with few of them `read` itself comes back.
    """
    if processes < 2 or waiting < LEAST_WAITING or current_process().daemon:
        yield read
        return
    # Spawned, not forked: a fork of a process with threads may hang on a lock that one of them held.
    with ProcessPoolExecutor(processes, get_context("spawn"), _begin, (read,)) as pool:
        yield _InParts(pool, read, processes)


class _InParts:
    def __init__(self, pool: ProcessPoolExecutor, read: ReadBatch, processes: int) -> None:
        self._pool: ProcessPoolExecutor | None = pool
        self._read = read
        self._processes = processes

    def __call__(self, told: list[Told]) -> list[Reading]:
        if self._pool is None:
            return self._read(told)
        size = -(-len(told) // self._processes) or 1
        try:
            parts = [self._pool.submit(_read_part, told[at : at + size]) for at in range(0, len(told), size)]
            return [reading for part in parts for reading in part.result()]
        except BrokenProcessPool:
            _log.warning("A process that reads has died; reading goes on in one process.")
            self._pool = None
            return self._read(told)


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
