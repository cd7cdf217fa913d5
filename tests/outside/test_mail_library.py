"""The mail reader beside the standard library's, on the standard library's own test messages."""

import email
import email.policy
import os
from datetime import UTC, datetime
from email.message import Message
from pathlib import Path

import pytest

from inbox.intake.incoming import Incoming, Unusable
from inbox.intake.mail_parts import Part, parse_mail
from inbox.intake.mime import MailOptions, read_mail

OPTIONS = MailOptions(datetime(2026, 11, 23, tzinfo=UTC))


def folder() -> Path | None:
    try:
        import test.test_email as package
    except ImportError:
        return None
    found = Path(str(package.__file__)).parent / "data"
    return found if found.is_dir() else None


MESSAGES = sorted(folder().glob("msg_*.txt")) if folder() else []  # type: ignore[union-attr]
needs_messages = pytest.mark.skipif(not MESSAGES, reason="this Python comes without test.test_email.data")


def test_messages_are_there_where_they_are_required() -> None:
    if os.environ.get("INBOX_TESTS_REQUIRE") == "all":
        assert len(MESSAGES) >= 40
    elif not MESSAGES:
        pytest.skip("this Python comes without test.test_email.data")


def leaves(mail: Message) -> list[tuple[str, bytes]]:
    """Type and decoded body of each leaf, by the standard library; blocks of delivery reports aside."""
    found = []
    blocks: set[int] = set()
    for part in mail.walk():
        payload = part.get_payload()
        if part.get_content_type() == "message/delivery-status" and isinstance(payload, list):
            blocks |= {id(block) for block in payload}
        elif not isinstance(payload, list) and id(part) not in blocks:
            body = part.get_payload(decode=True)
            assert isinstance(body, bytes)
            found.append((part.get_content_type(), body.replace(b"\r\n", b"\n").strip()))
    return found


def own_leaves(mail: Part) -> list[tuple[str, bytes]]:
    found = []
    blocks: set[int] = set()
    for part in mail.walk():
        if part.kind == "message/delivery-status":
            blocks |= {id(child) for child in part.children}
        elif not part.children and id(part) not in blocks:
            found.append((part.kind, part.decoded().strip()))
    return found


@needs_messages
@pytest.mark.parametrize("path", MESSAGES, ids=lambda path: path.name)
def test_same_parts_as_the_standard_library(path: Path) -> None:
    raw = path.read_bytes()
    theirs = email.message_from_bytes(raw, policy=email.policy.compat32)
    assert own_leaves(parse_mail(raw)) == leaves(theirs)


@needs_messages
@pytest.mark.parametrize("path", MESSAGES, ids=lambda path: path.name)
def test_same_fields_as_the_standard_library(path: Path) -> None:
    raw = path.read_bytes()
    theirs = email.message_from_bytes(raw, policy=email.policy.compat32)
    ours = parse_mail(raw).fields
    for name in {name.lower() for name in theirs}:
        expected = [" ".join(str(value).split()) for value in theirs.get_all(name, [])]
        assert [" ".join(value.split()) for value in ours.all(name)] == expected


@needs_messages
@pytest.mark.parametrize("path", MESSAGES, ids=lambda path: path.name)
def test_each_message_becomes_an_item(path: Path) -> None:
    item = read_mail(path.read_bytes(), OPTIONS)
    if path.name == "msg_19.txt":
        # Nothing but text, no header field: the library makes it a message without fields.
        assert isinstance(item, Unusable)
        return
    assert isinstance(item, Incoming)
    theirs = email.message_from_bytes(path.read_bytes())
    if theirs.get("message-id"):
        assert item.rfc_message_id == str(theirs["message-id"]).strip().strip("<>")
