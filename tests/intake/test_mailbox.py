from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime

import pytest
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


def test_server_that_is_not_there_is_said() -> None:
    with pytest.raises(InboxError, match="cannot be reached"):
        with open_mailbox(host="127.0.0.1", port=1, tls=False, user="ada", password="x"):
            pass
    with pytest.raises(InputError, match="No mailbox is set"):
        with open_mailbox(host="", port=1, tls=False, user="", password=""):
            pass
