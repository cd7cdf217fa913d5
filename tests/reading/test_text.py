import pytest

from inbox.reading.findings import Told
from inbox.reading.prepared import marked_terms
from inbox.reading.text import clauses, negated, plain_text, words


def test_typographic_signs_become_plain_and_the_subject_comes_first() -> None:
    assert plain_text(Told("It’s “fine”…", subject="Loaf")) == 'Loaf. It\'s "fine"...'


@pytest.mark.parametrize(
    ("text", "cut"),
    [
        ("Lovely. It sank!", ["Lovely.", "It sank!"]),
        ("Great flavour, but it sank", ["Great flavour", "but it sank"]),
        ("One\ntwo; three - four", ["One", "two", "three", "four"]),
        ("", [""]),
    ],
)
def test_clauses_end_at_sentences_and_at_words_of_contrast(text: str, cut: list[str]) -> None:
    assert clauses(text) == cut


def test_a_negation_reaches_a_few_words_and_no_further() -> None:
    found = words("it did not sink in the middle at all")
    assert [w for w, turned in zip(found, negated(found), strict=True) if turned] == [
        "sink",
        "in",
        "the",
        "middle",
    ]


def test_a_negation_does_not_reach_into_the_next_clause() -> None:
    terms = marked_terms(clauses("It didn't sink. Dense though."))
    assert "sink_not" in terms
    assert "dense" in terms


def test_a_very_long_message_is_bounded() -> None:
    assert len(clauses("Good. " * 10_000)) <= 60
