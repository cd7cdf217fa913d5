"""Threading fields of an answer, checked against RFC 5322 (Resnick ed., 2008).

https://www.rfc-editor.org/rfc/rfc5322, sections 2.1.1, 3.6.4 and 3.6.5. Addresses are invented.
"""

from datetime import UTC, datetime
from email import message_from_bytes
from email.policy import default

import pytest

from inbox.replies.compose import POLICY, Sender, Thread, compose, identifiers, reply_subject, thread_of

NOW = datetime(2026, 11, 23, 9, 0, tzinfo=UTC)
SENDER = Sender(address="cook@kitchen.example", name="Sam", site_name="Test kitchen")


@pytest.mark.parametrize(
    ("message_id", "in_reply_to", "references", "expected"),
    [
        # 3.6.4: the parent's References, then the parent's Message-ID.
        ("<c@x.example>", "<b@x.example>", ["<a@x.example>", "<b@x.example>"], ("c", "a b c")),
        # 3.6.4: no References, an In-Reply-To with one identifier: that one, then the Message-ID.
        ("<c@x.example>", "<b@x.example>", [], ("c", "b c")),
        # 3.6.4: neither: the Message-ID alone.
        ("<c@x.example>", None, [], ("c", "c")),
        # 3.6.4: none of the three: no field at all.
        (None, None, [], (None, "")),
        # No Message-ID: no In-Reply-To; the parent's References are kept ("if any" for each part).
        (None, "<b@x.example>", ["<a@x.example>"], (None, "a")),
        (None, "<b@x.example>", [], (None, "b")),
        # Two identifiers in In-Reply-To and no References: an inference, only the Message-ID is taken.
        ("<c@x.example>", "<a@x.example> <b@x.example>", [], ("c", "c")),
        # 3.6.4: angle brackets are no part of the identifier.
        ("c@x.example", "b@x.example", ["a@x.example"], ("c", "a c")),
    ],
)
def test_the_cases_of_section_3_6_4(
    message_id: str | None, in_reply_to: str | None, references: list[str], expected: tuple[str | None, str]
) -> None:
    thread = thread_of(message_id, in_reply_to, references)

    answered, chain = expected
    assert thread.in_reply_to == (f"{answered}@x.example" if answered else None)
    assert thread.references == tuple(f"{one}@x.example" for one in chain.split())


def test_identifiers_hold_no_white_space() -> None:
    assert identifiers("<a@x.example>\r\n <b@x.example>") == ("a@x.example", "b@x.example")
    assert identifiers("said Ada on Monday") == ()


@pytest.mark.parametrize(
    ("subject", "expected"),
    [
        ("Rye loaf", "Re: Rye loaf"),
        ("Re: Rye loaf", "Re: Rye loaf"),
        ("Re: RE: re[2]: Rye loaf", "Re: Rye loaf"),
        ("AW: Rye loaf", "Re: Rye loaf"),
        ("Recipe for rye", "Re: Recipe for rye"),
        (None, "Re: your message"),
        ("Rye\r\nBcc: all@kitchen.example", "Re: Rye Bcc: all@kitchen.example"),
    ],
)
def test_one_re_and_one_line_in_the_subject(subject: str | None, expected: str) -> None:
    """Section 3.6.5: at most one "Re: "."""
    assert reply_subject(subject, "your message") == expected


def made(thread: Thread, **facts: object) -> bytes:
    plain: dict[str, object] = {
        "sender": SENDER,
        "to": "ada@readers.example",
        "to_name": "Ada",
        "subject": "Re: Rye loaf",
        "body": "Hello Ada,\nbake it longer.",
        "message_id": "own@kitchen.example",
        "now": NOW,
        "thread": thread,
    }
    return compose(**{**plain, **facts}).as_bytes(policy=POLICY)  # type: ignore[arg-type]


def test_fields_are_read_back_as_they_were_meant() -> None:
    mail = message_from_bytes(made(Thread("c@x.example", ("a@x.example", "c@x.example"))), policy=default)

    assert mail["In-Reply-To"] == "<c@x.example>"
    assert mail["References"].split() == ["<a@x.example>", "<c@x.example>"]
    assert mail["Message-ID"] == "<own@kitchen.example>"
    assert mail["To"].addresses[0].addr_spec == "ada@readers.example"


def test_long_identifiers_are_folded_and_never_encoded() -> None:
    """Identifiers of more than 78 characters are common; encoded, no program finds the thread."""
    chain = tuple(f"{'x' * 100}{number}@long.example" for number in range(40))

    content = made(Thread(chain[-1], chain))

    assert b"=?utf-8?" not in content
    mail = message_from_bytes(content, policy=default)
    assert mail["References"].split() == [f"<{one}>" for one in chain]
    assert mail["In-Reply-To"] == f"<{chain[-1]}>"


@pytest.mark.parametrize("body", ["word " * 2000, "é" * 5000, "From the oven\n.\n..dots", "a\r\nb\rc\n"])
def test_no_line_is_longer_than_a_server_must_take(body: str) -> None:
    """Section 2.1.1: at most 998 characters without CRLF."""
    content = made(Thread(None, ()), body=body)

    assert max(len(line) for line in content.split(b"\r\n")) <= 998
    assert b"\n" not in content.replace(b"\r\n", b"")
    kept = message_from_bytes(content, policy=default).get_content()
    assert kept.rstrip().splitlines() == body.replace("\r\n", "\n").rstrip().splitlines()
