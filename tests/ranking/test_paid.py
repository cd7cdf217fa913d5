"""Whether a theme paid: who asked and cooked, beside the others, in words that suit small numbers."""

from datetime import UTC, datetime, timedelta

import pytest

from inbox.ranking.paid import Made, did_it_pay, published_since

THEN = datetime(2026, 6, 1, tzinfo=UTC)


def made(*reports: tuple[int | None, str | None]) -> list[Made]:
    return [
        Made(100 + at, reader, THEN + timedelta(days=at), outcome)
        for at, (reader, outcome) in enumerate(reports)
    ]


def test_a_reader_counts_once_by_the_newest_word_on_how_it_turned_out() -> None:
    found = did_it_pay(
        {1, 2, 3}, (), 0, made((1, "failed"), (1, "worked"), (1, None), (2, None), (9, "mixed"))
    )

    assert found.askers.readers == {"worked": 1, "mixed": 0, "failed": 0, "not_said": 1}
    assert found.askers.message_ids["worked"] == [100, 101, 102]
    assert found.others.readers["mixed"] == 1
    assert found.in_words == (
        "Of three readers who asked, two told of making it: one worked and one did not say how it turned out."
    )
    assert "Too few to set the two beside each other." in found.compared


def test_who_cannot_be_known_again_is_said() -> None:
    found = did_it_pay({1, 2, 3}, {2, 3}, 1, made((3, "worked"), (None, "failed"), (None, "failed")))

    assert (found.asked_count, found.unmatched_count) == (4, 2)
    assert found.in_words.endswith(
        "Two of them left no address to be known again by, so what they cooked may be missing here."
    )
    assert found.others.count == 2


@pytest.mark.parametrize(
    ("asked", "unknown", "words"),
    [
        (set(), 0, "Nobody is known to have asked for it."),
        ({1}, 0, "The one reader who asked has not told of making it."),
        ({1, 2}, 0, "Of two readers who asked, none told of making it."),
    ],
)
def test_small_numbers_have_plain_words(asked: set[int], unknown: int, words: str) -> None:
    found = did_it_pay(asked, (), unknown, [])

    assert (found.in_words, found.compared) == (words, "Nobody else has told of making it.")


@pytest.mark.parametrize(
    ("failed_of_askers", "failed_of_others", "words"),
    [
        (9, 1, "It fails more often for those who asked."),
        (1, 9, "It fails less often for those who asked."),
        (3, 4, "No clear difference between the two."),
    ],
)
def test_the_sides_are_compared_where_there_are_enough(
    failed_of_askers: int, failed_of_others: int, words: str
) -> None:
    reports = [(n, "failed" if n < failed_of_askers else "worked") for n in range(10)]
    reports += [(50 + n, "failed" if n < failed_of_others else "worked") for n in range(10)]

    assert did_it_pay(set(range(10)), (), 0, made(*reports)).compared.endswith(words)


def test_reports_count_from_the_recipe_on_unless_it_is_older_than_the_wish() -> None:
    asked, shelved = THEN, THEN + timedelta(days=30)

    assert published_since(shelved, THEN + timedelta(days=20), asked) == THEN + timedelta(days=20)
    assert published_since(shelved, THEN - timedelta(days=900), asked) == shelved
    assert published_since(shelved, None, asked) == shelved
