from datetime import date, timedelta

import numpy as np

from inbox.ranking.questions import Asked, has_stopped, known_again, repeated

DAY = date(2026, 3, 1)


def asked(*readers: str) -> list[Asked]:
    return [Asked(number, reader, DAY + timedelta(days=number)) for number, reader in enumerate(readers)]


def test_alike_questions_of_several_readers_are_one() -> None:
    similarity = np.eye(5)
    for one, other in ((0, 1), (0, 2), (1, 2)):
        similarity[one, other] = similarity[other, one] = 0.8
    (only,) = repeated(asked("a", "b", "c", "d", "e"), similarity, alike_from=0.6)
    assert sorted(only.message_ids) == [0, 1, 2]
    assert only.in_words == "Three readers ask this."
    assert (only.first_on, only.last_on) == (DAY, DAY + timedelta(days=2))


def test_one_reader_asking_twice_is_no_repeated_question() -> None:
    assert repeated(asked("a", "a"), np.ones((2, 2)), alike_from=0.6) == []
    assert repeated(asked("a"), np.ones((1, 1)), alike_from=0.6) == []
    assert repeated([], np.zeros((0, 0)), alike_from=0.6) == []


def test_whether_a_note_stopped_it() -> None:
    before = [Asked(n, str(n), DAY + timedelta(days=5 * n)) for n in range(14)]
    noted = DAY + timedelta(days=70)
    early = has_stopped(before, noted_on=noted, asked_since=DAY, on=noted + timedelta(days=3))
    late = has_stopped(before, noted_on=noted, asked_since=DAY, on=noted + timedelta(days=70))
    assert early.in_words == "Asked fourteen times before, never since: still too few days to tell."
    assert late.in_words.endswith("it comes less often.")


def test_an_answered_question_is_known_again_by_its_messages() -> None:
    groups = [(1, 2, 3), (4, 5, 6, 7), (8,)]

    assert known_again((3, 4, 5), groups) == 1
    assert known_again((3,), groups) == 0
    assert known_again((99,), groups) is None
    assert known_again((99,), []) is None
