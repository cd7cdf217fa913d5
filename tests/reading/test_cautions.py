"""Every hazard has its caution with a source; numbers are given only for a country that is set."""

import pytest

from inbox.reading.cautions import caution_for
from inbox.words import HAZARDS


@pytest.mark.parametrize("code", HAZARDS)
def test_every_hazard_has_a_caution_with_its_source(code: str) -> None:
    caution = caution_for(code)

    assert caution.words
    assert caution.defer
    assert caution.owner_checks
    assert caution.sources
    assert all(source.how for source in caution.sources)


@pytest.mark.parametrize("code", HAZARDS)
def test_no_caution_says_that_something_is_safe(code: str) -> None:
    caution = caution_for(code, "US")
    said = " ".join([caution.words, caution.defer, *caution.owner_checks]).lower()

    for phrase in ("it is safe", "is harmless", "no danger", "nothing to worry", "perfectly fine"):
        assert phrase not in said


@pytest.mark.parametrize("code", HAZARDS)
def test_no_number_without_a_country(code: str) -> None:
    assert caution_for(code).help_lines == ()
    assert caution_for(code, "ZZ").help_lines == ()


def test_numbers_go_by_country() -> None:
    assert [line.number for line in caution_for("illness", "US").help_lines] == ["911", "1-800-222-1222"]
    assert [line.number for line in caution_for("illness", "de").help_lines] == ["112"]
    assert [line.number for line in caution_for("pet", "US").help_lines] == ["(888) 426-4435"]
    assert caution_for("pet", "GB").help_lines == ()
