"""Kept counts of what readers told of recipes' pages: the same as counting, after whatever a person does."""

from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.records.page_faults import most_told, recount, told_of
from inbox.records.revisions import mend, unmend
from inbox.records.settle import remove_hand_label, set_hand_label
from inbox.records.tables_out import PageFault
from tests.makers import make_message, make_recipe


def _counts(session: Session) -> dict[tuple[str, str], int]:
    return {(one.recipe.slug, one.fault): one.told_count for one in most_told(session, 50)}


def _tell(session: Session, slug: str, *faults: str, at: datetime) -> int:
    message = make_message(session, received_at=at)
    for field, value in {"kinds": ["problem"], "faults": list(faults), "recipe": slug}.items():
        set_hand_label(session, message.id, field, value, account_id=None, now=at)
    return message.id


def test_counts_follow_what_a_person_says(any_session: Session, now: datetime) -> None:
    for slug in ("tart", "rye"):
        make_recipe(any_session, slug=slug, title=slug)
    first = _tell(any_session, "tart", "wrong_time", "sank", at=now - timedelta(days=3))
    second = _tell(any_session, "tart", "wrong_time", at=now - timedelta(days=2))
    _tell(any_session, "rye", "missing_step", at=now - timedelta(days=1))

    assert _counts(any_session) == {("tart", "wrong_time"): 2, ("rye", "missing_step"): 1}
    assert list(most_told(any_session, 1)[0].newest) == [second]

    set_hand_label(any_session, second, "recipe", "rye", account_id=None, now=now)
    remove_hand_label(any_session, first, "faults")
    assert _counts(any_session) == {("rye", "missing_step"): 1, ("rye", "wrong_time"): 1}


def test_mended_is_gone_at_once_and_told_again_comes_back(any_session: Session, now: datetime) -> None:
    tart = make_recipe(any_session, slug="tart")
    _tell(any_session, "tart", "wrong_time", at=now - timedelta(days=3))
    done = mend(any_session, "tart", "wrong_time", None, now=now - timedelta(days=2))
    assert _counts(any_session) == {}

    again = _tell(any_session, "tart", "wrong_time", at=now - timedelta(days=1))
    assert _counts(any_session) == {("tart", "wrong_time"): 1}
    assert [(one.told_count, list(one.newest)) for one in told_of(any_session, tart, 4)] == [(1, [again])]

    unmend(any_session, "tart", done.id)
    assert _counts(any_session) == {("tart", "wrong_time"): 2}


def test_counting_all_anew_comes_to_the_same(any_session: Session, now: datetime) -> None:
    make_recipe(any_session, slug="tart")
    _tell(any_session, "tart", "wrong_time", "unclear_step", at=now)
    kept = _counts(any_session)
    any_session.add(
        PageFault(
            recipe_id=any_session.scalars(select(PageFault.recipe_id)).first(),
            fault="wrong_yield",
            told_count=9,
        )
    )
    any_session.flush()

    recount(any_session)

    assert _counts(any_session) == kept
