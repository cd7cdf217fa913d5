"""Reading an archive of tens of millions on a Dask cluster: the same pure function over batches.

The ledger is read and written here alone; the workers get texts and give readings
back, so they need no database. A batch whose worker dies is read by another one.
Dask is the extra `second-batch[dask]`.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice

from inbox.errors import InboxError, InputError
from inbox.pipeline.processes import ReadBatch
from inbox.pipeline.read import Batch, Spread
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
        from distributed import Client, as_completed
    except ModuleNotFoundError as error:
        raise InputError("Reading on a cluster needs Dask; install second-batch[dask].") from error
    try:
        client = Client(address, timeout="10s", set_as_default=False)
    except (OSError, ValueError) as error:
        raise InputError(
            f"No Dask scheduler answers at {address!r}: {error}. Start dask scheduler there."
        ) from error

    def spread(read: ReadBatch, batches: Iterator[Batch]) -> Iterator[tuple[Batch, list[Reading]]]:
        # A task's result can be made again where its worker died; scattered values cannot.
        shared = client.submit(_itself, read, pure=False)
        threads = max(sum(client.nthreads().values()), 1)
        under_way = {
            client.submit(_read, shared, batch.told, pure=False, retries=3): batch
            for batch in islice(batches, threads * _AHEAD_A_WORKER)
        }
        finished = as_completed(list(under_way), loop=client.loop)
        for future in finished:
            batch = under_way.pop(future)
            try:
                # A result that died with its worker is made again while we wait here.
                readings = future.result()
            except Exception as error:
                raise InboxError(
                    f"The cluster could not read a batch of {len(batch.ids)} messages: {error}. "
                    "What was read so far is kept; run the command again to go on."
                ) from error
            yield batch, readings
            for following in islice(batches, 1):
                another = client.submit(_read, shared, following.told, pure=False, retries=3)
                under_way[another] = following
                finished.add(another)

    try:
        yield spread
    finally:
        client.close()


def _itself(read: ReadBatch) -> ReadBatch:
    return read


def _read(read: ReadBatch, told: list[Told]) -> list[Reading]:
    return read(told)
