"""Taking oneself off by one click, checked against RFC 8058 (Levine, Herkula, 2017).

https://www.rfc-editor.org/rfc/rfc8058 sections 2, 3.1, 3.2 and 5. What the web does with the
request (no cookies needed, no redirect, a look alone changes nothing) is tested in tests/web.
"""

import re
from datetime import datetime
from email import message_from_bytes
from email.policy import default

import pytest
from sqlalchemy.orm import Session

from inbox.records.tables import Reader
from inbox.replies.compose import POLICY
from inbox.replies.letter import build_mail
from inbox.replies.telling import reader_of, unsubscribe
from tests.replies.outbox import SENDER
from tests.replies.test_telling import press, published, wished


@pytest.fixture
def told(session: Session, now: datetime) -> tuple[Reader, bytes]:
    """A reader, and the bytes of the mail that tells them."""
    theme = published(session)
    reader = wished(session, theme, now)
    (reply,) = press(session, theme, now)
    return reader, build_mail(reply, None, SENDER, now).as_bytes(policy=POLICY)


def test_both_fields_and_exactly_one_https_address(told: tuple[Reader, bytes]) -> None:
    """Section 3.1: one HTTPS URI in List-Unsubscribe, and List-Unsubscribe-Post with the one pair."""
    mail = message_from_bytes(told[1], policy=default)

    assert re.findall(r"<(https://[^>]+)>", mail["List-Unsubscribe"]) == [
        f"https://post.kitchen.example/unsubscribe/{told[0].unsubscribe_token}"
    ]
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert len("List-Unsubscribe=One-Click") == 26


def test_the_address_is_folded_whole(told: tuple[Reader, bytes]) -> None:
    """An encoded or broken address would not be found by the receiver's program."""
    (line,) = [line for line in told[1].split(b"\r\n") if line.startswith(b"List-Unsubscribe:")]
    assert line.endswith(b">")
    assert b"=?" not in line


def test_the_opaque_part_is_hard_to_forge(
    session: Session, now: datetime, told: tuple[Reader, bytes]
) -> None:
    """Section 3.1: an opaque identifier or another hard-to-forge component; here 24 random bytes."""
    token = told[0].unsubscribe_token
    assert token is not None
    assert len(token) >= 32
    other = wished(session, published(session), now)
    press(session, published(session), now)
    assert other.unsubscribe_token != token
    assert not unsubscribe(session, token[:-1] + ("a" if token[-1] != "a" else "b"), now)
    assert told[0].unsubscribed_at is None


def test_a_look_changes_nothing_and_the_post_does(
    session: Session, now: datetime, told: tuple[Reader, bytes]
) -> None:
    """That GET must not unsubscribe is an inference from section 1: link checkers follow links."""
    reader = told[0]
    assert reader.unsubscribe_token is not None
    assert reader_of(session, reader.unsubscribe_token) is reader
    assert reader.unsubscribed_at is None

    assert unsubscribe(session, reader.unsubscribe_token, now)
    assert reader.unsubscribed_at == now
