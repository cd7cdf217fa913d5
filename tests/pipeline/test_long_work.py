"""Long work is done once, shows progress, survives a dead worker, and can be stopped."""

import io
from collections.abc import Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, func, select

from inbox.errors import InputError
from inbox.pipeline.long_work import ALIVE_SECONDS, PIECE_BYTES, Tell, ask, ask_to_stop, do_next
from inbox.records.engine import make_sessions
from inbox.records.tables_out import LongWork, UploadPiece


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def sessions(request: pytest.FixtureRequest) -> Any:
    name = "fresh_engine" if request.param == "sqlite" else "postgres_engine"
    engine: Engine = request.getfixturevalue(name)
    made = make_sessions(engine)
    yield made
    with made.begin() as session:
        session.query(LongWork).delete()


def test_upload_reaches_the_work_whole(sessions: Any, now: datetime) -> None:
    content = bytes(range(256)) * (PIECE_BYTES // 128)
    seen: dict[str, object] = {}

    def work(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        assert upload is not None
        seen.update(arguments=arguments, name=upload.name, content=upload.read_bytes())
        tell(1, 2)
        return "Done."

    with sessions.begin() as session:
        number = ask(session, "import", {"name": "../letters.mbox"}, upload=io.BytesIO(content), now=now)

    assert do_next(sessions, {"import": work}, clock=lambda: now) == number
    assert seen == {"arguments": {"name": "../letters.mbox"}, "name": "upload.mbox", "content": content}
    with sessions() as session:
        row = session.get_one(LongWork, number)
        assert (row.done_count, row.of_count, row.result, row.trouble) == (1, 2, "Done.", None)
        assert session.scalar(select(func.count()).select_from(UploadPiece)) == 0
    assert do_next(sessions, {"import": work}, clock=lambda: now) is None


def test_trouble_is_kept_in_words(sessions: Any, now: datetime) -> None:
    def work(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        raise InputError("This is no mail.")

    with sessions.begin() as session:
        number = ask(session, "import", {}, now=now)
    do_next(sessions, {"import": work}, clock=lambda: now)

    with sessions() as session:
        assert session.get_one(LongWork, number).trouble == "This is no mail."


def test_a_dead_worker_is_replaced_and_a_living_one_is_not(sessions: Any, now: datetime) -> None:
    with sessions.begin() as session:
        number = ask(session, "regroup", {}, now=now)
        session.get_one(LongWork, number).seen_alive_at = now
    works = {"regroup": lambda _arguments, _upload, _tell: "Done."}

    soon, late = now + timedelta(seconds=5), now + timedelta(seconds=ALIVE_SECONDS + 1)

    assert do_next(sessions, works, clock=lambda: soon) is None
    assert do_next(sessions, works, clock=lambda: late) == number


def test_stop_between_two_steps(sessions: Any, now: datetime) -> None:
    def work(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        tell(1, 3)
        with sessions.begin() as session:
            ask_to_stop(session, number, now=now)
        tell(2, 3)
        raise AssertionError("went on after the wish to stop")

    with sessions.begin() as session:
        number = ask(session, "read", {}, now=now)
    do_next(sessions, {"read": work}, clock=lambda: now)

    with sessions() as session:
        assert session.get_one(LongWork, number).result == "Stopped after 2; what was done so far is kept."


@pytest.mark.parametrize(("content", "reason"), [(b"", "is empty"), (b"x" * 11, "larger than 10 bytes")])
def test_wrong_upload_is_refused(sessions: Any, now: datetime, content: bytes, reason: str) -> None:
    with pytest.raises(InputError, match=reason), sessions.begin() as session:
        ask(session, "import", {}, upload=io.BytesIO(content), limit_bytes=10, now=now)

    with sessions() as session:
        assert session.scalar(select(func.count()).select_from(LongWork)) == 0
