"""Mail that no reader wrote: automatic answers, bounces, lists, invitations, newsletters, the owner's own.

Pure. `why_apart` says which; `returns` reads a delivery report.
"""

import re
from collections.abc import Collection
from email.message import Message

from inbox.intake.headers import Fields, decode_words, fields_of, message_ids
from inbox.intake.incoming import CameBack, clean_address, clean_line
from inbox.intake.mail_marks import AUTO_SUBJECT, BOUNCE_SUBJECT

MACHINE_LOCALS = re.compile(
    r"(?:no-?reply|do-?not-?reply|donotreply|wordpress|www-data|apache|forms?|notifications?|webmaster|mailer|"
    r"server|automail|robot|website|site|contact-?form|info-?form)(?:[+._-].*)?@",
    re.IGNORECASE,
)
"""Senders that a web server uses when it passes a form on."""
_DAEMON = re.compile(r"(?:mailer-daemon|postmaster|mail-daemon|mdaemon)@", re.IGNORECASE)
_ANY_ADDRESS = re.compile(r"<?([^\s<>\"(),;:]+@[^\s<>\"(),;:]+\.[A-Za-z]{2,})>?")
_ANY_ID = re.compile(r"^\s*Message-ID:\s*<([^<>\s]+)>", re.IGNORECASE | re.MULTILINE)
_STATUS = re.compile(r"([245])\.\d{1,3}\.\d{1,3}")


def why_apart(
    mail: Message,
    fields: Fields,
    *,
    types: Collection[str],
    calendar_method: str,
    sender: str | None,
    is_notice: bool,
    own_addresses: Collection[str],
) -> str | None:
    """Why a mail is no reader's message, as one of `records.tables.APART`; None if it is one.

    Parameters
    ----------
    types : collection of str
        Content types of the parts.
    calendar_method : str
        METHOD of an invitation in it.
    sender : str or None
        Address in From.
    is_notice : bool
        Whether it passes on what a reader wrote into a form.
    own_addresses : collection of str
        Addresses of the owner, casefolded.
    """
    if _is_bounce(mail, fields, types, sender):
        return "bounce"
    if _is_automatic(fields, types, is_notice=is_notice):
        return "auto_reply"
    if "text/calendar" in types and (calendar_method or mail.get_content_type() == "text/calendar"):
        return "calendar"
    if is_notice:
        return None
    if sender and sender in own_addresses:
        return "own_mail"
    return _list_or_newsletter(mail, fields, own_addresses)


def _is_bounce(mail: Message, fields: Fields, types: Collection[str], sender: str | None) -> bool:
    # RFC 3464: a report with a delivery-status part. In the field many bounces are plain text.
    if "message/delivery-status" in types:
        return True
    report = str(mail.get_param("report-type") or "").lower()
    if mail.get_content_type() == "multipart/report" and report == "delivery-status":
        return True
    if fields.first("x-failed-recipients"):
        return True
    daemon = bool(sender and _DAEMON.match(sender)) or fields.first("return-path").strip() == "<>"
    return daemon and BOUNCE_SUBJECT.match(decode_words(fields.first("subject"))) is not None


def _is_automatic(fields: Fields, types: Collection[str], *, is_notice: bool) -> bool:
    # RFC 3834, section 5: any value but "no" was not typed by a person; comments and parameters may follow.
    submitted = re.sub(r"\([^)]*\)", "", fields.first("auto-submitted")).partition(";")[0].strip().lower()
    if submitted and submitted != "no" and not (is_notice and submitted == "auto-generated"):
        return True
    if (
        fields.first("x-autoreply")
        or fields.first("x-autorespond")
        or "message/disposition-notification" in types
    ):
        return True
    if fields.first("precedence").strip().lower() == "auto_reply":
        return True
    return AUTO_SUBJECT.match(decode_words(fields.first("subject"))) is not None


def _list_or_newsletter(mail: Message, fields: Fields, own_addresses: Collection[str]) -> str | None:
    precedence = fields.first("precedence").strip().lower()
    post = clean_address(next(iter(_ANY_ADDRESS.findall(fields.first("list-post"))), None))
    if post and post in own_addresses:
        # The owner's contact address is itself a list; readers write to it.
        return None
    if mail.get_content_type() == "multipart/digest" or precedence == "list" or post:
        return "list_mail"
    if fields.first("list-unsubscribe") or precedence in ("bulk", "junk"):
        return "newsletter"
    return "list_mail" if fields.first("list-id") else None


def returns(mail: Message, fields: Fields, text: str) -> tuple[CameBack, ...]:
    """Which mails of ours did not arrive, by a delivery report (RFC 3464) or a bounce in plain text."""
    rfc_id = _id_of_returned(mail, text)
    if rfc_id is None:
        answered = message_ids(fields.first("in-reply-to")) or message_ids(fields.first("references"))
        rfc_id = answered[-1] if answered else None
    found: list[CameBack] = []
    for part in mail.walk():
        if part.get_content_type() == "message/delivery-status":
            blocks = part.get_payload()
            for block in blocks if isinstance(blocks, list) else []:
                report = _recipient(fields_of(block), rfc_id) if isinstance(block, Message) else None
                if report:
                    found.append(report)
    if found:
        return tuple(found)
    failed = _ANY_ADDRESS.findall(fields.first("x-failed-recipients")) or _ANY_ADDRESS.findall(text)[:1]
    status = _STATUS.search(text)
    permanent = bool(failed or rfc_id) and (status is None or status[1] == "5")
    reason = clean_line(text, 300) or "The mail came back."
    return tuple(CameBack(rfc_id, address, permanent, reason) for address in failed or [None])


def _recipient(block: Fields, rfc_id: str | None) -> CameBack | None:
    """One recipient's block of a delivery report. Its Action is trusted, as the status may contradict it."""
    recipient = block.first("original-recipient") or block.first("final-recipient")
    if not recipient:
        return None
    address = _ANY_ADDRESS.search(recipient.partition(";")[2] or recipient)
    action = block.first("action").strip().lower()
    reason = block.first("diagnostic-code").partition(";")[2].strip() or block.first("status").strip()
    return CameBack(
        rfc_id,
        address[1] if address else None,
        action == "failed",
        clean_line(reason, 300) or "No reason given.",
    )


def _id_of_returned(mail: Message, text: str) -> str | None:
    """Message-ID of the mail that a report encloses, whole or by its header fields."""
    for part in mail.walk():
        kind = part.get_content_type()
        payload = part.get_payload()
        if kind == "message/rfc822" and isinstance(payload, list) and payload:
            enclosed = payload[0]
            ids = (
                message_ids(fields_of(enclosed).first("message-id")) if isinstance(enclosed, Message) else []
            )
            if ids:
                return ids[0]
        elif kind == "text/rfc822-headers" and isinstance(payload, str):
            found = _ANY_ID.search(payload)
            if found:
                return found[1]
    found = _ANY_ID.search(text)
    return found[1] if found else None
