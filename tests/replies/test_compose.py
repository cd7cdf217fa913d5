"""Whatever is typed or was received, a mail has the fields that it should have and no other."""

import string
from datetime import UTC, datetime
from email import message_from_bytes
from email.policy import default

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inbox.errors import InputError
from inbox.replies.compose import POLICY, Sender, Thread, compose, is_persons_address, one_line

NOW = datetime(2026, 11, 23, 9, 0, tzinfo=UTC)
FIELDS = {"From", "To", "Subject", "Date", "Message-ID", "In-Reply-To", "References"}
BODY_FIELDS = {"Content-Type", "Content-Transfer-Encoding", "MIME-Version"}
TYPED = st.text(st.characters(exclude_categories=["Cs"]), max_size=200)
HOSTILE = st.sampled_from(
    [
        "x\r\nBcc: all@x.example",
        "x\nBcc: a@x.example\n\nbody",
        "a\x00b",
        "\u2028Bcc: x",
        "=?utf-8?q?=0ABcc:_x?=",
        "=??Q?=0A0:",
    ]
)
IDS = st.lists(st.text(string.ascii_letters + string.digits + ".@", min_size=1, max_size=150), max_size=30)


@given(name=TYPED | HOSTILE, subject=TYPED | HOSTILE, body=TYPED | HOSTILE, ids=IDS)
def test_no_field_can_be_smuggled_in(name: str, subject: str, body: str, ids: list[str]) -> None:
    if not body.strip():
        body = "words"
    mail = compose(
        sender=Sender("sam@kitchen.example", name=name),
        to="ada@readers.example",
        to_name=name,
        subject=subject,
        body=body,
        message_id="own@kitchen.example",
        now=NOW,
        thread=Thread(ids[-1] if ids else None, tuple(ids)),
    )

    content = mail.as_bytes(policy=POLICY)

    read = message_from_bytes(content, policy=default)
    assert set(read.keys()) <= FIELDS | BODY_FIELDS
    assert len(read.keys()) == len(set(read.keys()))
    assert [one.addr_spec for one in read["To"].addresses] == ["ada@readers.example"]
    assert [one.addr_spec for one in read["From"].addresses] == ["sam@kitchen.example"]
    assert max(map(len, content.split(b"\r\n"))) <= 998
    assert read.get_content_type() == "text/plain"


@pytest.mark.parametrize(
    "address",
    [
        "",
        None,
        "ada",
        "ada@host",
        "ada@x.example, bo@x.example",
        "a\r\nBcc: b@x.example",
        "ä@x.example",
        "<a@x.example>",
    ],
)
def test_what_is_no_address_is_not_written_to(address: str | None) -> None:
    assert not is_persons_address(address)
    with pytest.raises(InputError, match="no address that mail can go to"):
        compose(
            sender=Sender("sam@kitchen.example"),
            to=address or "",
            to_name=None,
            subject="s",
            body="b",
            message_id="m@x",
            now=NOW,
        )


def test_a_line_holds_no_signs_that_steer() -> None:
    assert one_line("a\x1b[31mb\u202ec\u2028d\x85e\tf") == "a [31mbc d e f"
