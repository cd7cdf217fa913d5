import socket
import ssl
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime

import pytest
import trustme
from sqlalchemy import Engine, select

from inbox.errors import InboxError, InputError
from inbox.intake.mailbox import BATCH_COUNT, Letter, look_into, open_mailbox
from inbox.intake.mime import MailOptions
from inbox.records.engine import make_sessions
from inbox.records.tables import IntakeRun, Message
from tests.intake.imap_server import ImapServer, start_imap

NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)
OPTIONS = MailOptions(NOW)


def mail(number: int, text: str = "It sank.") -> bytes:
    return (
        f"From: reader{number}@example.org\nMessage-ID: <{number}@example.org>\n"
        f"Date: Mon, 2 Nov 2026 10:00:00 +0000\nSubject: Loaf\n\n{text} {number}\n"
    ).encode()


class ListFolder:
    """A mailbox that is a list."""

    name = "ada@mail.example/INBOX"

    def __init__(self, letters: list[Letter]) -> None:
        self.letters, self.validity = letters, 1
        self.seen: list[int] = []
        self.fetched: list[int] = []
        self.breaks_at: int | None = None

    def uid_validity(self) -> int:
        return self.validity

    def uids_after(self, uid: int) -> list[int]:
        return sorted(letter.uid for letter in self.letters if letter.uid > uid)

    def fetch(self, uids: Sequence[int]) -> Iterator[Letter]:
        for letter in self.letters:
            if letter.uid in uids:
                if letter.uid == self.breaks_at:
                    raise InboxError("the line broke")
                self.fetched.append(letter.uid)
                yield letter

    def mark_seen(self, uids: Sequence[int]) -> None:
        self.seen += uids


def letters(*numbers: int) -> list[Letter]:
    return [Letter(number, mail(number), None, 200) for number in numbers]


def test_only_new_mail_is_fetched_and_nothing_is_marked(fresh_engine: Engine) -> None:
    sessions = make_sessions(fresh_engine)
    folder = ListFolder(letters(1, 2, 5))
    first = look_into(sessions, folder, options=OPTIONS)
    assert first is not None
    assert (first.stored, first.total) == (3, 3)
    assert look_into(sessions, folder, options=OPTIONS) is None
    folder.letters += letters(6)
    folder.fetched.clear()
    second = look_into(sessions, folder, options=OPTIONS)
    assert second is not None
    assert (second.stored, folder.fetched, folder.seen) == (1, [6], [])
    with sessions.begin() as session:
        assert len(session.scalars(select(IntakeRun)).all()) == 2


def test_mail_is_marked_where_the_owner_says_so(fresh_engine: Engine) -> None:
    folder = ListFolder(letters(1, 2))
    look_into(make_sessions(fresh_engine), folder, options=OPTIONS, mark_seen=True)
    assert folder.seen == [1, 2]


def test_numbers_that_begin_anew_double_nothing(fresh_engine: Engine) -> None:
    sessions = make_sessions(fresh_engine)
    folder = ListFolder(letters(11, 12))
    look_into(sessions, folder, options=OPTIONS)
    folder.validity = 2
    folder.letters = [replace(letter, uid=letter.uid - 10) for letter in folder.letters] + letters(3)
    again = look_into(sessions, folder, options=OPTIONS)
    assert again is not None
    assert (again.stored, again.already_here) == (1, 2)


def test_look_that_was_cut_goes_on(fresh_engine: Engine) -> None:
    sessions = make_sessions(fresh_engine)
    numbers = range(1, BATCH_COUNT * 2 + 11)
    folder = ListFolder(letters(*numbers))
    folder.breaks_at = BATCH_COUNT + 5
    with pytest.raises(InboxError):
        look_into(sessions, folder, options=OPTIONS)
    folder.breaks_at = None
    rest = look_into(sessions, folder, options=OPTIONS)
    assert rest is not None
    assert (rest.stored, rest.already_here) == (BATCH_COUNT + 10, 0)
    with sessions.begin() as session:
        assert len(session.scalars(select(Message.id)).all()) == len(numbers)


def test_mail_that_is_too_large_is_set_aside(fresh_engine: Engine) -> None:
    folder = ListFolder([Letter(1, b"beginning", None, 10**9)])
    result = look_into(make_sessions(fresh_engine), folder, options=OPTIONS)
    assert result is not None
    assert (result.set_aside, result.total) == (1, 1)


def test_arrival_counts_where_the_mail_has_no_date(fresh_engine: Engine) -> None:
    arrived = datetime(2026, 11, 3, 8, tzinfo=UTC)
    folder = ListFolder([Letter(1, b"From: ada@example.org\n\nIt sank.\n", arrived, 40)])
    look_into(make_sessions(fresh_engine), folder, options=OPTIONS)
    with make_sessions(fresh_engine).begin() as session:
        assert session.scalar(select(Message.received_at)) == arrived


@pytest.fixture(scope="module")
def server() -> Iterator[ImapServer]:
    with start_imap() as started:
        yield started


AUTHORITY = trustme.CA()


def trusting(authority: trustme.CA) -> ssl.SSLContext:
    """Whom a machine trusts that trusts this authority and no other."""
    context = ssl.create_default_context(cadata=authority.cert_pem.bytes().decode())
    assert (context.verify_mode, context.check_hostname) == (ssl.CERT_REQUIRED, True)
    return context


@pytest.fixture(scope="module")
def tls_server() -> Iterator[ImapServer]:
    with start_imap(AUTHORITY.issue_cert("localhost")) as started:
        yield started


@pytest.fixture(params=["from the start", "STARTTLS"])
def how(request: pytest.FixtureRequest, tls_server: ImapServer) -> dict[str, object]:
    """Both ways to TLS on the server that has a certificate for localhost."""
    at_once = request.param == "from the start"
    return {"host": "localhost", "tls": at_once, "port": tls_server.tls_port if at_once else tls_server.port}


def connect(server: ImapServer, user: str, **facts: object):  # type: ignore[no-untyped-def]
    given = {"host": "127.0.0.1", "port": server.port, "tls": False, "user": user, "password": "secret"}
    return open_mailbox(**{**given, **facts})  # type: ignore[arg-type]


@pytest.mark.slow
def test_real_server_gives_new_mail_once_and_keeps_it_unseen(
    server: ImapServer, fresh_engine: Engine
) -> None:
    sessions = make_sessions(fresh_engine)
    for number in (1, 2):
        server.put("ada", mail(number, "Crème"), f"100{number}.host")
    with connect(server, "ada") as folder:
        first = look_into(sessions, folder, options=OPTIONS)
    assert first is not None
    assert first.stored == 2
    with connect(server, "ada") as folder:
        assert look_into(sessions, folder, options=OPTIONS) is None
    server.put("ada", mail(3), "1003.host")
    with connect(server, "ada") as folder:
        second = look_into(sessions, folder, options=OPTIONS)
    assert second is not None
    assert (second.stored, second.total) == (1, 1)
    names = [path.name for path in (server.folder / "mail" / "ada" / "cur").iterdir()]
    names += [path.name for path in (server.folder / "mail" / "ada" / "new").iterdir()]
    assert len(names) == 3
    assert not any(name.rpartition(":2,")[2].count("S") for name in names if ":2," in name)
    with sessions.begin() as session:
        assert session.scalars(select(Message.text).order_by(Message.id)).first() == "Crème 1"


@pytest.mark.slow
def test_real_server_marks_mail_when_asked(server: ImapServer, fresh_engine: Engine) -> None:
    server.put("bo", mail(1), "1001.host")
    with connect(server, "bo", mark_seen=True) as folder:
        look_into(make_sessions(fresh_engine), folder, options=OPTIONS, mark_seen=True)
    names = [path.name for path in (server.folder / "mail" / "bo" / "cur").iterdir()]
    assert [name.endswith("S") for name in names] == [True]


@pytest.mark.slow
def test_wrong_password_and_folder_are_said(server: ImapServer) -> None:
    with pytest.raises(InputError, match="refuses the user"), connect(server, "ada", password="wrong"):
        pass
    with pytest.raises(InputError, match="'Nowhere'"), connect(server, "ada", folder="Nowhere"):
        pass


@pytest.mark.slow
def test_mail_comes_over_tls(tls_server: ImapServer, how: dict[str, object], fresh_engine: Engine) -> None:
    user = "tls" if how["tls"] else "starttls"
    tls_server.put(user, mail(1, "Crème"), "1001.host")
    with connect(tls_server, user, ssl_context=trusting(AUTHORITY), **how) as folder:
        result = look_into(make_sessions(fresh_engine), folder, options=OPTIONS)
    assert result is not None
    assert result.stored == 1


@pytest.mark.slow
def test_a_certificate_that_nobody_vouches_for_is_refused(
    tls_server: ImapServer, how: dict[str, object]
) -> None:
    for context in (trusting(trustme.CA()), None):
        with pytest.raises(InboxError, match=r"nobody vouches for .* No password was sent"):
            with connect(tls_server, "ada", ssl_context=context, **how):
                pass


@pytest.mark.slow
def test_a_certificate_for_another_host_is_refused(tls_server: ImapServer, how: dict[str, object]) -> None:
    with pytest.raises(InboxError, match="certificate for another name"):
        with connect(tls_server, "ada", ssl_context=trusting(AUTHORITY), **{**how, "host": "127.0.0.1"}):
            pass


@pytest.mark.slow
def test_a_certificate_that_has_run_out_is_refused() -> None:
    old = AUTHORITY.issue_cert("localhost", not_after=datetime(2020, 1, 1, tzinfo=UTC))
    with start_imap(old) as server, pytest.raises(InboxError, match="has run out"):
        with connect(
            server, "ada", host="localhost", port=server.tls_port, tls=True, ssl_context=trusting(AUTHORITY)
        ):
            pass


@pytest.mark.slow
def test_a_port_without_tls_is_said(server: ImapServer) -> None:
    with pytest.raises(InboxError, match=r"does not speak TLS as it should.*set imap_tls to no"):
        with connect(server, "ada", tls=True):
            pass


@pytest.mark.slow
def test_no_password_goes_elsewhere_in_the_open(server: ImapServer, monkeypatch: pytest.MonkeyPatch) -> None:
    here = socket.create_connection
    monkeypatch.setattr(
        socket, "create_connection", lambda _at, *rest: here(("127.0.0.1", server.port), *rest)
    )
    with pytest.raises(InputError, match="only sent over TLS"):
        with connect(server, "ada", host="mail.example"):
            pass


def test_server_that_is_not_there_is_said() -> None:
    with pytest.raises(InboxError, match="cannot be reached"):
        with open_mailbox(host="127.0.0.1", port=1, tls=False, user="ada", password="x"):
            pass
    with pytest.raises(InputError, match="No mailbox is set"):
        with open_mailbox(host="", port=1, tls=False, user="", password=""):
            pass
