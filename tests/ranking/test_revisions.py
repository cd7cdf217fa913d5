from datetime import date, timedelta

from inbox.ranking.health import Report
from inbox.ranking.revisions import compare

START = date(2026, 3, 2)


def reports(failed: int, total: int, fault: str = "runny") -> list[Report]:
    return [
        Report(f"{fault}{n}", START + timedelta(days=n), float(n < failed), (fault,) if n < failed else ())
        for n in range(total)
    ]


def test_a_change_that_helped() -> None:
    effect = compare(reports(9, 14, "did_not_set"), reports(1, 12, "stuck"))
    assert effect.verdict == "better"
    assert effect.fell_probability > 0.97
    assert effect.difference_high < 0
    assert effect.in_words.startswith(
        "Before the change nine of fourteen readers failed, since then one of twelve."
    )
    assert (effect.faults[0].fault, effect.faults[0].before_count, effect.faults[0].after_count) == (
        "did_not_set",
        9,
        0,
    )
    assert effect.faults[0].fell_probability > 0.98


def test_a_change_that_made_it_worse() -> None:
    assert compare(reports(1, 15), reports(8, 12)).verdict == "worse"


def test_two_reports_after_a_change_are_too_few() -> None:
    effect = compare(reports(5, 14), reports(0, 2))
    assert effect.verdict == "too_few"
    assert effect.in_words.endswith("Still too few to tell.")


def test_three_good_reports_are_a_hint_and_no_proof() -> None:
    effect = compare(reports(5, 14), reports(0, 3))
    assert 0.7 < effect.fell_probability < 0.95
    assert effect.verdict == "too_few"


def test_many_reports_and_no_difference() -> None:
    assert compare(reports(3, 25), reports(3, 25)).verdict == "about_the_same"


def test_nothing_after_the_change_is_no_improvement() -> None:
    effect = compare(reports(14, 14), [])
    assert effect.verdict == "too_few"
    assert (effect.difference_low, effect.difference_high) == (-1.0, 1.0)
