"""An archive read on a Dask cluster comes to the same readings, also when a worker is killed."""

import os
import signal
import time
import warnings
from collections.abc import Iterator
from datetime import datetime

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InputError
from inbox.pipeline.read import read_messages
from inbox.pipeline.spread import dask_spread
from inbox.records.engine import make_sessions
from inbox.records.tables import Labels
from tests.makers import make_message
from tests.pipeline.test_read import LiteralReader

distributed = pytest.importorskip("distributed", reason="second-batch[dask] is not installed")


class SlowReader(LiteralReader):
    """Slow enough that a worker can be killed in the middle."""

    def read(self, told, catalogue):  # type: ignore[no-untyped-def]
        time.sleep(0.15)
        return super().read(told, catalogue)


@pytest.fixture
def cluster() -> Iterator[object]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, memory_limit=0
        ) as made:
            yield made


@pytest.fixture
def sessions(fresh_engine: Engine) -> sessionmaker[Session]:
    return make_sessions(fresh_engine)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_same_result_with_a_worker_killed(
    cluster: object, sessions: sessionmaker[Session], now: datetime
) -> None:
    with sessions.begin() as session:
        for number in range(6_000):
            make_message(session, text="It failed." if number % 3 else "It worked.")
    killed: list[int] = []

    def kill_one_worker(_done: int, _of: int) -> None:
        if not killed:
            worker = next(iter(cluster.workers.values()))  # type: ignore[attr-defined]
            os.kill(worker.pid, signal.SIGKILL)
            killed.append(worker.pid)

    with dask_spread(cluster.scheduler_address) as spread:  # type: ignore[attr-defined]
        result = read_messages(sessions, SlowReader(), now=now, spread=spread, progress=kill_one_worker)

    assert killed
    assert result.read_count == 6_000
    with sessions() as session:
        found = session.execute(select(Labels.message_id, Labels.is_problem)).all()
    with sessions.begin() as session:
        read_messages(sessions, LiteralReader("here"), now=now, again=True)
    with sessions() as session:
        assert session.execute(select(Labels.message_id, Labels.is_problem)).all() == found


def test_no_scheduler_is_said_in_words() -> None:
    with pytest.raises(InputError, match="No Dask scheduler answers"), dask_spread("tcp://127.0.0.1:9"):
        pass
