"""A reader's own new words in the mails of two general-purpose libraries' own tests, talon and quotequail."""

import os
from pathlib import Path

import pytest

from tests.bench.own_words import ours, right
from tests.outside.reply_fixtures import PACKAGES, Case, cases

FOLDER = Path(__file__).parents[2] / ".fixtures"
"""Where `.ci/run` puts the source distributions."""

CASES = cases(FOLDER)
OTHERWISE = {
    "test_pattern_on_date_polymail",  # an attribution with an empty line in it
    "test_link_closed_with_quotation_marker_on_new_line",  # a lone "From:" line in the middle of a text
    "test_link_breaks_quotation_markers_sequence",  # an unmarked line between quoted ones is an answer to us
    "test_from_block_starts_with_date",  # two fields, none of which says from whom
}
"""Mails of talon that we read otherwise, and what is odd about them."""


def test_fixtures_are_there_where_they_are_required() -> None:
    missing = [name for name in PACKAGES if not (FOLDER / f"{name}.tar.gz").is_file()]
    if os.environ.get("INBOX_TESTS_REQUIRE") == "all":
        assert not missing
        assert len(CASES) >= 80
    elif missing:
        pytest.skip(f"not in {FOLDER}: {', '.join(missing)}")


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.set}: {case.name}")
def test_new_words_are_found(case: Case) -> None:
    if case.name in OTHERWISE:
        pytest.xfail("read otherwise")
    assert right(case, ours)
