"""The first digest waits for something to tell."""

from datetime import datetime

from sqlalchemy.orm import Session

from inbox.pipeline.long_work import ask
from inbox.pipeline.weekly import may_begin
from inbox.pipeline.works import IMPORT
from inbox.records.tables_out import LongWork
from tests.makers import make_message


def test_an_empty_ledger_has_no_first_digest(any_session: Session) -> None:
    assert not may_begin(any_session)

    make_message(any_session, text="out of office", kept_apart="auto_reply")
    assert not may_begin(any_session)

    make_message(any_session)
    assert may_begin(any_session)


def test_what_is_being_brought_in_is_waited_for(any_session: Session, now: datetime) -> None:
    make_message(any_session)
    work = ask(any_session, IMPORT, {"name": "letters.mbox"}, now=now)
    assert not may_begin(any_session)

    any_session.get_one(LongWork, work).finished_at = now
    any_session.flush()
    assert may_begin(any_session)
