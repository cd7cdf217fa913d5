"""The owner's mailbox, read over IMAP (RFC 3501).

Only messages that came since the last look are fetched, by UIDVALIDITY and UID; nothing is deleted, and
nothing is marked unless the owner says so. The place reached is stored with each batch in one transaction,
so a look that was cut goes on. Start with `look_into`; `open_mailbox` connects.
"""

import imaplib
import ipaddress
import json
import re
import ssl
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from imap_tools import BaseMailBox, MailBox, MailboxLoginError, MailBoxUnencrypted
from imap_tools.errors import ImapToolsError
from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InboxError, InputError
from inbox.intake.deliver import deliver_all
from inbox.intake.headers import parse_date
from inbox.intake.incoming import SET_ASIDE_LIMIT_BYTES, Incoming, Unusable, short_hash
from inbox.intake.mbox import MAIL_LIMIT_BYTES
from inbox.intake.mime import MailOptions, read_mail
from inbox.intake.run import RunResult, count, result_of
from inbox.intake.threads import link_late_parents
from inbox.records.tables import IntakeRun
from inbox.records.tables_out import SavedSetting

BATCH_COUNT = 50
TIMEOUT_SECONDS = 60
_STATE = "mailbox.state:"
_RUN_OUT, _OTHER_NAME, _OTHER_ADDRESS = 10, 62, 64
"""X509_V_ERR_CERT_HAS_EXPIRED, _HOSTNAME_MISMATCH and _IP_ADDRESS_MISMATCH (OpenSSL, x509_vfy.h)."""
_UID = re.compile(rb"UID (\d+)")
_SIZE = re.compile(rb"RFC822\.SIZE (\d+)")
_ARRIVED = re.compile(rb'INTERNALDATE "([^"]+)"')


@dataclass(frozen=True, slots=True)
class Letter:
    """One mail in the mailbox."""

    uid: int
    raw: bytes
    arrived_at: datetime | None
    size_bytes: int


class Folder(Protocol):
    """What looking into a mailbox needs of it; tests give a list."""

    name: str

    def uid_validity(self) -> int:
        """Number that changes when the UIDs of the folder begin anew."""

    def uids_after(self, uid: int) -> list[int]:
        """UIDs above `uid`, ascending."""

    def fetch(self, uids: Sequence[int]) -> Iterator[Letter]:
        """Mails with these UIDs, without marking them."""

    def mark_seen(self, uids: Sequence[int]) -> None:
        """Mark mails as seen."""


def look_into(
    sessions: sessionmaker[Session],
    folder: Folder,
    *,
    options: MailOptions,
    mark_seen: bool = False,
    progress: Callable[[int, int | None], None] | None = None,
) -> RunResult | None:
    """Take in what came since the last look; commits batch by batch.

    Parameters
    ----------
    folder : Folder
    options : MailOptions
    mark_seen : bool
        Whether mails are marked as seen once they are in the ledger.

    Returns
    -------
    RunResult or None
        None if nothing came.
    """
    name = _STATE + short_hash(folder.name)
    validity = folder.uid_validity()
    with sessions.begin() as session:
        kept = session.scalar(select(SavedSetting.value).where(SavedSetting.name == name))
    state = json.loads(kept) if kept else {}
    reached = state.get("uid", 0) if state.get("uid_validity") == validity else 0
    uids = folder.uids_after(reached)
    if not uids:
        return None
    with sessions.begin() as session:
        run = IntakeRun(door="mailbox", source=folder.name, started_at=options.now)
        session.add(run)
        session.flush()
        run_id = run.id
    for start in range(0, len(uids), BATCH_COUNT):
        batch = uids[start : start + BATCH_COUNT]
        items = [_item(letter, options) for letter in folder.fetch(batch)]
        with sessions.begin() as session:
            count(session, run_id, deliver_all(session, items, run_id=run_id, now=options.now))
            value = json.dumps({"uid_validity": validity, "uid": batch[-1]})
            session.merge(SavedSetting(name=name, value=value, changed_at=options.now))
        if mark_seen:
            folder.mark_seen(batch)
        if progress:
            progress(start + len(batch), len(uids))
    with sessions.begin() as session:
        link_late_parents(session, run_id)
        run = session.get_one(IntakeRun, run_id)
        run.finished_at = options.now
        return result_of(run)


def _item(letter: Letter, options: MailOptions) -> Incoming | Unusable:
    place = f"UID {letter.uid}"
    if letter.size_bytes > MAIL_LIMIT_BYTES:
        reason = (
            f"This mail has {letter.size_bytes:,} bytes; at most {MAIL_LIMIT_BYTES:,} are read. "
            f"Its first {len(letter.raw):,} bytes are kept here; the whole mail is still in the mailbox."
        )
        return Unusable(door="mailbox", place=place, reason=reason, raw=letter.raw)
    return read_mail(letter.raw, options, door="mailbox", place=place, arrived_at=letter.arrived_at)


@contextmanager
def open_mailbox(
    *,
    host: str,
    port: int,
    tls: bool,
    user: str,
    password: str,
    folder: str = "INBOX",
    mark_seen: bool = False,
    ssl_context: ssl.SSLContext | None = None,
) -> Iterator[Folder]:
    """Connect, sign in and open a folder; read-only unless mails are to be marked.

    The server's certificate is verified, and the password is only sent over TLS, save to this machine itself.

    Parameters
    ----------
    tls : bool
        Whether TLS begins with the connection; if not, by STARTTLS (RFC 9051, section 6.2.1).
    ssl_context : ssl.SSLContext, optional
        Whom to trust; by default whom this machine trusts.

    Raises
    ------
    InputError
        If the user, the password or the folder is wrong, or the server has no TLS.
    InboxError
        If the server cannot be reached, or is not the one that it should be.
    """
    if not host:
        raise InputError("No mailbox is set; set INBOX_IMAP_HOST, INBOX_IMAP_USER and INBOX_IMAP_PASSWORD.")
    mailbox: BaseMailBox | None = None
    context = ssl_context or ssl.create_default_context()
    try:
        if tls:
            mailbox = MailBox(host, port, timeout=TIMEOUT_SECONDS, ssl_context=context)
        else:
            mailbox = MailBoxUnencrypted(host, port, timeout=TIMEOUT_SECONDS)
            _begin_tls(mailbox, host, context)
        mailbox.login(user, password, initial_folder=None)
        mailbox.folder.set(folder, readonly=not mark_seen)
        yield _ImapFolder(mailbox, f"{user}@{host}/{folder}", folder)
    except MailboxLoginError as error:
        raise InputError(f"The mailbox server {host} refuses the user {user!r} or the password.") from error
    except ImapToolsError as error:
        raise InputError(f"The mailbox folder {folder!r} at {host} cannot be read: {error}.") from error
    except ssl.SSLError as error:
        raise InboxError(f"The mailbox server {host}:{port} {_tls_trouble(error)}") from error
    except (OSError, imaplib.IMAP4.error) as error:
        raise InboxError(f"The mailbox server {host}:{port} cannot be reached: {error}.") from error
    finally:
        if mailbox is not None:
            _leave(mailbox)


def _begin_tls(mailbox: Any, host: str, context: ssl.SSLContext) -> None:
    """Go over to TLS; where the server has none, only this machine itself is spoken to in the open."""
    if "STARTTLS" in mailbox.client.capabilities:
        mailbox.client.starttls(ssl_context=context)
    elif not _is_this_machine(host):
        raise InputError(
            f"The mailbox server {host} offers no TLS here, and a password is only sent over TLS; "
            "set imap_tls to yes, and imap_port to 993."
        )


def _is_this_machine(host: str) -> bool:
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host.casefold() == "localhost"


def _tls_trouble(error: ssl.SSLError) -> str:
    """What is wrong with a server's TLS, and what to do."""
    if not isinstance(error, ssl.SSLCertVerificationError):
        return (
            f"does not speak TLS as it should ({error.reason or error}). Where TLS does not begin with the "
            "connection, set imap_tls to no; it is then begun by STARTTLS."
        )
    if error.verify_code in (_OTHER_NAME, _OTHER_ADDRESS):
        return "shows a certificate for another name. Set imap_host to the name that your provider gives."
    if error.verify_code == _RUN_OUT:
        return "shows a certificate that has run out. Tell whoever runs the server; no password was sent."
    return (
        f"shows a certificate that nobody vouches for whom this machine trusts ({error.verify_message}). "
        "No password was sent. If the server is your own, set SSL_CERT_FILE to the file of its authority."
    )


def _leave(mailbox: Any) -> None:
    """Sign out; a connection that is gone already needs no more."""
    try:
        mailbox.logout()
    except (OSError, ImapToolsError, imaplib.IMAP4.error):
        # Where TLS was refused, the connection is closed already.
        with suppress(OSError):
            mailbox.client.shutdown()


class _ImapFolder:
    """A folder on a server. The mails are fetched raw, as the library would parse them by the slow policy."""

    def __init__(self, mailbox: Any, name: str, folder: str) -> None:
        self._mailbox, self.name, self._folder = mailbox, name, folder

    def uid_validity(self) -> int:
        return int(self._mailbox.folder.status(self._folder, ["UIDVALIDITY"])["UIDVALIDITY"])

    def uids_after(self, uid: int) -> list[int]:
        found = self._mailbox.uids(f"UID {uid + 1}:*")
        # "n:*" always holds the last mail, even if its UID is below n (RFC 3501, section 6.4.8).
        return sorted(number for text in found if (number := int(text)) > uid)

    def fetch(self, uids: Sequence[int]) -> Iterator[Letter]:
        sizes = self._sizes(uids)
        for uid in uids:
            if uid not in sizes:
                continue
            part = f"<0.{SET_ASIDE_LIMIT_BYTES}>" if sizes[uid] > MAIL_LIMIT_BYTES else ""
            answer = self._uid("fetch", str(uid), f"(UID INTERNALDATE BODY.PEEK[]{part})")
            for item in answer:
                if isinstance(item, tuple):
                    arrived = _ARRIVED.search(item[0])
                    moment = _arrival(arrived[1].decode("ascii", "replace")) if arrived else None
                    yield Letter(uid, item[1], moment, sizes[uid])

    def _sizes(self, uids: Sequence[int]) -> dict[int, int]:
        answer = self._uid("fetch", ",".join(map(str, uids)), "(UID RFC822.SIZE)")
        found = {}
        for item in answer:
            line = item[0] if isinstance(item, tuple) else item
            uid, size = _UID.search(line or b""), _SIZE.search(line or b"")
            if uid and size:
                found[int(uid[1])] = int(size[1])
        return found

    def _uid(self, *command: str) -> list[Any]:
        status, answer = self._mailbox.client.uid(*command)
        if status != "OK":
            raise InboxError(f"The mailbox {self.name} did not answer as it should: {status}.")
        return list(answer)

    def mark_seen(self, uids: Sequence[int]) -> None:
        self._mailbox.flag([str(uid) for uid in uids], "\\Seen", True)


def _arrival(text: str) -> datetime | None:
    """Moment of an INTERNALDATE such as 02-Nov-2026 10:00:00 +0000."""
    day, month, rest = text.strip().split("-", 2) if text.count("-") >= 2 else ("", "", "")
    return parse_date(f"{day} {month} {rest}") if rest else None
