"""Who waits for an answer, in which order, with one line of why."""

from datetime import datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.records.tables import Message
from inbox.records.undo import remember, undo
from inbox.replies.drafts import open_draft
from inbox.replies.stuck import words_of_haste
from inbox.replies.whom import OwedCount, count_words, no_reply_needed, owed, owed_count
from tests.makers import make_account, make_message, make_reader, make_recipe
from tests.replies.outbox import SENDER, label, make_waiting


def wrote(
    session: Session, now: datetime, *kinds: str, hours: float = 24, text: str = "Hm.", **facts: object
) -> Message:
    labels = {key: facts.pop(key) for key in ("hazard", "recipe_id", "outcome") if key in facts}
    if "reader_id" not in facts:
        facts["reader_id"] = make_reader(session).id
    message = make_message(session, received_at=now - timedelta(hours=hours), text=text, **facts)
    return label(session, message, *kinds, **labels)


def test_the_order_in_which_readers_are_answered(any_session: Session, now: datetime) -> None:
    rest = wrote(any_session, now, "comment", hours=1)
    first = wrote(any_session, now, "made_it")
    question = wrote(any_session, now, "question")
    problem = wrote(any_session, now, "made_it", "problem", hours=100)
    stuck = wrote(any_session, now, "question", hours=1, text="It's in the oven right now, do I carry on?")
    hazard = wrote(any_session, now, "comment", hours=900, hazard="illness")

    found = owed(any_session, now=now)

    assert [entry.group for entry in found] == [
        "hazard",
        "stuck",
        "problem",
        "question",
        "first_made_it",
        "rest",
    ]
    wanted = [hazard, stuck, problem, question, first, rest]
    assert [entry.message_ids for entry in found] == [(message.id,) for message in wanted]
    assert all(entry.reason.endswith(".") for entry in found)
    assert "right now" in found[1].reason or "in the oven" in found[1].reason


def test_one_reader_on_one_recipe_is_one_entry(session: Session, now: datetime) -> None:
    reader, recipe, other = make_reader(session), make_recipe(session, title="Rye loaf"), make_recipe(session)
    ids = [
        wrote(session, now, "question", hours=hours, reader_id=reader.id, recipe_id=recipe.id).id
        for hours in (3, 2, 1)
    ]
    apart = wrote(session, now, "question", hours=4, reader_id=reader.id, recipe_id=other.id).id

    found = owed(session, now=now)

    assert [entry.message_ids for entry in found] == [tuple(reversed(ids)), (apart,)]
    assert found[0].reason == "Has a question about Rye loaf, 3 messages."


def test_answering_one_answers_the_others_of_the_entry(session: Session, now: datetime) -> None:
    reader, recipe = make_reader(session), make_recipe(session)
    ids = [
        wrote(
            session, now, "question", hours=hours, reader_id=reader.id, recipe_id=recipe.id, channel="email"
        ).id
        for hours in (3, 2)
    ]
    reply = open_draft(session, ids[1], now=now, sender=SENDER)
    assert reply.also_answers == [ids[0]]
    assert owed(session, now=now)[0].draft_id == reply.id

    reply.state = "waiting"
    session.flush()

    assert owed(session, now=now) == []


def test_no_reply_needed_is_one_touch_and_can_be_taken_back(session: Session, now: datetime) -> None:
    message = wrote(session, now, "question")

    account = make_account(session)
    step = remember(session, [message.id], account_id=account.id, now=now)
    no_reply_needed(session, [message.id], now)
    assert owed(session, now=now) == []

    undo(session, step, account_id=account.id)
    assert [entry.message_ids for entry in owed(session, now=now)] == [(message.id,)]

    with pytest.raises(NotFoundError, match="no message 987654"):
        no_reply_needed(session, [987654], now)


def test_who_cannot_or_need_not_be_answered_is_left_out(session: Session, now: datetime) -> None:
    wrote(session, now, "junk")
    wrote(session, now, "question", kept_apart="auto_reply")
    wrote(session, now, "question", reader_id=make_reader(session, bounced_at=now).id)
    wrote(session, now, "question", reader_id=make_reader(session, email=None, forgotten_at=now).id)
    wrote(session, now, "question", reader_id=None)
    wrote(session, now, "question", hours=24 * 90)
    session.flush()
    make_waiting(session, now)
    comment = wrote(session, now, "question", reader_id=None, channel="comment")
    hazard = wrote(session, now, "problem", reader_id=None, hazard="allergen")

    found = owed(session, now=now)

    assert [(entry.message_ids, entry.way) for entry in found] == [
        ((hazard.id,), "none"),
        ((comment.id,), "place"),
    ]


def test_who_asked_for_an_answer_comes_first_in_the_group(session: Session, now: datetime) -> None:
    wrote(session, now, "question", hours=1)
    asked = wrote(session, now, "question", hours=200, reply_wanted=True)

    assert owed(session, now=now)[0].message_ids == (asked.id,)
    assert "asked for an answer" in owed(session, now=now)[0].reason


def test_a_second_report_is_no_first_one(session: Session, now: datetime) -> None:
    reader = make_reader(session)
    wrote(session, now, "made_it", hours=400, reader_id=reader.id)
    second = wrote(session, now, "made_it", hours=2, reader_id=reader.id)

    groups = {entry.message_ids: entry.group for entry in owed(session, now=now)}

    assert groups[(second.id,)] == "rest"


def test_counts_take_a_message_once(session: Session, now: datetime) -> None:
    wrote(session, now, "problem", "question", hazard="injury")
    wrote(session, now, "problem", "question")
    wrote(session, now, "question")
    wrote(session, now, "made_it")

    counts = owed_count(session, now=now)

    assert counts == dict.fromkeys(
        ("hazard", "problem", "question", "first_made_it"), OwedCount(1, is_all=True)
    )


@pytest.mark.parametrize(
    "text",
    [
        "It's in the oven as we speak, is the wobble normal?",
        "Help please! The dough is in the bowl right now, should I carry on kneading?",
        "I'm halfway through making this and there is no sugar in the list?",
        "My caramel is still liquid after an hour. Can I save it?",
    ],
)
def test_haste_is_seen(text: str) -> None:
    assert words_of_haste(text)


@pytest.mark.parametrize(
    "text",
    [
        "Can this be made in the oven?",
        "Made it last week, nobody is complaining right now.",
        "I am out of the office. For urgent matters contact reception.",
        "Help yourself to seconds, I did!",
    ],
)
def test_no_haste_is_seen_where_there_is_none(text: str) -> None:
    assert words_of_haste(text) is None


def test_counting_stops_where_it_says(session: Session, now: datetime) -> None:
    for _ in range(3):
        wrote(session, now, "question")

    assert owed_count(session, now=now, at_most=2)["question"] == OwedCount(2, is_all=False)
    assert owed_count(session, now=now, at_most=3)["question"] == OwedCount(3, is_all=True)
    assert [count_words(count) for count in (0, 999, 1000)] == ["0", "999", "1,000 or more"]
    assert [str(OwedCount(1_200, is_all)) for is_all in (True, False)] == ["1,200", "1,200 or more"]


def test_first_reports_are_looked_for_among_so_many(any_session: Session, now: datetime) -> None:
    reader = make_reader(any_session)
    wrote(any_session, now, "made_it", reader_id=reader.id, hours=30)
    for hours in (20, 10):
        wrote(any_session, now, "made_it", reader_id=reader.id, hours=hours)

    assert owed_count(any_session, now=now)["first_made_it"] == OwedCount(1, is_all=True)
    assert owed_count(any_session, now=now, reports_at_most=3)["first_made_it"] == OwedCount(1, is_all=True)
    assert not owed_count(any_session, now=now, reports_at_most=2)["first_made_it"].is_all
