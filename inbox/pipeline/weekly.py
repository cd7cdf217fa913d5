"""The week's digest: after a last round of reading, frozen once."""

from collections.abc import Callable
from datetime import datetime

from sqlalchemy import exists, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.calendar import Week, last_full_week
from inbox.digest.build import find_digest, freeze, site_of
from inbox.digest.document import Digest
from inbox.pipeline.long_work import HELD
from inbox.pipeline.rounds import Kitchen, Tell, go_round
from inbox.reading.cautions import caution_for
from inbox.records.saved import with_saved
from inbox.records.tables import Message
from inbox.records.tables_out import DigestRow, LongWork
from inbox.settings import Settings


def may_begin(session: Session) -> bool:
    """Whether the schedule may make digests: there is one already, or readers' words are here and at rest.

    The first one of an empty ledger would be kept as that week's, and tell of nothing that is brought in a
    minute later.
    """
    if session.scalar(select(exists().where(DigestRow.id.is_not(None)))):
        return True
    wrote = select(exists().where(Message.kept_apart.is_(None)))
    at_work = select(exists().where(LongWork.what != HELD, LongWork.finished_at.is_(None)))
    return bool(session.scalar(wrote)) and not session.scalar(at_work)


def caution_words(settings: Settings) -> Callable[[str], tuple[str, str]]:
    """What a digest says beside a hazard: the caution and who decides, and who publishes it."""

    def say(code: str) -> tuple[str, str]:
        caution = caution_for(code, settings.country)
        lines = "".join(f" {line.who}: {line.number}." for line in caution.help_lines)
        return f"{caution.words} {caution.defer}{lines}", caution.source_in_words

    return say


def make_digest(
    sessions: sessionmaker[Session],
    kitchen: Kitchen,
    settings: Settings,
    week: Week | None = None,
    *,
    now: datetime,
    tell: Tell = lambda _step, _done, _of: None,
) -> Digest:
    """The digest of `week`, by default the last full one: the one that was kept, or a new one.

    What came in until now is read first, so that nothing that should be in it is missing.
    """
    with sessions() as session:
        counted = with_saved(session, settings)
        week = week or last_full_week(now, counted.zone)
        kept = find_digest(session, str(week))
    if kept is not None:
        return kept
    go_round(sessions, kitchen, settings, now=now, tell=tell)
    with sessions.begin() as session:
        return freeze(session, week, site=site_of(counted), caution=caution_words(counted), now=now)
