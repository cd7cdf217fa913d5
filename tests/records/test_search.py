"""Finding messages by words and facts, on both databases, and going on by position."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import delete
from sqlalchemy.orm import Session

from inbox.records.search import (
    MARK_END,
    MARK_START,
    Found,
    Search,
    as_match,
    beside,
    every_id,
    find,
    messages_of,
)
from inbox.records.settle import set_hand_label
from inbox.records.tables import Message
from tests.makers import make_message, make_reader, make_recipe

DAY = datetime(2026, 11, 1, 12, tzinfo=UTC)


def _texts(session: Session, found: Found) -> list[str]:
    return [message.text for message in messages_of(session, found.ids)]


def _found(session: Session, **wanted: object) -> list[str]:
    return _texts(session, find(session, Search(**wanted)))


@pytest.mark.parametrize(
    ("words", "finds"),
    [
        ("curdle", True),
        ("custards", True),
        ("creme", True),
        ('"custard curdled"', True),
        ('"curdled custard"', False),
        ("custard -lemon", True),
        ("custard -curdled", False),
        ("lemon", False),
        ("custard lemon", False),
    ],
)
def test_words_are_found_by_stem_and_in_quotes(any_session: Session, words: str, finds: bool) -> None:
    make_message(any_session, text="My creme custard curdled at once.")

    assert bool(_found(any_session, words=words)) is finds


@pytest.mark.parametrize(
    "words", ['"', '""', "*", "AND", "a OR", "(", "-", "NEAR(", "x:y", "\x00", "'; DROP", "^bread"]
)
def test_no_words_break_the_search(any_session: Session, words: str) -> None:
    make_message(any_session, text="bread")

    assert isinstance(_found(any_session, words=words), list)


def test_found_words_are_marked_in_subject_and_text(any_session: Session) -> None:
    message = make_message(any_session, subject="A sunken cake", text="It sank. My cakes do.")

    found = find(any_session, Search(words="cake"))

    subject, text = found.marked[message.id]
    assert subject == f"A sunken {MARK_START}cake{MARK_END}"
    assert text == f"It sank. My {MARK_START}cakes{MARK_END} do."


def test_the_index_follows_changes_and_deletions(any_session: Session) -> None:
    message = make_message(any_session, text="about rhubarb")
    message.text = "about quinces"
    any_session.flush()

    assert _found(any_session, words="rhubarb") == []
    assert _found(any_session, words="quince") == ["about quinces"]

    any_session.execute(delete(Message).where(Message.id == message.id))
    assert _found(any_session, words="quince") == []


@pytest.mark.parametrize(
    ("few", "near"),
    [(8, 8), (3, 8), (3, 9), (3, 5), (3, 1)],
    ids=["fetched", "just all near", "all near", "too few near", "one near"],
)
@pytest.mark.parametrize("hours", [1, 0], ids=["one after the other", "all at once"])
def test_however_many_match_the_newest_come_first(session: Session, few: int, near: int, hours: int) -> None:
    for number in range(8):
        make_message(session, text=f"bread {number}", received_at=DAY + number * timedelta(hours=hours))

    found = find(session, Search(words="bread"), limit=5, few_matches=few, near_count=near)

    assert _texts(session, found) == [f"bread {number}" for number in (7, 6, 5, 4, 3)]
    back = find(
        session, Search(words="bread"), limit=2, few_matches=few, near_count=near, newer_than=found.places[-1]
    )
    assert _texts(session, back) == ["bread 5", "bread 4"]


def test_common_words_are_found_whatever_order_the_numbers_are_in(session: Session, now: datetime) -> None:
    """Old archives come in late: then the highest numbers are the oldest messages."""
    recipe = make_recipe(session, slug="loaf")
    hours = [5, 3, 9, 1, 7, 0, 8, 2, 6, 4] * 4
    for at, hour in enumerate(hours):
        words = "bread" if hour % 3 else "cake"
        message = make_message(session, text=f"{words} {hour}", received_at=DAY + timedelta(hours=hour))
        if at % 2:
            set_hand_label(session, message.id, "recipe", "loaf", account_id=None, now=now)
    for wanted in ({"words": "bread"}, {"words": "bread", "recipe_id": recipe.id}):
        every = find(session, Search(**wanted), limit=40).ids
        assert len(every) in (24, 12)
        for near in (1, 5, 13, 40):
            seen: list[int] = []
            position = None
            while len(seen) < len(every):
                stretch = find(
                    session, Search(**wanted), limit=5, few_matches=2, near_count=near, older_than=position
                )
                seen += stretch.ids
                position = stretch.places[-1]
            assert seen == every, (wanted, near)
            assert not stretch.has_older


def test_going_on_and_back_by_position_meets_each_message_once(any_session: Session) -> None:
    """Several messages share one moment, so that the number must settle the order."""
    for number in range(10):
        make_message(any_session, text=str(number), received_at=DAY + timedelta(hours=number // 4))

    seen: list[str] = []
    stretch = find(any_session, Search(), limit=3)
    while True:
        seen += _texts(any_session, stretch)
        if not stretch.has_older:
            break
        stretch = find(any_session, Search(), older_than=stretch.places[-1], limit=3)
    assert seen == [str(number) for number in reversed(range(10))]

    back = find(any_session, Search(), newer_than=stretch.places[0], limit=3)
    assert _texts(any_session, back) == ["3", "2", "1"]
    assert back.has_newer
    assert back.has_older


def test_facts_narrow_the_list(any_session: Session, now: datetime) -> None:
    recipe, reader = make_recipe(any_session, slug="lemon-tart"), make_reader(any_session)
    sunk = make_message(any_session, text="sank", reader_id=reader.id, received_at=DAY, may_quote=True)
    make_message(any_session, text="lovely", received_at=DAY + timedelta(days=1))
    make_message(any_session, text="out of office", kept_apart="auto_reply")
    for field, value in {
        "kinds": ["made_it", "problem"],
        "outcome": "failed",
        "faults": ["sank"],
        "hazard": "allergen",
        "recipe": "lemon-tart",
    }.items():
        set_hand_label(any_session, sunk.id, field, value, account_id=None, now=now)

    for wanted in (
        {"kind": "problem"},
        {"outcome": "failed"},
        {"fault": "sank"},
        {"hazard": "any"},
        {"hazard": "allergen"},
        {"recipe_id": recipe.id},
        {"reader_id": reader.id},
        {"until": DAY + timedelta(hours=1)},
        {"quotable": True},
    ):
        assert _found(any_session, **wanted) == ["sank"], wanted
    assert _found(any_session, since=DAY + timedelta(hours=1)) == ["lovely"]
    assert _found(any_session, apart=True) == ["out of office"]
    assert _found(any_session, kind="junk") == []
    assert find(any_session, Search(), limit=1, count_at_most=9).count == 2
    assert find(any_session, Search(), count_at_most=1).count == 1
    assert every_id(any_session, Search(kind="problem")) == [sunk.id]


def test_neighbours_in_time(session: Session) -> None:
    first, second, third = (make_message(session, received_at=DAY + timedelta(hours=n)) for n in range(3))

    assert beside(session, second) == (first.id, third.id)
    assert beside(session, first) == (None, second.id)


def test_only_words_to_leave_out_find_nothing() -> None:
    assert as_match("-bread") == ""
