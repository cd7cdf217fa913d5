"""What is done after something came in, and each week: read, regroup, rank, judge.

`Kitchen` holds the two trained models that the computation needs; a process makes
one when it first needs it and keeps it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from threading import Lock

from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline.judge import judge_recipes
from inbox.pipeline.learning import learned, number_in_use
from inbox.pipeline.processes import processes_wanted
from inbox.pipeline.rank import rank_themes
from inbox.pipeline.read import ReadResult, Spread, read_messages
from inbox.pipeline.read_along import BringIn, read_along
from inbox.pipeline.regroup import RegroupResult, regroup
from inbox.reading.model import ReadingModel
from inbox.reading.saved import load_or_train, load_saved
from inbox.records.saved import with_saved
from inbox.records.turns import one_at_a_time
from inbox.settings import Settings
from inbox.sparing import spare_collection
from inbox.themes.likeness import Likeness
from inbox.themes.trained import load_or_fit

Tell = Callable[[str, int, int], None]
"""Called with the name of the step, how much of it is done, and of how much."""


class Kitchen:
    """The models of one process, trained or loaded when they are first needed."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._lock = Lock()
        self._model: ReadingModel | None = None
        self._number = 0
        self._likeness: Likeness | None = None

    def model(self, sessions: sessionmaker[Session]) -> ReadingModel:
        """The model that all workers are to use: of the shipped messages and of what was learned by hand.

        No session is open while it is trained: that takes a minute, in which readers send their words.
        """
        with sessions() as session:
            number = number_in_use(session)
        with self._lock:
            if self._model is None or self._number != number:
                with sessions() as session:
                    labelled = learned(session)
                self._model = load_or_train(self._settings.model_folder, labelled)
                self._number = number
                spare_collection()
            return self._model

    def model_at_hand(self, session: Session) -> ReadingModel | None:
        """The same model if it is there without being trained: a page does not wait for that."""
        number = number_in_use(session)
        if not self._lock.acquire(blocking=False):
            return None
        try:
            if self._model is None or self._number != number:
                self._model = load_saved(self._settings.model_folder, learned(session))
                self._number = number
            return self._model
        finally:
            self._lock.release()

    def likeness(self) -> Likeness:
        """The measure of how alike two requests are."""
        with self._lock:
            if self._likeness is None:
                self._likeness = load_or_fit(self._settings.model_folder)
            return self._likeness


@dataclass(frozen=True)
class Round:
    """What one round did."""

    read: ReadResult
    regrouped: RegroupResult


def go_round(
    sessions: sessionmaker[Session],
    kitchen: Kitchen,
    settings: Settings,
    *,
    now: datetime,
    again: bool = False,
    newest_first: bool = False,
    spread: Spread | None = None,
    bring_in: BringIn | None = None,
    tell: Tell = lambda _step, _done, _of: None,
) -> Round:
    """Read what is new, give requests their themes, rank and judge.

    Parameters
    ----------
    settings : Settings
        As given from outside; what the owner saved is looked up here.
    again : bool, default=False
        Read also what another model has read.
    newest_first : bool, default=False
        As for `read_messages`.
    bring_in : callable, optional
        Brings something in first; of much, reading begins meanwhile. Not with `again` or `spread`.
    """
    processes = processes_wanted(settings.reading_processes)

    def tell_reading(done: int, of: int) -> None:
        tell("reading", done, of)

    if bring_in is not None:
        read = read_along(
            sessions,
            lambda: kitchen.model(sessions),
            bring_in,
            now=now,
            processes=processes,
            progress=tell_reading,
        )
    else:
        read = read_messages(
            sessions,
            kitchen.model(sessions),
            now=now,
            again=again,
            newest_first=newest_first,
            spread=spread,
            processes=processes,
            progress=tell_reading,
        )
    regrouped = regroup(
        sessions, kitchen.likeness(), now=now, progress=lambda done, of: tell("grouping", done, of)
    )
    reckon(sessions, settings, now=now)
    return Round(read, regrouped)


def reckon(sessions: sessionmaker[Session], settings: Settings, *, now: datetime) -> None:
    """Rank the themes and judge the recipes from what counts now; `settings` as for `go_round`."""
    with sessions.begin() as session:
        one_at_a_time(session, "rank")
        counted = with_saved(session, settings)
        rank_themes(session, counted, now=now)
        judge_recipes(session, counted, now=now)
