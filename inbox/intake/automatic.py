"""Mail that no reader wrote: automatic answers, bounces, lists, invitations, newsletters, the owner's own.

Pure. `why_apart` says which; `returns` reads a delivery report.
"""

import re
from collections.abc import Collection

from inbox.intake.headers import message_ids
from inbox.intake.incoming import CameBack, clean_address, clean_line
from inbox.intake.mail_marks import AUTO_SUBJECT, BOUNCE_SUBJECT
from inbox.intake.mail_parts import Fields, Part, split_head

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
    mail: Part,
    *,
    subject: str,
    types: Collection[str],
    calendar_method: str,
    sender: str | None,
    is_notice: bool,
    own_addresses: Collection[str],
) -> str | None:
    """Why a mail is no reader's message, as one of `records.tables.APART`; None if it is one.

    Parameters
    ----------
    mail : Part
    subject : str
        Its decoded subject.
    types : collection of str
        Content types of its parts.
    calendar_method : str
        METHOD of an invitation in it.
    sender : str or None
        Address in From.
    is_notice : bool
        Whether it passes on what a reader wrote into a form.
    own_addresses : collection of str
        Addresses of the owner, casefolded.
    """
    if _is_bounce(mail, subject, types, sender):
        return "bounce"
    if _is_automatic(mail.fields, subject, types, is_notice=is_notice):
        return "auto_reply"
    if "text/calendar" in types and (calendar_method or mail.kind == "text/calendar"):
        return "calendar"
    if is_notice:
        return None
    if sender and sender in own_addresses:
        return "own_mail"
    return _list_or_newsletter(mail, own_addresses)


def _is_bounce(mail: Part, subject: str, types: Collection[str], sender: str | None) -> bool:
    # RFC 3464: a report with a delivery-status part. In the field many bounces are plain text.
    if "message/delivery-status" in types or mail.fields.first("x-failed-recipients"):
        return True
    if (
        mail.kind == "multipart/report"
        and mail.parameters.get("report-type", "").lower() == "delivery-status"
    ):
        return True
    daemon = bool(sender and _DAEMON.match(sender)) or mail.fields.first("return-path") == "<>"
    return daemon and BOUNCE_SUBJECT.match(subject) is not None


def _is_automatic(fields: Fields, subject: str, types: Collection[str], *, is_notice: bool) -> bool:
    # RFC 3834, section 5: any value but "no" was not typed by a person; comments and parameters may follow.
    submitted = re.sub(r"\([^)]*\)", "", fields.first("auto-submitted")).partition(";")[0].strip().lower()
    if submitted and submitted != "no" and not (is_notice and submitted == "auto-generated"):
        return True
    if fields.first("x-autoreply") or fields.first("x-autorespond"):
        return True
    if "message/disposition-notification" in types or fields.first("precedence").lower() == "auto_reply":
        return True
    return AUTO_SUBJECT.match(subject) is not None


def _list_or_newsletter(mail: Part, own_addresses: Collection[str]) -> str | None:
    fields = mail.fields
    precedence = fields.first("precedence").lower()
    post = clean_address(next(iter(_ANY_ADDRESS.findall(fields.first("list-post"))), None))
    if post and post in own_addresses:
        # The owner's contact address is itself a list; readers write to it.
        return None
    if mail.kind == "multipart/digest" or precedence == "list" or post:
        return "list_mail"
    if fields.first("list-unsubscribe") or precedence in ("bulk", "junk"):
        return "newsletter"
    return "list_mail" if fields.first("list-id") else None


def returns(mail: Part, text: str) -> tuple[CameBack, ...]:
    """Which mails of ours did not arrive, by a delivery report (RFC 3464) or a bounce in plain text."""
    rfc_id = _id_of_returned(mail, text)
    if rfc_id is None:
        fields = mail.fields
        answered = message_ids(fields.first("in-reply-to")) or message_ids(fields.first("references"))
        rfc_id = answered[-1] if answered else None
    blocks = [
        block for part in mail.walk() if part.kind == "message/delivery-status" for block in part.children
    ]
    found = [report for block in blocks if (report := _recipient(block.fields, rfc_id))]
    if found:
        return tuple(found)
    failed = _ANY_ADDRESS.findall(mail.fields.first("x-failed-recipients")) or _ANY_ADDRESS.findall(text)[:1]
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
    reason = block.first("diagnostic-code").partition(";")[2] or block.first("status")
    return CameBack(
        rfc_message_id=rfc_id,
        address=address[1] if address else None,
        permanent=block.first("action").strip().lower() == "failed",
        reason=clean_line(reason, 300) or "No reason given.",
    )


def _id_of_returned(mail: Part, text: str) -> str | None:
    """Message-ID of the mail that a report encloses, whole or by its header fields."""
    for part in mail.walk():
        if part.kind == "message/rfc822" and part.children:
            ids = message_ids(part.children[0].fields.first("message-id"))
        elif part.kind == "text/rfc822-headers" and part is not mail:
            ids = message_ids(split_head(part.decoded())[0].first("message-id"))
        else:
            continue
        if ids:
            return ids[0]
    found = _ANY_ID.search(text)
    return found[1] if found else None
