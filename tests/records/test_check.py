"""`check` says nothing of a sound ledger and names each thing that does not hold."""

import pytest
from sqlalchemy import text, update
from sqlalchemy.orm import Session

from inbox.records.check import check_ledger
from inbox.records.settle import set_hand_label, settle
from inbox.records.tables import IntakeRun, Labels, MessageFault
from inbox.records.tables_out import DigestRow, Reply, ThemeMember
from tests.makers import THEN, make_message, make_recipe, make_theme
from tests.records.test_settle import add_reading


def test_sound_ledger_has_no_findings(any_session: Session) -> None:
    run = IntakeRun(
        door="mail", source="a.mbox", started_at=THEN, position=2, stored_count=1, already_here_count=1
    )
    any_session.add(run)
    any_session.flush()
    message = make_message(any_session, run_id=run.id)
    add_reading(any_session, message.id)
    set_hand_label(any_session, message.id, "hazard", "pet", account_id=None, now=THEN)

    assert check_ledger(any_session) == []


def break_run(session: Session) -> None:
    session.add(IntakeRun(door="mail", source="a.mbox", started_at=THEN, position=3, stored_count=1))


def break_labels(session: Session) -> None:
    message = make_message(session)
    add_reading(session, message.id)
    settle(session, [message.id])
    session.execute(update(Labels).values(outcome="worked"))


def break_fault(session: Session) -> None:
    recipe = make_recipe(session)
    message = make_message(session)
    set_hand_label(session, message.id, "faults", ["page_fault"], account_id=None, now=THEN)
    session.execute(update(MessageFault).values(recipe_id=recipe.id))


def break_reading(session: Session) -> None:
    add_reading(session, make_message(session).id)


def break_search(session: Session) -> None:
    make_message(session)
    session.execute(text("DROP TRIGGER message_words_added"))
    make_message(session)


def break_theme(session: Session) -> None:
    kept, gone = make_theme(session), make_theme(session)
    gone.merged_into_id = kept.id
    session.add(
        ThemeMember(message_id=make_message(session).id, theme_id=gone.id, similarity=1.0, joined_at=THEN)
    )


def break_digest(session: Session) -> None:
    session.add(DigestRow(week="2026-W47", built_at=THEN, document={}))


def break_reply(session: Session) -> None:
    session.add(Reply(state="sending", subject="s", body="b", created_at=THEN, changed_at=THEN))


@pytest.mark.parametrize(
    ("harm", "words"),
    [
        (break_run, "dealt with 3 items, but its numbers sum to 1"),
        (break_labels, "labels that differ"),
        (break_fault, "labels that differ"),
        (break_reading, "have no labels"),
        (break_search, "search index holds"),
        (break_theme, "merged into others"),
        (break_digest, "digest of 2026-W47 is not whole"),
        (break_reply, "may or may not have gone out"),
    ],
)
def test_harm_is_named(session: Session, harm: object, words: str) -> None:
    make_recipe(session)
    harm(session)  # type: ignore[operator]
    session.flush()

    assert any(words in finding.words for finding in check_ledger(session))
