import json
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inbox.places import seed_folder
from inbox.reading.cues import NAMES, count_cues, words_of_cue
from inbox.reading.faults import fault_signs
from inbox.reading.findings import Told
from inbox.reading.hazards import hazard_signs
from inbox.reading.key_words import KeyWords, key_words

CUES: list[str] = list(
    json.loads((seed_folder() / "cues.json").read_text(encoding="utf-8"))["phrases"].values()
)
SHIPPED = CUES + [pattern.pattern for table in (fault_signs(), hazard_signs()) for pattern in table.patterns]


@pytest.mark.parametrize(
    ("expression", "keys"),
    [
        (r"\bburn\w*", {"burn"}),
        (r"\b(?:not|never)(?:\W+[\w']+){0,3}?\W+(?:rise|rising)\b", {"rise", "rising"}),
        (r"\bpr(y|ise)\b", {"pr"}),
        (r"\bflavo(u)?rless\b", {"flavo"}),
        (r"\bcolou?r", {"colo"}),
        (r"\b(?:so |very )*good\b", {"good"}),
        (r"\b(?:very)?good\b", None),
        (r"\blo+k", {"lo"}),
        (r"^\W*(?:how|why)\b", {"how", "why"}),
        (r"\bkeeper\b|\bon repeat\b", {"keeper", "repeat"}),
        (r"\b(?:one|\d+) stars?\b", {"star"}),
        (r"\bwell-known\b", {"known"}),
        (r"x|\?", None),
        (r"salt", None),
        (r"\B(?:salt)", None),
        (r"(?=salt)\bsalt", None),
        (r"\w+ish\b", None),
        (r"\b[abc]ake\b", None),
        (r"\b(?:|salt)\b", None),
    ],
)
def test_the_word_that_cannot_be_done_without(expression: str, keys: set[str] | None) -> None:
    assert key_words(expression) == keys


def test_most_of_the_shipped_expressions_have_one() -> None:
    without = [expression for expression in SHIPPED if key_words(expression) is None]
    assert len(without) < 0.03 * len(SHIPPED)


def _words_of(expressions: list[str]) -> list[str]:
    return sorted({word for one in expressions for word in re.findall(r"[a-z]{1,}", one)})


_LINKS = st.sampled_from([" ", " ", " ", "-", "'", ", ", "  ", ". ", "\n", "", "_", "é", "5"])
_TEXTS = st.lists(
    st.tuples(st.sampled_from(_words_of(SHIPPED)) | st.text(max_size=3), _LINKS), min_size=1, max_size=30
).map(lambda pairs: "".join(word + link for word, link in pairs))


@settings(max_examples=300, deadline=None)
@given(_TEXTS)
def test_nothing_that_matches_is_left_untried(text: str) -> None:
    worth_trying = _KEY_WORDS.worth_trying(text)
    assert {number for number, one in enumerate(_COMPILED) if one.search(text)} <= set(worth_trying)
    assert worth_trying == sorted(worth_trying)


_KEY_WORDS = KeyWords(SHIPPED)
_COMPILED = [re.compile(one) for one in SHIPPED]


def test_few_are_worth_trying() -> None:
    tried = _KEY_WORDS.worth_trying("we made this on sunday and the middle was still raw, what went wrong?")
    assert len(tried) < 0.15 * len(SHIPPED)


def test_cues_ignore_case_and_keep_the_readers_own() -> None:
    assert all(re.sub(r"\\.", "", one) == re.sub(r"\\.", "", one).lower() for one in CUES)
    text = "İt Was ſO lovely. I MADE it with Kale"
    told = Told(text)
    by_name = dict(zip(NAMES, count_cues([told], [text])[0], strict=True))
    for name, one in zip(NAMES, CUES, strict=False):
        assert np.expm1(by_name[name]) == pytest.approx(len(re.findall(one, text, re.IGNORECASE)))
    assert (by_name["made"] > 0, words_of_cue("made", text)) == (True, "I MADE")
