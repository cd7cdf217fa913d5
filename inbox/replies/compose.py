"""The mail itself: addresses, threading, a plain text, and lines that every server takes.

Nothing is sent here; `inbox.replies.post` does that. Start with `compose`.
"""

import re
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from email import utils
from email.errors import HeaderParseError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP, EmailPolicy
from typing import Any

from inbox.errors import InputError
from inbox.settings import Settings

_ID = re.compile(r"<([^<>\s]+)>")
_REPLY_PREFIX = re.compile(r"^\s*(?:(?:re|aw|sv|vs|rif|antw)\s*(?:\[\d+\])?\s*:\s*)+", re.IGNORECASE)
_NEVER = re.compile(
    r"^(?:mailer-daemon|postmaster|no-?reply|do-?not-?reply|bounces?([+-].*)?|owner-.*|.*-request|.*-owner)@",
    re.IGNORECASE,
)
"""Addresses that are not a person's (RFC 3834 section 2, and common practice for the no-reply ones)."""

LONGEST_LINE = 998
"""Characters without the line's end that a server must take (RFC 5322 section 2.1.1)."""


class _MailPolicy(EmailPolicy):
    """The library's policy, but identifiers and addresses are never cut or encoded.

    Folding a Message-ID of more than 78 characters, the library turns it into encoded
    words; mail programs then no longer find the thread.
    """

    _whole = ("message-id", "in-reply-to", "references", "list-unsubscribe")

    def fold(self, name: str, value: Any) -> str:
        if name.lower() in self._whole:
            return f"{name}: " + f"{self.linesep} ".join(str(value).split()) + self.linesep
        return str(super().fold(name, value))

    def fold_binary(self, name: str, value: Any) -> bytes:
        if name.lower() in self._whole:
            return self.fold(name, value).encode("ascii", "replace")
        return super().fold_binary(name, value)


POLICY = _MailPolicy(linesep=SMTP.linesep)


@dataclass(frozen=True, slots=True)
class Sender:
    """Who writes: the owner's address and name, and where the site and this service are reached."""

    address: str
    name: str = ""
    site_name: str = ""
    site_url: str = ""
    public_url: str = ""
    country: str = ""

    @property
    def domain(self) -> str:
        """Right-hand side of the Message-IDs."""
        return self.address.rpartition("@")[2] or "localhost"


def sender_of(settings: Settings) -> Sender:
    """The sender that the settings name; its address is empty where the owner gave none."""
    return Sender(
        address=settings.owner_email,
        name=settings.owner_name,
        site_name=settings.site_name,
        site_url=settings.site_url,
        public_url=settings.public_url.rstrip("/"),
        country=settings.country.upper(),
    )


@dataclass(frozen=True, slots=True)
class Thread:
    """What ties an answer to the mail that it answers; identifiers without angle brackets."""

    in_reply_to: str | None
    references: tuple[str, ...]


def identifiers(text: str | None) -> tuple[str, ...]:
    """Message identifiers in a header's value, without their brackets; a bare one is taken as it is."""
    if not text:
        return ()
    found = _ID.findall(text)
    if found:
        return tuple(found)
    bare = text.strip()
    return (bare,) if bare and not re.search(r"\s", bare) else ()


def thread_of(message_id: str | None, in_reply_to: str | None, references: Sequence[str]) -> Thread:
    """Threading of an answer to a mail with these fields.

    References
    ----------
    RFC 5322 section 3.6.4. Where the parent has two identifiers in its In-Reply-To and
    no References, neither is taken: which of them is the thread cannot be known.
    """
    own = identifiers(message_id)[:1]
    before = tuple(one for text in references for one in identifiers(text))
    answered = identifiers(in_reply_to)
    if not before and len(answered) == 1:
        before = answered
    chain = tuple(dict.fromkeys(one for one in before if one not in own)) + own
    return Thread(own[0] if own else None, chain)


def reply_subject(subject: str | None, otherwise: str) -> str:
    """Subject of an answer: one "Re: " however many there were (RFC 5322 section 3.6.5)."""
    plain = _REPLY_PREFIX.sub("", one_line(subject or ""))
    return f"Re: {plain or otherwise}"


def one_line(text: str) -> str:
    """`text` with every run of white space and control characters made one space.

    The signs that turn the direction of writing go too: they could make a line read otherwise than it is.
    """
    text = re.sub(r"[\u200e\u200f\u202a-\u202e\u2066-\u2069]", "", text)
    return " ".join(re.sub(r"[\x00-\x20\x7f-\x9f\u2028\u2029]+", " ", text).split())


def new_message_id(domain: str) -> str:
    """A fresh identifier, without brackets."""
    return f"{uuid.uuid4()}@{domain}"


def is_persons_address(address: str | None) -> bool:
    """Whether mail may go to `address`: readable, and not a mail program's own."""
    if not address or _NEVER.match(address):
        return False
    try:
        parsed = Address(addr_spec=address)
    except (HeaderParseError, ValueError, IndexError, AttributeError):
        return False
    return bool(parsed.username and "." in parsed.domain and address.isascii())


def compose(
    *,
    sender: Sender,
    to: str,
    to_name: str | None,
    subject: str,
    body: str,
    message_id: str,
    now: datetime,
    thread: Thread | None = None,
    unsubscribe_url: str | None = None,
    automatic: bool = False,
) -> EmailMessage:
    """One mail, ready to be handed to a mail server.

    Parameters
    ----------
    message_id : str
        Without brackets; fixed before sending, so that a mail sent twice can be known as one.
    unsubscribe_url : str, optional
        Address for the one-click fields of RFC 8058; the receiver's program posts to it.
    automatic : bool, default=False
        Whether no person wrote it (a digest, an alert): says so by RFC 3834 section 5.

    Raises
    ------
    InputError
        If the sender or the receiver has no usable address, or the text is empty.
    """
    if not is_persons_address(to):
        raise InputError(f"{to!r} is no address that mail can go to; nothing was sent.")
    if not sender.address:
        raise InputError("Mail needs an address to come from; set owner_email on the settings page.")
    if not body.strip():
        raise InputError("The text of the mail is empty; write something first.")
    mail = EmailMessage(policy=POLICY)
    mail["From"] = _address(sender.address, sender.name or sender.site_name)
    mail["To"] = _address(to, to_name)
    mail["Subject"] = _field_text(subject)
    mail["Date"] = utils.format_datetime(now)
    mail["Message-ID"] = f"<{message_id}>"
    if thread and thread.in_reply_to:
        mail["In-Reply-To"] = f"<{thread.in_reply_to}>"
    if thread and thread.references:
        mail["References"] = " ".join(f"<{one}>" for one in thread.references)
    if unsubscribe_url:
        mail["List-Unsubscribe"] = f"<{one_line(unsubscribe_url).replace(' ', '')}>"
        mail["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    if automatic:
        mail["Auto-Submitted"] = "auto-generated"
    set_text(mail, body)
    return mail


def set_text(mail: EmailMessage, body: str) -> None:
    """Give `mail` a plain text: 7 bit where it is ASCII with short lines, else quoted-printable."""
    text = body.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n") + "\n"
    plain = text.isascii() and all(len(line) <= LONGEST_LINE for line in text.split("\n"))
    mail.set_content(text, cte="7bit" if plain else "quoted-printable")


def _field_text(text: str) -> str:
    """`text` fit for a header: on one line, and with nothing that reads as an encoded word.

    The library decodes encoded words in what it is given; one that holds a line break would
    begin a field of its own.
    """
    return one_line(text).replace("=?", "= ?")


def _address(address: str, name: str | None) -> Address:
    try:
        return Address(display_name=_field_text(name or ""), addr_spec=address)
    except (HeaderParseError, ValueError, IndexError) as error:
        raise InputError(f"{address!r} is no address that mail can go to: {error}.") from error
