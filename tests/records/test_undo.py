"""A change by hand can be taken back, whole, by the one who made it."""

from datetime import datetime

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.records.settle import set_hand_label, settle
from inbox.records.tables import HandLabel, Labels
from inbox.records.tables_out import ThemeMember
from inbox.records.undo import remember, undo
from tests.makers import THEN, make_account, make_message, make_theme


def test_undo_restores_labels_theme_and_mark(any_session: Session, now: datetime) -> None:
    account = make_account(any_session)
    first, second = make_message(any_session), make_message(any_session)
    old, new = make_theme(any_session), make_theme(any_session)
    any_session.add(ThemeMember(message_id=first.id, theme_id=old.id, similarity=0.9, joined_at=THEN))
    set_hand_label(any_session, first.id, "kinds", ["problem"], account_id=account.id, now=THEN)

    step = remember(any_session, [first.id, second.id], account_id=account.id, now=now)
    for message in (first, second):
        set_hand_label(any_session, message.id, "kinds", ["junk"], account_id=account.id, now=now)
        message.no_reply_needed_at = now
    any_session.get_one(ThemeMember, first.id).theme_id = new.id
    any_session.flush()

    assert undo(any_session, step, account_id=account.id) == [first.id, second.id]
    any_session.expire_all()
    assert any_session.get_one(Labels, first.id).kinds == ("problem",)
    assert any_session.get(Labels, second.id) is None
    assert any_session.scalars(select(HandLabel.labelled_at)).all() == [THEN]
    assert any_session.get_one(ThemeMember, first.id).theme_id == old.id
    assert first.no_reply_needed_at is None


def test_undo_restores_what_counts_and_what_may_be_one(any_session: Session, now: datetime) -> None:
    account = make_account(any_session)
    first, second = make_message(any_session), make_message(any_session)
    second.doubtful_twin_id = first.id
    any_session.flush()
    set_hand_label(any_session, second.id, "kinds", ["problem"], account_id=account.id, now=THEN)

    step = remember(any_session, [second.id], account_id=account.id, now=now)
    second.kept_apart, second.doubtful_twin_id = "double", None
    any_session.flush()
    settle(any_session, [second.id])
    assert any_session.get(Labels, second.id) is None, "what is kept apart counts for nothing"

    undo(any_session, step, account_id=account.id)
    assert (second.kept_apart, second.doubtful_twin_id) == (None, first.id)
    assert any_session.get_one(Labels, second.id).kinds == ("problem",)


def test_undo_of_letting_in_takes_the_reading_away_again(session: Session, now: datetime) -> None:
    account, theme = make_account(session), make_theme(session)
    message = make_message(session, kept_apart="newsletter")
    step = remember(session, [message.id], account_id=account.id, now=now)
    message.kept_apart = None
    set_hand_label(session, message.id, "kinds", ["request"], account_id=account.id, now=now)
    session.add(ThemeMember(message_id=message.id, theme_id=theme.id, similarity=0.9, joined_at=now))
    session.flush()

    undo(session, step, account_id=account.id)
    assert message.kept_apart == "newsletter"
    assert session.get(Labels, message.id) is None
    assert session.get(ThemeMember, message.id) is None


def test_undo_works_once_and_only_for_its_maker(session: Session, now: datetime) -> None:
    mine, other, message = make_account(session), make_account(session), make_message(session)
    step = remember(session, [message.id], account_id=mine.id, now=now)

    with pytest.raises(NotFoundError):
        undo(session, step, account_id=other.id)
    undo(session, step, account_id=mine.id)
    with pytest.raises(NotFoundError, match="undone already"):
        undo(session, step, account_id=mine.id)
