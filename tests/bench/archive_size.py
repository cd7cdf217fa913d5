"""What grows how: time, memory and disk of ledgers of several sizes, on SQLite.

    python -m tests.bench.archive_size --messages 10000 100000 1000000 [--keep FOLDER] [--only NAME]

For each size: an import without reading of so many invented messages; and, on a ledger of so many messages
that are read already (that of `tests.bench.pages`, kept in FOLDER for the next time), its file, a backup,
and reckoning (the ranking of themes and the judgement of recipes). Each runs in a process of its own, so
that its peak memory is its own; the peak of a process that does nothing but load the program is printed
beside. Seconds are the processor's: other programs on the machine change them little.
"""

import argparse
import json
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TypeVar

from sqlalchemy import Engine

from inbox.intake.run import import_path
from inbox.intake.sources import ImportOptions
from inbox.pipeline.rounds import reckon
from inbox.places import seed_folder
from inbox.records import migrate
from inbox.records.backup import make_backup
from inbox.records.engine import make_sessions, open_engine
from inbox.settings import Settings
from tests.bench.pages import NOW, _fill_once

MB = 1_000_000
T = TypeVar("T")


@dataclass
class Cost:
    """What one step took: seconds of the processor and by the clock, peak memory, and bytes left on disk."""

    seconds: float = 0.0
    clock_seconds: float = 0.0
    peak_mb: float = 0.0
    disk_mb: float = 0.0


def write_messages(path: Path, count: int) -> None:
    """So many messages as JSONL: the words of those that ship, each with a number, 30 of each reader."""
    source = random.Random(7)
    texts = [
        json.loads(line)["text"]
        for file in sorted((seed_folder() / "messages").glob("*.jsonl"))
        for line in file.read_text(encoding="utf-8").splitlines()
    ]
    with path.open("w", encoding="utf-8") as file:
        for number in range(count):
            row = {
                "id": str(number),
                "channel": "comment",
                "name": f"Reader {number // 30}",
                "email": f"reader{number // 30}@example.org",
                "received_at": f"{2021 + number % 5}-0{number % 9 + 1}-1{number % 7}T10:00:00Z",
                "text": f"{source.choice(texts)} ({number})",
            }
            file.write(json.dumps(row, ensure_ascii=False) + "\n")


def load(_folder: Path, _count: int) -> Cost:
    """Nothing but this program in memory."""
    return Cost()


def bring_in(folder: Path, count: int) -> Cost:
    """Import messages that nobody has read."""
    with tempfile.TemporaryDirectory(dir=folder) as passing:
        path = Path(passing) / "messages.jsonl"
        write_messages(path, count)
        engine = open_engine(f"sqlite:///{passing}/ledger.sqlite3")
        migrate.upgrade(engine)
        cost, result = timed(lambda: import_path(make_sessions(engine), path, options=ImportOptions(now=NOW)))
        if result.stored != count:
            raise SystemExit(f"{result.stored:,} of {count:,} messages were stored")
        engine.dispose()
        cost.disk_mb = (Path(passing) / "ledger.sqlite3").stat().st_size / MB
        return cost


def hold(folder: Path, count: int) -> Cost:
    """Hold messages that are read, with the index over their words; an empty ledger is filled."""
    engine = _ledger(folder, count)
    engine.dispose()
    return Cost(disk_mb=(folder / str(count) / "ledger.sqlite3").stat().st_size / MB)


def back_up(folder: Path, count: int) -> Cost:
    """Make and verify a backup."""
    engine = _ledger(folder, count)
    backups = folder / str(count) / "backups"
    cost, file = timed(lambda: make_backup(engine, backups, keep_count=1, now=NOW))
    engine.dispose()
    cost.disk_mb = file.stat().st_size / MB
    shutil.rmtree(backups)
    return cost


def reckon_all(folder: Path, count: int) -> Cost:
    """Rank the themes and judge the recipes."""
    engine = _ledger(folder, count)
    settings = Settings(folder=folder / str(count), timezone="Europe/London", country="GB")
    cost, _ = timed(lambda: reckon(make_sessions(engine), settings, now=NOW))
    engine.dispose()
    return cost


STEPS: dict[str, Callable[[Path, int], Cost]] = {
    "the program alone": load,
    "import without reading": bring_in,
    "ledger of read messages": hold,
    "backup": back_up,
    "ranking and judging": reckon_all,
}


def timed(work: Callable[[], T]) -> tuple[Cost, T]:
    """What `work` costs, and what it gives."""
    clock, spent = time.perf_counter(), time.process_time()
    found = work()
    return Cost(time.process_time() - spent, time.perf_counter() - clock), found


def _ledger(folder: Path, count: int) -> Engine:
    engine = open_engine(f"sqlite:///{folder}/{count}/ledger.sqlite3")
    migrate.upgrade(engine)
    _fill_once(engine, count)
    return engine


def in_own_process(name: str, folder: Path, count: int) -> Cost:
    """One step in a process of its own, which ends with it."""
    words = ["--step", name, "--messages", str(count), "--keep", str(folder)]
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.archive_size", *words], check=True, stdout=subprocess.PIPE
    )
    return Cost(**json.loads(done.stdout))


def main(arguments: Sequence[str]) -> None:
    """Print the table, a line for each step and size as it is done."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--messages", type=int, nargs="+", default=[10_000, 100_000])
    asked.add_argument("--keep", type=Path, help="folder for the ledgers, to be used again")
    asked.add_argument("--only", default="", help="only steps whose name holds this")
    asked.add_argument("--step", choices=STEPS, help=argparse.SUPPRESS)
    given = asked.parse_args(arguments)
    if given.step:
        cost = STEPS[given.step](given.keep, given.messages[0])
        cost.peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / MB
        print(json.dumps(asdict(cost)))
        return
    with tempfile.TemporaryDirectory(prefix="second-batch-bench-") as passing:
        folder = given.keep or Path(passing)
        print(f"{'':26}{'messages':>12}{'seconds':>10}{'by the clock':>14}{'peak MB':>10}{'disk MB':>10}")
        for name in (name for name in STEPS if given.only in name):
            for count in given.messages:
                (folder / str(count)).mkdir(parents=True, exist_ok=True)
                cost = in_own_process(name, folder, count)
                print(
                    f"{name:26}{count:12,}{cost.seconds:10.1f}{cost.clock_seconds:14.1f}"
                    f"{cost.peak_mb:10.0f}{cost.disk_mb:10.0f}",
                    flush=True,
                )


if __name__ == "__main__":
    main(sys.argv[1:])
