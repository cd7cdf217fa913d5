import re

import pytest

from inbox.reading.faults import fault_signs
from inbox.reading.hazards import hazard_signs
from inbox.reading.signs import SignTable
from inbox.words import FAULTS, HAZARDS


def test_star_gap_and_bar() -> None:
    table = SignTable({"a": ["burn*"], "b": ["(not|never) _ rise"], "c": ["dry"]})
    found = table.find(["It burnt", "it did not really want to rise", "dryness"])
    assert [(one.code, one.clause, one.words) for one in found] == [
        ("a", 0, "burnt"),
        ("b", 1, "not really want to rise"),
    ]


def test_the_readers_own_capitals_are_kept_and_a_negation_is_seen() -> None:
    [found] = SignTable({"sank": ["sink", "sank"]}).find(["It did NOT Sink"])
    assert (found.words, found.negated) == ("Sink", True)


def test_every_fault_and_hazard_has_signs() -> None:
    assert fault_signs().codes == FAULTS
    assert set(HAZARDS) < set(hazard_signs().codes)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("The middle sank", "sank"),
        ("welded to the tin", "stuck"),
        ("it never set", "did_not_set"),
        ("far too salty for us", "too_salty"),
        ("like a brick", "dense"),
        ("the print button doesn't work", "page_fault"),
        ("the sauce split", "curdled"),
        ("took twice as long", "wrong_time"),
    ],
)
def test_plain_complaints_show_their_sign(text: str, code: str) -> None:
    assert code in {found.code for found in fault_signs().find([text])}


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("we were all violently ill that night", "illness"),
        ("my son came out in hives", "allergen"),
        ("we had to use her EpiPen", "allergen"),
        ("out came the epi-pen", "allergen"),
        ("the dish exploded in the oven, glass everywhere", "injury"),
        ("the chicken was pink at the bone", "undercooked_risk"),
        ("I keep the garlic oil on the counter", "preserving_risk"),
        ("bit on a piece of metal", "foreign_object"),
        ("the dog ate half the tray", "pet"),
    ],
)
def test_plain_alarms_show_their_sign(text: str, code: str) -> None:
    assert code in {found.code for found in hazard_signs().find([text])}


def test_signs_of_one_code_are_found_one_after_the_other_as_in_one_expression() -> None:
    table = SignTable({"dry": ["too dry", "dry", "dry and _ crumbs", "crumb*"]})
    text = "Too dry, dry and full of crumbs, dry crumbs"
    joined = re.compile("|".join(pattern.pattern for pattern in table.patterns))
    found = [one.words for one in table.find([text])]
    assert found == ["Too dry", "dry", "crumbs", "dry", "crumbs"]
    assert found == [text[match.start() : match.end()] for match in joined.finditer(text.lower())]


def test_each_of_many_signs_in_a_clause_is_found_once() -> None:
    table = SignTable({"salty": ["salt*", "pepper*", "never again"]})
    assert len(table.find(["salt " * 4000 + "pepper"])) == 4001
