"""Reading an archive on a Dask cluster: one worker, two workers, and the same as on one machine.

    python -m tests.bench.archive [--messages 4000] [--workers 1 2] [--model FOLDER]

The same invented messages (the words of those that ship, each with a number) are read from copies of one
SQLite ledger: by this process alone, then on a LocalCluster of so many workers with one thread each. That a
worker starts and loads model and encoder is paid once for a whole archive, so it is printed apart. Seconds
are by the clock, since that is what a second worker is for; what the processor spent beside them tells how
much the machine was busy with other things. Exit code 1 if any reading differs.
"""

import argparse
import os
import shutil
import sys
import tempfile
import time
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import select

from inbox.intake.run import import_path
from inbox.intake.sources import ImportOptions
from inbox.pipeline.read import Spread, read_messages
from inbox.pipeline.spread import dask_spread
from inbox.reading.findings import Told
from inbox.reading.model import ReadingModel
from inbox.reading.saved import load_or_train
from inbox.records import migrate
from inbox.records.engine import make_sessions, open_engine
from inbox.records.tables import MessageReading
from tests.bench.archive_size import write_messages

NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)
Readings = list[tuple[Any, ...]]


@dataclass
class Run:
    """One reading of the archive: seconds by the clock and of all processors, and what was read."""

    seconds: float
    spent: float
    readings: Readings


def make_ledger(folder: Path, count: int) -> Path:
    """A ledger of messages that nobody has read."""
    messages, path = folder / "messages.jsonl", folder / "unread.sqlite3"
    write_messages(messages, count)
    engine = open_engine(f"sqlite:///{path}")
    migrate.upgrade(engine)
    import_path(make_sessions(engine), messages, options=ImportOptions(now=NOW))
    with engine.connect() as connection:
        connection.commit()
        connection.connection.driver_connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # type: ignore[union-attr]
    engine.dispose()
    return path


def read_copy(ledger: Path, model: ReadingModel, spread: Spread | None = None) -> Run:
    """Read a copy of the ledger."""
    path = ledger.with_name("copy.sqlite3")
    shutil.copyfile(ledger, path)
    engine = open_engine(f"sqlite:///{path}")
    clock, spent = time.perf_counter(), time.process_time()
    read_messages(make_sessions(engine), model, now=NOW, spread=spread)
    clock, spent = time.perf_counter() - clock, time.process_time() - spent
    columns = [column for column in MessageReading.__table__.columns if column.name != "read_at"]
    with engine.connect() as connection:
        found = [tuple(row) for row in connection.execute(select(*columns).order_by(columns[0]))]
    engine.dispose()
    path.unlink()
    return Run(clock, spent, found)


def warm(model: ReadingModel) -> float:
    """Read one message in a worker, so that all is loaded; gives what its processor spent so far."""
    model.read([Told("The middle sank, twice.")], [])
    return time.process_time()


def read_on_cluster(ledger: Path, model: ReadingModel, workers: int) -> tuple[Run, float]:
    """Read a copy on a cluster of its own; the run, and the seconds until every worker was ready."""
    from distributed import Client, LocalCluster

    started = time.perf_counter()
    with (
        LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None, memory_limit=0) as made,
        Client(made, set_as_default=False) as client,
    ):
        before = sum(client.run(warm, model).values())
        ready = time.perf_counter() - started
        with dask_spread(made.scheduler_address) as spread:
            run = read_copy(ledger, model, spread)
        run.spent += sum(client.run(time.process_time).values()) - before
        return run, ready


def main(arguments: Sequence[str]) -> int:
    """Print the figures; 1 if a reading differs."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--messages", type=int, default=4_000)
    asked.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    asked.add_argument("--model", type=Path, help="folder with the trained model; trained anew without it")
    given = asked.parse_args(arguments)
    warnings.simplefilter("ignore")  # a cluster that ends says much that concerns nobody
    with tempfile.TemporaryDirectory(prefix="second-batch-bench-") as passing:
        folder = Path(passing)
        model = load_or_train(given.model or folder / "model")
        ledger = make_ledger(folder, given.messages)
        warm(model)
        alone = read_copy(ledger, model)
        print(
            f"{given.messages:,} messages; {os.cpu_count()} processors; load before: {os.getloadavg()[0]:.1f}"
        )
        print(f"this process alone   {alone.seconds:7.1f} s, the processor {alone.spent:.1f} s", flush=True)
        same, first = True, None
        for workers in given.workers:
            run, ready = read_on_cluster(ledger, model, workers)
            first = first or run.seconds
            same = same and run.readings == alone.readings
            print(
                f"{f'on {workers} worker(s)':20} {run.seconds:7.1f} s, the processors {run.spent:.1f} s; "
                f"{first / run.seconds:.2f} times as quick as the first; ready after {ready:.1f} s; "
                f"readings {'the same' if run.readings == alone.readings else 'DIFFER'}",
                flush=True,
            )
    return 0 if same and len(alone.readings) == given.messages else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
