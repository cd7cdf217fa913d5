"""What is done after something came in, and each week: read, regroup, rank, judge.

`Kitchen` holds the two trained models that the computation needs; a process makes
one when it first needs it and keeps it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from threading import Lock

from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline.catalogue import hand_labelled
from inbox.pipeline.judge import judge_recipes
from inbox.pipeline.rank import rank_themes
from inbox.pipeline.read import ReadResult, Spread, one_by_one, read_messages
from inbox.pipeline.regroup import RegroupResult, regroup
from inbox.reading.model import ReadingModel
from inbox.reading.saved import load_or_train
from inbox.records.saved import with_saved
from inbox.records.turns import one_at_a_time
from inbox.settings import Settings
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
        self._likeness: Likeness | None = None

    def model(self, session: Session) -> ReadingModel:
        """The reading model for the seed messages and the hand labels."""
        with self._lock:
            if self._model is None:
                self._model = load_or_train(self._settings.model_folder, hand_labelled(session))
            return self._model

    def likeness(self) -> Likeness:
        """The measure of how alike two requests are."""
        with self._lock:
            if self._likeness is None:
                self._likeness = load_or_fit(self._settings.model_folder)
            return self._likeness

    def renew(self) -> None:
        """Forget the reading model, so that the next use takes the newest one."""
        with self._lock:
            self._model = None


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
    spread: Spread = one_by_one,
    tell: Tell = lambda _step, _done, _of: None,
) -> Round:
    """Read what is new, give requests their themes, rank and judge.

    Parameters
    ----------
    settings : Settings
        As given from outside; what the owner saved is looked up here.
    again : bool, default=False
        Read also what another model has read.
    """
    with sessions() as session:
        settings = with_saved(session, settings)
        model = kitchen.model(session)
    read = read_messages(
        sessions,
        model,
        now=now,
        again=again,
        spread=spread,
        progress=lambda done, of: tell("reading", done, of),
    )
    regrouped = regroup(
        sessions, kitchen.likeness(), now=now, progress=lambda done, of: tell("grouping", done, of)
    )
    with sessions.begin() as session:
        one_at_a_time(session, "rank")
        rank_themes(session, settings, now=now)
        judge_recipes(session, settings, now=now)
    return Round(read, regrouped)
