"""A real IMAP server for tests: Debian's dovecot-imapd, on a free port, its files in a temporary folder."""

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
import trustme

PROGRAM = shutil.which("dovecot", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
CONFIGURATION = """
base_dir = {folder}/run
state_dir = {folder}/state
log_path = {folder}/log
info_log_path = {folder}/log
protocols = imap
listen = 127.0.0.1
default_login_user = {user}
default_internal_user = {user}
default_internal_group = {group}
{tls}
disable_plaintext_auth = no
auth_mechanisms = plain login
auth_failure_delay = 0
mail_location = maildir:{folder}/mail/%u
mail_uid = {mail_user}
mail_gid = {mail_group}
first_valid_uid = 1
service imap-login {{
  chroot =
  inet_listener imap {{
    port = {port}
  }}
  inet_listener imaps {{
    port = {tls_port}
    ssl = yes
  }}
}}
service anvil {{
  chroot =
}}
passdb {{
  driver = static
  args = password=secret
}}
userdb {{
  driver = static
  args = uid={mail_user} gid={mail_group} home={folder}/mail/%u
}}
"""


@dataclass(frozen=True)
class ImapServer:
    port: int
    tls_port: int
    """0 where the server has no certificate."""
    folder: Path

    def put(self, user: str, raw: bytes, name: str) -> None:
        """Put a mail into a user's mailbox, as a delivery program would."""
        maildir = self.folder / "mail" / user
        for part in ("cur", "new", "tmp"):
            (maildir / part).mkdir(parents=True, exist_ok=True)
        (maildir / "new" / name).write_bytes(raw)
        _give_to_mail_user(self.folder / "mail")


def _mail_user() -> tuple[str, str]:
    """User that owns the mails: whoever runs the tests, but dovecot refuses root."""
    if os.getuid() != 0:
        user = pwd.getpwuid(os.getuid())
        return user.pw_name, str(user.pw_gid)
    found = pwd.getpwnam("mail")
    return found.pw_name, str(found.pw_gid)


def _give_to_mail_user(folder: Path) -> None:
    if os.getuid() == 0:
        user, group = _mail_user()
        for path in [folder, *folder.rglob("*")]:
            shutil.chown(path, user, int(group))


@contextmanager
def start_imap(certificate: trustme.LeafCert | None = None) -> Iterator[ImapServer]:
    """A server that lives as long as the block; skips the test where none can be had, fails in .ci/run.

    With a certificate it speaks TLS from the start on one port and by STARTTLS on the other, and takes no
    password without.
    """
    if PROGRAM is None:
        if os.environ.get("INBOX_TESTS_REQUIRE") == "all":
            raise RuntimeError("dovecot-imapd is required and not installed")
        pytest.skip("no IMAP server to test with: dovecot-imapd is not installed")
    with socket.socket() as one, socket.socket() as two:
        for probe in (one, two):
            probe.bind(("127.0.0.1", 0))
        port, tls_port = one.getsockname()[1], two.getsockname()[1]
    # A folder of its own: paths of sockets are short, and the server's users must be able to enter.
    with tempfile.TemporaryDirectory(prefix="imap") as folder:
        Path(folder).chmod(0o755)
        yield from _serve(Path(folder), port, tls_port if certificate else 0, certificate)


def _serve(
    folder: Path, port: int, tls_port: int, certificate: trustme.LeafCert | None
) -> Iterator[ImapServer]:
    mail_user, mail_group = _mail_user()
    user = "dovenull" if os.getuid() == 0 else mail_user
    group = "dovecot" if os.getuid() == 0 else mail_group
    for part in ("run", "state", "mail"):
        (folder / part).mkdir(parents=True)
    _give_to_mail_user(folder / "mail")
    settings = folder / "dovecot.conf"
    settings.write_text(
        CONFIGURATION.format(
            folder=folder,
            user=user,
            group=group,
            port=port,
            tls_port=tls_port,
            mail_user=mail_user,
            mail_group=mail_group,
            tls=_tls_lines(folder, certificate),
        )
    )
    server = subprocess.Popen([PROGRAM, "-F", "-c", str(settings)])
    try:
        _wait_for(port, folder)
        yield ImapServer(port, tls_port, folder)
    finally:
        server.terminate()
        server.wait(timeout=20)


def _tls_lines(folder: Path, certificate: trustme.LeafCert | None) -> str:
    """Lines of the configuration about TLS; a certificate is written beside it."""
    if certificate is None:
        return "ssl = no"
    pem = folder / "server.pem"
    certificate.private_key_and_cert_chain_pem.write_to_path(str(pem))
    return f"ssl = required\nssl_cert = <{pem}\nssl_key = <{pem}"


def _wait_for(port: int, folder: Path) -> None:
    for _ in range(100):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    log = folder / "log"
    raise RuntimeError(f"dovecot did not start: {log.read_text() if log.exists() else 'no log'}")
