"""What each of the processes of test_starting_together does."""

import logging
from multiprocessing.synchronize import Barrier
from pathlib import Path

from inbox.cli.site import Site
from inbox.records import migrate
from inbox.settings import Settings


def run(settings: Settings, log: str, start: Barrier) -> None:
    """Wait for the common start, then open the ledger as every command does, writing a line a migration."""
    steps = logging.FileHandler(Path(log))
    heard = logging.getLogger("alembic.runtime.migration")
    heard.addHandler(steps)
    heard.setLevel(logging.INFO)
    site = Site(settings, {})
    start.wait(60)
    engine = site.open(make=True)
    steps.close()
    if not migrate.is_current(engine):
        raise RuntimeError("the ledger was handed out before it had its newest form")
    site.close()
