"""What each of the racing processes of test_schedule does."""

import os
from datetime import datetime
from multiprocessing.synchronize import Barrier
from zoneinfo import ZoneInfo

from inbox.calendar import Week
from inbox.digest.schedule import make_due_digests
from inbox.records.engine import make_sessions, open_engine


def run(url: str, moment: str, log: str, start: Barrier) -> None:
    """Wait for the common start, then make what is due, writing a line for each week made."""
    name = f"process {os.getpid()}"

    def build(week: Week) -> None:
        with open(log, "a") as file:
            file.write(f"{week} {name}\n")

    engine = open_engine(url)
    start.wait(60)
    for _ in range(3):
        make_due_digests(
            make_sessions(engine),
            build,
            now=datetime.fromisoformat(moment),
            zone=ZoneInfo("Europe/London"),
            weekday=0,
            hour=7,
            by=name,
        )
    engine.dispose()
