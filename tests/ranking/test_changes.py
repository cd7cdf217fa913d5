import pytest

from inbox.ranking.changes import MadeIt, changes_and_outcomes, find_changes


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("I used almond flour instead of plain.", [("substitution", "almond flour")]),
        ("Halved the sugar and it was lovely.", [("less", "sugar")]),
        ("I left out the eggs", [("less", "eggs")]),
        ("Added extra butter because why not", [("more", "butter")]),
        ("We live at 6,000 feet so it rose too fast.", [("altitude", "6,000 feet")]),
        ("Baked in a fan oven.", [("oven", "fan oven")]),
        ("I doubled the recipe.", [("size", "doubled the recipe")]),
        ("Can I use oat milk instead of cream?", []),
        ("I didn't use oat milk instead.", []),
        ("Followed it to the letter.", []),
        ("", []),
    ],
)
def test_changes_are_read_from_words(text: str, found: list[tuple[str, str]]) -> None:
    assert find_changes(text) == found


def test_a_change_that_goes_with_failure_is_found() -> None:
    changed = [MadeIt(n, f"a{n}", "I used almond milk instead of cream.", True) for n in range(6)]
    plain = [MadeIt(100 + n, f"b{n}", "As written.", n == 0) for n in range(20)]
    (first,) = changes_and_outcomes([*changed, *plain])
    assert first.goes_with_failure
    assert first.message_ids == (0, 1, 2, 3, 4, 5)
    said = "Of those who used almond milk instead, six of six failed; of the others one of twenty."
    assert first.in_words == said


def test_a_change_that_turns_out_as_well_does_not() -> None:
    changed = [MadeIt(n, f"a{n}", "I halved the sugar.", n == 0) for n in range(6)]
    plain = [MadeIt(100 + n, f"b{n}", "As written.", n < 4) for n in range(20)]
    (only,) = changes_and_outcomes([*changed, *plain])
    assert not only.goes_with_failure


def test_one_reader_counts_once() -> None:
    (only,) = changes_and_outcomes([MadeIt(n, "same", "Halved the sugar.", n == 3) for n in range(5)])
    assert (only.reader_count, only.failed_count, only.other_reader_count) == (1, 1, 0)
    assert changes_and_outcomes([]) == []
