"""How a mail leaves: into a folder of files, or by SMTP. Both are a callable that takes a mail.

A mailer returns when the mail is handed over for certain, and otherwise raises one
of the errors below, which say what is known. Start with `mailer_of`.
"""

import contextlib
import os
import smtplib
import ssl
import tempfile
from collections.abc import Callable
from email.message import EmailMessage
from email.utils import parseaddr
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import InboxError
from inbox.records.tables import Reader
from inbox.records.tables_out import Reply
from inbox.replies.compose import POLICY
from inbox.settings import Settings

Mailer = Callable[[EmailMessage], None]

TALK_SECONDS = 60
"""Longest wait for one answer of a mail server. Chosen; RFC 5321 section 4.5.3.2 allows minutes."""


class NotSentError(InboxError):
    """The mail did not go out, and trying later may help."""


class ServerClosedError(NotSentError):
    """No mail can go out now: the server cannot be reached or does not let us in."""


class RefusedError(InboxError):
    """The server refused this mail for good."""


class AddressRefusedError(RefusedError):
    """The server refused the reader's address for good."""


class MayHaveGoneError(InboxError):
    """The talk broke off after the mail was handed over; whether it went out is not known."""


def mailer_of(settings: Settings) -> Mailer:
    """The way out that the settings name."""
    if settings.mail_by == "file":
        return into_folder(settings.outbox_folder)
    return by_smtp(
        settings.smtp_host,
        settings.smtp_port,
        encrypted=settings.smtp_tls,
        user=settings.smtp_user,
        password=settings.smtp_password,
    )


def into_folder(folder: Path) -> Mailer:
    """Mailer that writes each mail as one .eml file, whole or not at all.

    The name comes from the Message-ID: the same mail again replaces itself.
    """

    def leave(mail: EmailMessage) -> None:
        try:
            _write_whole(folder, file_name(mail["Message-ID"]), mail.as_bytes(policy=POLICY))
        except OSError as error:
            raise ServerClosedError(
                f"The outbox {folder} cannot be written: {error.strerror}. "
                "Check its permissions and free space."
            ) from error

    return leave


def file_name(message_id: str) -> str:
    """Name under which the file outbox keeps the mail with this Message-ID."""
    kept = "".join(letter if letter.isalnum() or letter in "-._@" else "_" for letter in message_id)
    return kept.strip("_.")[:150] + ".eml"


def drop_forgotten_letters(session: Session, folder: Path) -> int:
    """Take the letters to readers who were forgotten out of the file outbox; returns how many."""
    ids = session.scalars(
        select(Reply.rfc_message_id)
        .join(Reader, Reader.id == Reply.reader_id)
        .where(Reader.forgotten_at.is_not(None), Reply.rfc_message_id.is_not(None))
    )
    count = 0
    for message_id in ids:
        path = folder / file_name(str(message_id))
        count += path.exists()
        path.unlink(missing_ok=True)
    return count


def _write_whole(folder: Path, name: str, content: bytes) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=folder, prefix=".", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, folder / name)
    except BaseException:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(temporary)
        raise


def by_smtp(
    host: str,
    port: int,
    *,
    encrypted: bool,
    user: str = "",
    password: str = "",
    context: ssl.SSLContext | None = None,
    wait_seconds: float = TALK_SECONDS,
) -> Mailer:
    """Mailer that talks to a mail server, one connection a mail.

    Parameters
    ----------
    encrypted : bool
        Port 465 speaks TLS from the start, any other port by STARTTLS; without it a
        password is never sent.
    context : SSLContext, optional
        Whom to trust; the system's authorities by default.
    """

    def leave(mail: EmailMessage) -> None:
        try:
            server = _connect(host, port, encrypted, context or ssl.create_default_context(), wait_seconds)
        except (OSError, smtplib.SMTPException) as error:
            raise ServerClosedError(
                f"The mail server {host}:{port} cannot be used: {_plain(error)}."
            ) from error
        try:
            if user:
                _sign_in(server, user, password, encrypted=encrypted)
            _hand_over(server, mail)
        finally:
            with contextlib.suppress(OSError, smtplib.SMTPException):
                server.quit()

    return leave


def _connect(host: str, port: int, encrypted: bool, context: ssl.SSLContext, wait: float) -> smtplib.SMTP:
    if encrypted and port == smtplib.SMTP_SSL_PORT:
        return smtplib.SMTP_SSL(host, port, timeout=wait, context=context)
    server = smtplib.SMTP(host, port, timeout=wait)
    try:
        if encrypted:
            server.starttls(context=context)
        server.ehlo_or_helo_if_needed()
    except BaseException:
        server.close()
        raise
    return server


def _sign_in(server: smtplib.SMTP, user: str, password: str, *, encrypted: bool) -> None:
    if not encrypted:
        raise ServerClosedError("A password is only sent over TLS; set smtp_tls or leave smtp_user empty.")
    try:
        server.login(user, password)
    except (OSError, smtplib.SMTPException) as error:
        raise ServerClosedError(
            f"The mail server did not let {user!r} in: {_plain(error)}. "
            "Check smtp_user and INBOX_SMTP_PASSWORD."
        ) from error


def _hand_over(server: smtplib.SMTP, mail: EmailMessage) -> None:
    """MAIL, RCPT and DATA step by step, so that it is known how far the talk came."""
    sender, receiver = parseaddr(mail["From"])[1], parseaddr(mail["To"])[1]
    try:
        _expect(server.mail(sender), f"{sender} as sender", 250, refusal=ServerClosedError)
        _expect(server.rcpt(receiver), f"the address {receiver}", 250, 251, refusal=AddressRefusedError)
        _expect(server.docmd("DATA"), "the mail", 354)
    except (OSError, smtplib.SMTPException) as error:
        raise NotSentError(
            f"The mail server broke off before the mail was handed over: {_plain(error)}."
        ) from error
    try:
        content = mail.as_bytes(policy=POLICY)
        lines = content.split(b"\r\n")
        dotted = b"\r\n".join(b"." + line if line.startswith(b".") else line for line in lines)
        server.send(dotted.removesuffix(b"\r\n") + b"\r\n.\r\n")
        answer = server.getreply()
    except (OSError, smtplib.SMTPException) as error:
        raise MayHaveGoneError(
            f"The mail server broke off while it took the mail ({_plain(error)}); it may have gone out."
        ) from error
    _expect(answer, "the mail", 250)


def _expect(
    answer: tuple[int, bytes], what: str, *wanted: int, refusal: type[InboxError] = RefusedError
) -> None:
    code, words = answer
    if code in wanted:
        return
    said = f"{code} {words.decode('utf-8', 'replace')}".replace("\n", " ").strip()
    if 500 <= code < 600:
        raise refusal(f"The mail server refused {what}: {said}.")
    if code == -1:
        raise smtplib.SMTPServerDisconnected("connection closed")
    raise NotSentError(f"The mail server does not take {what} now: {said}.")


def _plain(error: Exception) -> str:
    """The reason in one line."""
    if isinstance(error, smtplib.SMTPResponseException):
        words = error.smtp_error
        text = words.decode("utf-8", "replace") if isinstance(words, bytes) else str(words)
        return f"{error.smtp_code} {text}".replace("\n", " ")
    return str(error).replace("\n", " ") or type(error).__name__
