"""Finding a reader's own words beside a general-purpose library for it, mail-parser-reply (MIT).

The library reads thirteen languages and was tried first. On the mails of `tests/intake/test_own_words.py` it
cuts answers that stand below or between what they answer, and everything after a line that begins with a
dash; so the project reads line by line itself. Wherever the library finds exactly the reader's words, we
must.
"""

import pytest
from mailparser_reply import EmailReplyParser

from inbox.intake.own_words import own_words
from tests.intake.test_own_words import ATTRIBUTIONS, BLOCKS, HISTORY, OWN, quoted

LIBRARY = EmailReplyParser(languages=["en", "de", "fr", "es", "it", "nl", "pt"])
MAILS = [
    *(f"{OWN}\n\n{attribution}\n\n{quoted(HISTORY)}\n" for attribution in ATTRIBUTIONS),
    *(f"{OWN}\n\n{attribution}\n\n{HISTORY}\n" for attribution in ATTRIBUTIONS),
    *(f"{attribution}\n{quoted(HISTORY)}\n\n{OWN}\n" for attribution in ATTRIBUTIONS),
    *(f"{OWN}\n\n{block}\n\n{HISTORY}\n" for block in BLOCKS),
]


def library_words(text: str) -> str:
    reply = LIBRARY.read(text)
    return (reply.replies[0].body if reply.replies else "").strip()


@pytest.mark.parametrize("mail", MAILS)
def test_right_wherever_the_library_is(mail: str) -> None:
    if library_words(mail) == OWN:
        assert own_words(mail, is_answer=True) == OWN


def test_right_more_often_than_the_library() -> None:
    theirs = sum(library_words(mail) == OWN for mail in MAILS)
    ours = sum(own_words(mail, is_answer=True) == OWN for mail in MAILS)
    assert theirs >= 20, "the library finds so few that this compares nothing"
    assert ours > theirs
