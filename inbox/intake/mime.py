"""One mail, as bytes, to an `Incoming`.

`mail_parts` takes it apart, `headers` and `mail_body` decode what the parts hold, `own_words` keeps what is
new, `automatic` says whether a reader wrote it at all.
"""

import re
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from inbox.intake.arrival import EARLIEST
from inbox.intake.automatic import MACHINE_LOCALS, returns, why_apart
from inbox.intake.headers import addresses, decode_words, message_ids, parse_date
from inbox.intake.incoming import Incoming, Unusable, clean_address, short_hash
from inbox.intake.mail_body import Body, read_body
from inbox.intake.mail_parts import Fields, Part, parse_mail
from inbox.intake.notice import notice_stars, read_notice
from inbox.intake.own_words import own_words

_LINK = re.compile(r"https?://[^\s<>\"')\]]{3,1000}")
_ANSWER_SUBJECT = re.compile(r"\s*(?:re|aw|sv|ré|rif|antw|odp)\s*(?:\[\d+\])?\s*:", re.IGNORECASE)
PHOTO_LIMIT_BYTES = 12_000_000


@dataclass(frozen=True, slots=True)
class MailOptions:
    """What reading a mail depends on beside the mail.

    Attributes
    ----------
    now : datetime
        Moment of the import; a date after it by more than two days is not believed.
    own_addresses : collection of str
        The owner's addresses, casefolded: mail from them is the owner's own.
    """

    now: datetime
    own_addresses: Collection[str] = frozenset()
    photo_limit_bytes: int = PHOTO_LIMIT_BYTES


def read_mail(
    raw: bytes,
    options: MailOptions,
    *,
    door: str = "mail",
    place: str = "",
    arrived_at: datetime | None = None,
) -> Incoming | Unusable:
    """Read one mail.

    Parameters
    ----------
    raw : bytes
        The mail, with any line ends.
    options : MailOptions
    door : str
        "mail" for files, "mailbox" for IMAP.
    place : str
        Where it stood, for the message of a set-aside item.
    arrived_at : datetime, optional
        Moment that the mailbox gives, used where the mail has no date that can be.

    Returns
    -------
    Incoming or Unusable
        Unusable if it has no header fields at all.
    """
    mail = parse_mail(raw)
    if not mail.fields.values:
        reason = "This is no mail: it has no header fields."
        return Unusable(door=door, place=place, reason=reason, raw=raw)
    body = read_body(mail, photo_limit_bytes=options.photo_limit_bytes)
    return _incoming(raw, mail, body, options, door, place, arrived_at)


def _incoming(
    raw: bytes,
    mail: Part,
    body: Body,
    options: MailOptions,
    door: str,
    place: str,
    arrived_at: datetime | None,
) -> Incoming:
    fields = mail.fields
    subject = decode_words(fields.first("subject"))
    name, address, sender, is_machine = writer(fields, options.own_addresses)
    whole = body.text
    in_reply_to = message_ids(fields.first("in-reply-to"))
    references = message_ids(" ".join(fields.all("references")))
    is_answer = bool(in_reply_to or references or _ANSWER_SUBJECT.match(subject))
    notice = read_notice(whole) if is_machine and not is_answer else None
    apart = why_apart(
        mail,
        subject=subject,
        types=body.types,
        calendar_method=body.calendar_method,
        sender=sender,
        is_notice=is_machine and (notice is not None or clean_address(address) != sender),
        own_addresses=options.own_addresses,
    )
    notice = notice or {}
    text = notice.get("text") or own_words(whole, subject=subject, is_answer=is_answer)
    ids = message_ids(fields.first("message-id"))
    return Incoming(
        door=door,
        channel="form" if notice else "email",
        text=text,
        key=f"mail:{ids[0]}" if ids else _key_without_id(mail),
        received_at=moment(fields, options.now, arrived_at),
        name=notice.get("name") or name,
        email=notice.get("email") or (None if notice and clean_address(address) == sender else address),
        page_slug=notice.get("recipe"),
        page_url=notice.get("page_url"),
        stars=notice_stars(notice),
        subject=subject,
        raw=raw,
        raw_type="message/rfc822",
        rfc_message_id=ids[0] if ids else None,
        in_reply_to=in_reply_to[0] if in_reply_to else None,
        references=tuple(references),
        reply_wanted=apart is None,
        links=_links(text, whole, body.links),
        attachments=tuple(body.attachments),
        photos=tuple(body.photos),
        kept_apart=apart,
        came_back=returns(mail, whole) if apart == "bounce" else (),
        place=place,
    )


def _links(text: str, whole: str, from_html: list[str]) -> tuple[str, ...]:
    """Links in a mail: those in the own words first, then those of what was answered."""
    if not from_html and "://" not in whole:
        return ()
    return tuple(dict.fromkeys([*_LINK.findall(text), *from_html, *_LINK.findall(whole)]))[:50]


def writer(fields: Fields, own_addresses: Collection[str]) -> tuple[str | None, str | None, str | None, bool]:
    """Name and address of who wrote a mail, the address in From, and whether a machine or the owner sent it.

    From counts, its first address if it has several, else Sender. Reply-To counts where From is the
    owner's own address or a machine's: then the mail passes on what a reader wrote.
    """
    senders = addresses(fields.all("from")) or addresses(fields.all("sender"))
    name, address = senders[0] if senders else ("", "")
    sender = clean_address(address)
    is_machine = sender is not None and (sender in own_addresses or MACHINE_LOCALS.match(sender) is not None)
    if is_machine or sender is None:
        for other_name, other in addresses(fields.all("reply-to")):
            plain = clean_address(other)
            if plain and plain != sender and plain not in own_addresses:
                return other_name or None, other, sender, is_machine
    return name or None, address or None, sender, is_machine


def moment(fields: Fields, now: datetime, arrived_at: datetime | None) -> datetime | None:
    """When a mail was written: its Date, else when the nearest server had it, else when the mailbox did."""
    latest = now + timedelta(days=2)
    written = parse_date(fields.first("date")) if fields.first("date") else None
    if written and EARLIEST <= written <= latest:
        return written
    for trace in fields.all("received"):
        passed = parse_date(trace.rpartition(";")[2])
        if passed and EARLIEST <= passed <= latest:
            return passed
    return arrived_at if arrived_at and EARLIEST <= arrived_at <= latest else None


def _key_without_id(mail: Part) -> str:
    """Key of a mail without Message-ID: the same from any mailbox, whatever line ends and marks it adds."""
    parts = [mail.fields.first(name) for name in ("from", "to", "date", "subject")]
    return f"mail:sha256:{short_hash(*parts, mail.content.strip())}"
