"""Reading an archive of tens of millions on a Dask cluster: the same pure function over batches.

The ledger is read and written here alone; the workers get texts and give readings
back, so they need no database. A batch whose worker dies is read by another one.
Dask is the extra `second-batch[dask]`.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from inbox.errors import InboxError, InputError
from inbox.pipeline.processes import Pending, ReadBatch, Readers
from inbox.pipeline.read import Spread
from inbox.reading.findings import Reading, Told

_AHEAD_A_WORKER = 3
"""Batches under way for each thread of the cluster: enough to keep it busy, few enough to hold in memory."""


@contextmanager
def dask_spread(address: str) -> Iterator[Spread]:
    """Connect to the scheduler at `address`, such as tcp://127.0.0.1:8786.

    Raises
    ------
    InputError
        If Dask is not installed, or nothing answers at the address.
    """
    try:
        from distributed import Client
    except ModuleNotFoundError as error:
        raise InputError("Reading on a cluster needs Dask; install second-batch[dask].") from error
    try:
        client = Client(address, timeout="10s", set_as_default=False)
    except (OSError, ValueError) as error:
        raise InputError(
            f"No Dask scheduler answers at {address!r}: {error}. Start dask scheduler there."
        ) from error

    def spread(read: ReadBatch) -> Readers:
        # A task's result can be made again where its worker died; scattered values cannot.
        return _Cluster(client, client.submit(_itself, read, pure=False))

    try:
        yield spread
    finally:
        client.close()


class _Cluster:
    def __init__(self, client: Any, shared: Any) -> None:
        self.room = max(sum(client.nthreads().values()), 1) * _AHEAD_A_WORKER
        self._client = client
        self._shared = shared

    def begin(self, told: list[Told]) -> Pending:
        return _Task(self._client.submit(_read, self._shared, told, pure=False, retries=3), len(told))


@dataclass(frozen=True)
class _Task:
    future: Any
    count: int

    def done(self) -> bool:
        return bool(self.future.done())

    def result(self) -> list[Reading]:
        try:
            # A result that died with its worker is made again while we wait here.
            readings: list[Reading] = self.future.result()
        except Exception as error:
            raise InboxError(
                f"The cluster could not read a batch of {self.count} messages: {error}. "
                "What was read so far is kept; run the command again to go on."
            ) from error
        return readings


def _itself(read: ReadBatch) -> ReadBatch:
    return read


def _read(read: ReadBatch, told: list[Told]) -> list[Reading]:
    return read(told)
