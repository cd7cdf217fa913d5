"""What a digest holds, that its figures open, and that it stays as it was built."""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from inbox.digest.build import back_numbers, find_digest, freeze, get_digest, since_corrected, spoken_of
from inbox.digest.document import Digest, Figure, from_json, to_json
from inbox.digest.numbers import COUNTED, KEPT_IDS, figure
from inbox.digest.pictures import arrivals_by_door
from inbox.errors import NotFoundError
from inbox.records.settle import set_hand_label, settle
from inbox.records.tables import Recipe
from inbox.records.tables_out import DigestRow, Mended, Theme
from tests.digest.kitchen import BUILT_AT, IN_WEEK, SITE, WEEK, build, caution, fill_week
from tests.makers import make_message, make_reader
from tests.records.test_settle import add_reading
from tests.replies.outbox import label, make_waiting


def correct(session: Session, message_id: int, outcome: str, moment: datetime) -> None:
    set_hand_label(session, message_id, "outcome", outcome, account_id=None, now=moment)


def test_a_week_with_something_of_everything(any_session: Session) -> None:
    wrote = fill_week(any_session)

    digest = build(any_session)

    assert (digest.week, digest.is_first, digest.is_quiet) == ("2026-W47", True, False)
    assert [(note.quote.message_id, note.hazard) for note in digest.hazards] == [
        (wrote["hazard"], "allergen")
    ]
    assert digest.hazards[0].caution == "The usual caution for allergen."
    (recipe,) = digest.troubled
    assert (recipe.slug, recipe.standing) == ("rye", "failing")
    assert recipe.failed.message_ids == (wrote["failed"],)
    assert set(recipe.readers.message_ids) == {wrote["failed"], wrote["worked"]}
    assert recipe.faults[0].readers.message_ids == (wrote["failed"],)
    assert all(cause.words and cause.source for note in recipe.faults for cause in note.causes)
    assert recipe.faults[0].causes
    assert recipe.questions
    assert [change.note for change in recipe.changes] == ["less water"]
    assert sum(week.failed for week in recipe.weeks) == 1
    (wish,) = digest.wishes
    assert (wish.name, wish.this_week.message_ids) == ("rye crackers", (wrote["wish"],))
    assert [note.group for note in digest.owed] == ["problem", "question", "first_made_it", "rest"]
    assert digest.owed_counts == {"hazard": 1, "problem": 1, "question": 1, "first_made_it": 1}
    assert [quote.message_id for quote in digest.praise] == [wrote["worked"]]
    assert "Christmas" in [coming.name for coming in digest.season]
    assert [it.count for it in digest.now.counts.values()] == [5, 2, 1, 0, 1, 2, 1, 1]
    assert tuple(digest.now.counts) == COUNTED


def test_the_document_survives_json(session: Session) -> None:
    fill_week(session)
    digest = build(session)

    assert from_json(json.loads(json.dumps(to_json(digest)))) == digest
    with pytest.raises(ValueError, match="digest has no hazards"):
        from_json({name: value for name, value in to_json(digest).items() if name != "hazards"})


def test_a_digest_frozen_before_arrivals_were_counted_is_still_read(session: Session) -> None:
    fill_week(session)
    digest = build(session)
    old = {name: value for name, value in to_json(digest).items() if name != "arrivals"}
    assert from_json(old) == replace(digest, arrivals=())
    assert arrivals_by_door(replace(digest, arrivals=())) is None


def test_what_came_by_which_door(session: Session) -> None:
    """Seven weeks before this one make the usual week; what is kept apart does not count."""
    for door, weeks_ago, count in (("form", 0, 3), ("form", 1, 7), ("mailbox", 0, 5), ("feed", 2, 14)):
        for _ in range(count):
            make_message(session, door=door, received_at=IN_WEEK - timedelta(weeks=weeks_ago))
    make_message(session, door="form", received_at=IN_WEEK, kept_apart="auto_reply")
    make_message(session, door="form", received_at=IN_WEEK - timedelta(weeks=8))
    make_message(session, door="form", received_at=IN_WEEK + timedelta(weeks=1))

    digest = build(session)

    assert [(one.door, one.messages.count, one.usual) for one in digest.arrivals] == [
        ("mailbox", 5, 0.0), ("form", 3, 1.0), ("feed", 0, 2.0),
    ]  # fmt: skip
    assert digest.arrivals[1].messages.address == "/messages?door=form&since=2026-11-16&until=2026-11-22"
    drawing = arrivals_by_door(digest)
    assert drawing is not None
    assert drawing.rows == (("mailbox", "5", "0"), ("form", "3", "1"), ("feed", "0", "2"))


def figures_in(value: Any) -> Iterator[Figure]:
    if isinstance(value, Figure):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from figures_in(inner)
    elif isinstance(value, tuple):
        for inner in value:
            yield from figures_in(inner)
    elif hasattr(value, "__dataclass_fields__"):
        for name in value.__dataclass_fields__:
            yield from figures_in(getattr(value, name))


def test_every_figure_above_nothing_opens(session: Session) -> None:
    fill_week(session)

    found = list(figures_in(build(session)))

    assert len(found) > 40
    for one in found:
        if one.count:
            assert one.address.startswith(("/messages", "/requests", "/recipes")), one
        if one.message_ids:
            assert len(one.message_ids) == one.count
            only = parse_qs(urlsplit(one.address).query).get("only", [""])[0]
            assert only == ",".join(map(str, one.message_ids))


def test_a_figure_of_many_opens_the_list() -> None:
    few, many = figure(range(KEPT_IDS), kind="problem"), figure(range(KEPT_IDS + 1), kind="problem")

    assert (len(few.message_ids), few.count) == (KEPT_IDS, KEPT_IDS)
    assert many == Figure(KEPT_IDS + 1, "/messages?kind=problem")


def test_the_same_week_gives_the_same_document(session: Session) -> None:
    wrote = fill_week(session)
    first = freeze(session, WEEK, site=SITE, caution=caution, now=BUILT_AT)
    late = make_message(session, received_at=IN_WEEK, reader_id=make_reader(session).id)
    label(session, late, "problem")
    correct(session, wrote["failed"], "worked", BUILT_AT + timedelta(days=1))

    again = freeze(session, WEEK, site=SITE, caution=caution, now=BUILT_AT + timedelta(days=2))

    assert again == first
    assert find_digest(session, "2026-W47") == first
    assert len(session.scalars(select(DigestRow)).all()) == 1


def test_a_later_hand_label_shows_as_since_corrected(session: Session) -> None:
    wrote = fill_week(session)
    correct(session, wrote["worked"], "worked", BUILT_AT - timedelta(hours=1))
    digest = freeze(session, WEEK, site=SITE, caution=caution, now=BUILT_AT)
    assert set(wrote.values()) <= spoken_of(digest)
    assert since_corrected(session, digest) == {}

    correct(session, wrote["failed"], "mixed", BUILT_AT + timedelta(hours=1))

    assert since_corrected(session, digest) == {wrote["failed"]: ("outcome",)}


def test_a_quiet_week_is_three_lines(session: Session) -> None:
    message = make_message(session, received_at=IN_WEEK, reader_id=make_reader(session).id)
    label(session, message, "comment")

    digest = build(session)

    assert digest.is_quiet
    assert digest.opening == (
        "A quiet week: 1 message came.",
        "Nobody was hurt, no recipe is in trouble, and nobody waits for an answer.",
        "Nobody has asked for a recipe yet.",
    )


def test_a_first_digest_explains_itself_and_the_second_does_not(session: Session) -> None:
    fill_week(session)
    first = freeze(session, WEEK.previous(), site=SITE, caution=caution, now=BUILT_AT - timedelta(days=7))
    second = freeze(session, WEEK, site=SITE, caution=caution, now=BUILT_AT)

    assert first.is_first
    assert first.opening[0].startswith("This is your first digest.")
    assert not second.is_first
    assert second.opening[0] == "5 messages came."
    assert [week for week, _ in back_numbers(session)] == ["2026-W47", "2026-W46"]


def test_it_closes_with_what_was_done(session: Session) -> None:
    wrote = fill_week(session)
    freeze(session, WEEK.previous(), site=SITE, caution=caution, now=BUILT_AT - timedelta(days=7))
    reply = make_waiting(session, IN_WEEK)
    reply.state, reply.sent_at = "sent", IN_WEEK
    old = make_waiting(session, IN_WEEK)
    old.state, old.sent_at = "sent", BUILT_AT - timedelta(days=8)
    theme = session.scalars(select(Theme)).one()
    theme.shelf, theme.shelf_at = "on_the_bench", IN_WEEK
    recipe = session.scalars(select(Recipe)).one()
    session.add(Mended(recipe_id=recipe.id, what="wrong_time", mended_at=IN_WEEK))
    set_hand_label(
        session, wrote["worked"], "kinds", ["made_it"], account_id=None, now=IN_WEEK, from_random_sample=True
    )

    done = [line.words for line in build(session).done]

    assert done[:4] == [
        "1 reply sent.",
        "“rye crackers” was taken to the bench.",
        "Mended on Rye loaf: wrong time.",
        "1 message labelled by hand.",
    ]
    assert "cannot be said yet" in done[4]


def test_what_it_is_unsure_of(session: Session) -> None:
    message = make_message(session, received_at=IN_WEEK, reader_id=make_reader(session).id)
    label(session, message, "made_it", outcome="worked", least_sure=0.02)

    lines = build(session).unsure

    assert [line.words for line in lines] == [
        "One message could be read one way or the other; a touch settles each.",
        "One message speaks of a recipe, and it is not known which.",
    ]
    assert [line.figure.message_ids for line in lines if line.figure] == [(message.id,)] * 2


def test_other_languages_are_counted_apart(session: Session) -> None:
    message = make_message(session, received_at=IN_WEEK)
    add_reading(session, message.id, language="fr")
    settle(session, [message.id])

    digest = build(session)

    assert [line.words for line in digest.unsure] == [
        "One message is in another language; what it is, is for you to say."
    ]
    assert digest.now.counts["problem"].count == 0
    assert digest.now.counts["messages"].count == 1


def test_a_missing_digest_is_named(session: Session) -> None:
    with pytest.raises(NotFoundError, match="no digest of 2026-W01; there is none yet"):
        get_digest(session, "2026-W01")


def test_weeks_before_the_catalogue_of_a_long_year(session: Session) -> None:
    """Week 53 of 2026 is followed by week 1 of 2027."""
    digest = build(session, week=WEEK.parse("2027-W01"), now=BUILT_AT + timedelta(days=60))

    assert [one.week for one in digest.numbers][-3:] == ["2026-W52", "2026-W53", "2027-W01"]


def test_two_that_freeze_at_once_keep_one(fresh_engine: Engine) -> None:
    with Session(fresh_engine) as one, one.begin():
        fill_week(one)
        freeze(one, WEEK, site=SITE, caution=caution, now=BUILT_AT)
    with Session(fresh_engine) as two, two.begin():
        kept = freeze(two, WEEK, site=replace(SITE, name="Another"), caution=caution, now=BUILT_AT)

    assert isinstance(kept, Digest)
    assert kept.site_name == "Test kitchen"
