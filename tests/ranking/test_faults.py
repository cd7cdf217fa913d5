from datetime import date

from inbox.ranking.faults import stand_out
from inbox.ranking.health import RecipeReports, Report

ON = date(2026, 5, 4)


def recipe(number: int, *faults: tuple[str, ...]) -> RecipeReports:
    return RecipeReports(
        number, tuple(Report(f"{number}-{n}", ON, 1.0, told) for n, told in enumerate(faults))
    )


OTHERS = [
    recipe(n, ("dry",), ("sank",), ("dense",), ("did_not_set",) if n == 3 else ("dry",)) for n in range(2, 12)
]


def test_a_fault_that_is_commoner_here_stands_out() -> None:
    found = stand_out([recipe(1, *[("did_not_set",)] * 5, ("dry",), ()), *OTHERS])
    first, second = found[1]
    assert (first.fault, first.reader_count, first.of_readers, first.stands_out) == (
        "did_not_set",
        5,
        6,
        True,
    )
    assert (first.elsewhere_count, first.of_elsewhere) == (1, 40)
    assert (second.fault, second.stands_out) == ("dry", False)


def test_what_is_common_everywhere_does_not_stand_out() -> None:
    found = stand_out([recipe(1, ("dry",), ("dry",), ("sank",)), *OTHERS])
    assert not any(one.stands_out for one in found[1])


def test_one_reader_saying_it_often_is_one_reader() -> None:
    loud = RecipeReports(1, tuple(Report("same", ON, 1.0, ("leaked",)) for _ in range(8)))
    (only,) = stand_out([loud, *OTHERS])[1]
    assert (only.reader_count, only.adjusted_p_value, only.stands_out) == (1, None, False)


def test_a_catalogue_of_one_or_none() -> None:
    assert stand_out([]) == {}
    (only,) = stand_out([recipe(1, ("dry",), ("dry",), ("dry",))])[1]
    assert only.adjusted_p_value is None
    assert stand_out([recipe(1, (), ())]) == {}
