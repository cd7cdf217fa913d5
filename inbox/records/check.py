"""Whether the ledger holds what it says: each check is a question with a plain answer.

`check_ledger` changes nothing. It is run after a crash, after a restore, and by
`second-batch check`.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from sqlalchemy import func, or_, select, text
from sqlalchemy.orm import Session

from inbox.records.engine import is_postgresql
from inbox.records.settle import settle
from inbox.records.tables import HandLabel, IntakeRun, Labels, Message, MessageFault, MessageReading
from inbox.records.tables_out import DigestRow, LongWork, Reply, Theme, ThemeMember


@dataclass(frozen=True)
class Finding:
    """One thing that does not hold, and what to do about it."""

    check: str
    words: str


def check_ledger(session: Session) -> list[Finding]:
    """Ask every question; an empty list means that all holds.

    The session is rolled back at the end, since one check makes labels anew to compare them.
    """
    found = [Finding(name, words) for name, check in CHECKS.items() for words in check(session)]
    session.rollback()
    return found


def _database(session: Session) -> list[str]:
    """Ask the database about itself."""
    if is_postgresql(session):
        return []  # PostgreSQL enforces its constraints at each commit and checksums its pages itself
    words = [
        f"The database file is damaged: {row[0]}. Restore the newest backup."
        for row in session.execute(text("PRAGMA integrity_check"))
        if row[0] != "ok"
    ]
    broken = session.execute(text("PRAGMA foreign_key_check")).all()
    return words + [f"A row of {row[0]} points to a row of {row[2]} that is gone." for row in broken]


def _runs_add_up(session: Session) -> list[str]:
    """Each finished import's three numbers sum to what it dealt with, and its rows are there."""
    words = []
    stored = dict(session.execute(select(Message.run_id, func.count()).group_by(Message.run_id)).all())
    for run in session.scalars(select(IntakeRun).where(IntakeRun.door != "recipes")):
        total = run.stored_count + run.already_here_count + run.set_aside_count
        if total != run.position:
            words.append(f"Import {run.id} dealt with {run.position} items, but its numbers sum to {total}.")
        if run.taken_back_at is None and stored.get(run.id, 0) > run.stored_count:
            words.append(
                f"Import {run.id} says {run.stored_count} stored, "
                f"but {stored[run.id]} of its messages are here."
            )
    return words


def _labels_agree(session: Session) -> list[str]:
    """Labels are exactly what readings and hand labels give."""
    hand = select(HandLabel.message_id).where(HandLabel.message_id == Message.id).exists()
    read = select(MessageReading.message_id).where(MessageReading.message_id == Message.id).exists()
    labelled = select(Labels.message_id).where(Labels.message_id == Message.id).exists()
    missing = session.scalar(select(func.count()).where(or_(hand, read), ~labelled).select_from(Message))
    words = [f"{missing} messages were read but have no labels; run second-batch read."] if missing else []
    after, differing = 0, 0
    while ids := session.scalars(
        select(Labels.message_id).where(Labels.message_id > after).order_by(Labels.message_id).limit(2000)
    ).all():
        before = _label_rows(session, list(ids))
        settle(session, ids)
        now = _label_rows(session, list(ids))
        differing += sum(before[key] != now.get(key) for key in before)
        after = ids[-1]
    if differing:
        words.append(
            f"{differing} messages have labels that differ from their readings; run second-batch read."
        )
    return words


def _label_rows(session: Session, ids: list[int]) -> dict[int, tuple[object, ...]]:
    rows = {
        row.message_id: tuple(row)
        for row in session.execute(select(Labels.__table__).where(Labels.message_id.in_(ids)))
    }
    faults = session.execute(
        select(MessageFault.__table__)
        .where(MessageFault.message_id.in_(ids))
        .order_by(MessageFault.message_id, MessageFault.fault)
    )
    for fault in faults:
        rows[fault.message_id] = (*rows.get(fault.message_id, ()), *fault)
    return rows


def _search_finds_all(session: Session) -> list[str]:
    """The search index holds exactly the messages that there are."""
    if is_postgresql(session):
        return []  # an index of PostgreSQL cannot differ from its table
    messages = session.scalar(select(func.count()).select_from(Message)) or 0
    indexed = session.scalar(text("SELECT count(*) FROM message_words_docsize")) or 0
    if messages == indexed:
        return []
    return [f"The search index holds {indexed} messages of {messages}; restore a backup to build it anew."]


def _themes_hold(session: Session) -> list[str]:
    """No request lies in a theme that was merged away, and nothing kept apart is a request."""
    merged = session.scalar(
        select(func.count())
        .select_from(ThemeMember)
        .join(Theme, Theme.id == ThemeMember.theme_id)
        .where(Theme.merged_into_id.is_not(None))
    )
    apart = session.scalar(
        select(func.count())
        .select_from(Labels)
        .join(Message, Message.id == Labels.message_id)
        .where(Message.kept_apart.is_not(None))
    )
    words = (
        [f"{merged} requests lie in themes that were merged into others; run second-batch read."]
        if merged
        else []
    )
    return words + ([f"{apart} items that no reader wrote carry labels."] if apart else [])


def _digests_whole(session: Session) -> list[str]:
    """Every digest has its week written in it."""
    return [
        f"The digest of {row.week} is not whole; remove it and make it again."
        for row in session.scalars(select(DigestRow))
        if not isinstance(row.document, dict) or row.document.get("week") != row.week
    ]


def _nothing_stuck(session: Session) -> list[str]:
    """Replies that may have gone out, and work that stopped, are what a person must look at."""
    doubtful = session.scalar(select(func.count()).select_from(Reply).where(Reply.state == "sending")) or 0
    broken = (
        session.scalar(select(func.count()).select_from(LongWork).where(LongWork.trouble.is_not(None))) or 0
    )
    words = []
    if doubtful:
        words.append(
            f"{doubtful} replies may or may not have gone out; look at Replies before sending again."
        )
    return words + ([f"{broken} long jobs stopped with an error; see Bringing in."] if broken else [])


CHECKS: Final[dict[str, Callable[[Session], list[str]]]] = {
    "database": _database,
    "imports add up": _runs_add_up,
    "labels agree": _labels_agree,
    "search finds all": _search_finds_all,
    "themes hold": _themes_hold,
    "digests whole": _digests_whole,
    "nothing stuck": _nothing_stuck,
}
"""The checks by name, in the order in which they are run."""
