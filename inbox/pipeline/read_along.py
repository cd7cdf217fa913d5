"""Reading while something is brought in: by processes of their own, so that the two go on side by side.

What is brought in is in the ledger before it is read, and nothing is claimed meanwhile; a kill costs what was
under way, and the next reading takes that up. Start with `read_along`.
"""

from collections.abc import Callable
from contextlib import ExitStack
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline.processes import LEAST_WAITING
from inbox.pipeline.read import (
    Desk,
    Progress,
    ReadResult,
    ReadsMessages,
    count_waiting,
    open_desk,
    read_messages,
)
from inbox.records.tables import Message

BringIn = Callable[[Callable[[], None]], None]
"""Brings something in, and calls what it is given whenever some of it is in the ledger."""


def read_along(
    sessions: sessionmaker[Session],
    model_at_hand: Callable[[], ReadsMessages],
    bring_in: BringIn,
    *,
    now: datetime,
    processes: int,
    progress: Progress,
) -> ReadResult:
    """Bring something in, and read it and all else that has no reading; see `read_messages`.

    Parameters
    ----------
    model_at_hand : callable
        Gives the model; asked when there is something to read.
    bring_in : callable
        With few messages, or with one process, they are read after it.
    progress : callable
        Called when all is brought in, and reading goes on alone.
    """
    with ExitStack() as stack:
        desk: Desk | None = None
        with sessions() as session:
            after = session.scalar(select(func.max(Message.id))) or 0

        def go_on() -> None:
            nonlocal desk, after
            if desk is None and processes > 1:
                waiting = count_waiting(sessions, after=after)
                if waiting >= LEAST_WAITING:
                    model = model_at_hand()
                    opened = open_desk(sessions, model, now=now, processes=processes, waiting=waiting)
                    desk = stack.enter_context(opened)
            if desk is not None:
                after = desk.go_on(after)

        bring_in(go_on)
        if desk is not None:
            return desk.finish(progress)
    return read_messages(sessions, model_at_hand(), now=now, processes=processes, progress=progress)
