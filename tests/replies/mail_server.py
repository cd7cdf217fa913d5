"""A real SMTP server for tests that cuts, dies or kills its client at a chosen stage.

Run as a program it prints its port; each mail that it took is a file in the folder.
"""

import os
import signal
import sys
import threading
import time
from pathlib import Path
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

STAGES = ("EHLO", "MAIL", "RCPT", "DATA", "TAKEN", "NEVER")
"""DATA: after the content came and before it is taken; TAKEN: after it is taken, before the answer."""


class Taker:
    """Handler of aiosmtpd that keeps what it takes in a folder and misbehaves at one stage."""

    def __init__(self, folder: Path, stage: str = "NEVER", how: str = "cut") -> None:
        self.folder, self.stage, self.how = folder, stage, how

    def trip(self, server: SMTP, stage: str) -> None:
        if stage != self.stage:
            return
        if self.how == "die":
            os.kill(os.getpid(), signal.SIGKILL)
        if self.how == "kill client":
            os.kill(int((self.folder / "client.pid").read_text()), signal.SIGKILL)
            time.sleep(0.05)
        server.transport.abort()

    async def handle_EHLO(
        self, server: SMTP, session: Session, envelope: Envelope, name: str, answers: list[str]
    ) -> list[str]:
        session.host_name = name
        self.trip(server, "EHLO")
        return answers

    async def handle_MAIL(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        envelope.mail_from = address
        self.trip(server, "MAIL")
        return "250 fine"

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        self.trip(server, "RCPT")
        if address.startswith("gone"):
            return "550 5.1.1 nobody of that name"
        if address.startswith("later"):
            return "451 4.3.2 come back later"
        envelope.rcpt_tos.append(address)
        return "250 fine"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        self.trip(server, "DATA")
        if self.stage == "DATA":
            return "451 cut"
        number = len(list(self.folder.glob("*.eml")))
        content = envelope.content
        assert isinstance(content, bytes)
        (self.folder / f"{number:04d}.eml").write_bytes(content)
        self.trip(server, "TAKEN")
        return "250 taken"


class _OnFreePort(Controller):
    """The controller's own check of its port knows only the number that it was given."""

    def _trigger_server(self) -> None:
        self.port = port_of(self)
        super()._trigger_server()


def taken(folder: Path) -> list[bytes]:
    """Mails that the server took, in their order."""
    return [path.read_bytes() for path in sorted(folder.glob("*.eml"))]


def start(folder: Path, stage: str = "NEVER", how: str = "cut", **facts: Any) -> Controller:
    """Server on a free port of this machine, in a thread."""
    folder.mkdir(parents=True, exist_ok=True)
    controller = _OnFreePort(Taker(folder, stage, how), hostname="127.0.0.1", port=0, **facts)
    controller.start()
    return controller


def port_of(controller: Controller) -> int:
    assert controller.server is not None
    return int(controller.server.sockets[0].getsockname()[1])


if __name__ == "__main__":
    running = start(Path(sys.argv[1]), sys.argv[2], sys.argv[3])
    print(port_of(running), flush=True)
    threading.Event().wait()
