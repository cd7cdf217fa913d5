"""A real server takes what its pages take, and refuses what is larger with a page of the house."""

import contextlib
import http.client
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime

import pytest
from sqlalchemy import Engine

from inbox.cli.refusing import make_server
from inbox.records import accounts
from inbox.records.engine import make_sessions
from inbox.settings import Settings
from inbox.web.application import create_app
from inbox.web.sizes import FORM_BYTES, largest_bytes, reader_form_bytes, upload_bytes

Ask = Callable[..., tuple[int, str, dict[str, str]]]
LIMIT = 3_000_000
LINE = b'{"text": "Made the rye loaf"}\n'


@pytest.fixture
def small(settings: Settings) -> Settings:
    return replace(settings, upload_limit_bytes=LIMIT, photo_limit_bytes=300_000)


@pytest.fixture
def port(small: Settings, fresh_engine: Engine, now: datetime) -> Iterator[int]:
    app = create_app(small, fresh_engine, clock=lambda: now)
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        server = make_server(app, small, listening, threads=2)

        def run() -> None:
            # Closed from another thread, the server may still be waiting on a socket that is gone.
            with contextlib.suppress(OSError):
                server.run()

        runs = threading.Thread(target=run)
        runs.start()
        yield server.effective_port
        server.close()
        runs.join(10)


@pytest.fixture
def ask(port: int, fresh_engine: Engine, now: datetime) -> Ask:
    """Asks the server as the owner; what it says, with its status and header fields."""
    with make_sessions(fresh_engine).begin() as session:
        account = accounts.create_account(session, "Ines", "owner", None, now=now)
        link = accounts.make_link(session, account.id, now=now)

    def send(method: str, path: str, body: bytes = b"", **fields: str) -> tuple[int, str, dict[str, str]]:
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        line.request(
            method, path, body or None, {name.replace("_", "-"): text for name, text in fields.items()}
        )
        answer = line.getresponse()
        words = answer.read().decode()
        line.close()
        return answer.status, words, {name.lower(): text for name, text in answer.getheaders()}

    cookie = send("GET", f"/enter/{link}")[2]["set-cookie"].partition(";")[0]
    return lambda method, path, body=b"", **fields: send(method, path, body, Cookie=cookie, **fields)


def form(content: bytes) -> tuple[bytes, str]:
    """A file as a browser sends it."""
    head = b'--b\r\nContent-Disposition: form-data; name="file"; filename="old.jsonl"\r\n\r\n'
    return head + content + b"\r\n--b--\r\n", "multipart/form-data; boundary=b"


def test_file_of_the_largest_size_is_taken(ask: Ask) -> None:
    body, kind = form(LINE + b" " * (LIMIT - len(LINE)))
    status, _, fields = ask("POST", "/bring-in", body, Content_Type=kind)
    assert (status, fields["location"].rpartition("/")[0]) == (303, "/bring-in/work")


def test_file_a_byte_larger_is_refused_beside_the_field(ask: Ask) -> None:
    body, kind = form(LINE + b" " * (LIMIT + 1 - len(LINE)))
    status, words, _ = ask("POST", "/bring-in", body, Content_Type=kind)
    assert status == 422
    assert "The file is larger than 3,000,000 bytes" in words


@pytest.mark.parametrize("path", ["/bring-in", "/f/made_it", "/nowhere"])
def test_what_no_page_takes_is_refused_by_its_stated_length(ask: Ask, small: Settings, path: str) -> None:
    """No byte of it was sent, so none can have been kept."""
    status, words, fields = ask("POST", path, Content_Length=str(largest_bytes(small) + 1))
    assert status == 413
    assert "<h1>Too large</h1>" in words
    assert "Send a smaller file" in words
    assert fields["content-type"] == "text/html; charset=utf-8"
    assert "default-src 'none'" in fields["content-security-policy"]
    assert fields["connection"] == "close"
    assert "server" not in fields


def test_ordinary_page_takes_less_and_says_so_too(ask: Ask) -> None:
    kind = "application/x-www-form-urlencoded"
    status, words, _ = ask("POST", "/messages/several", b"pick=" + b"1" * FORM_BYTES, Content_Type=kind)
    assert (status, "<h1>Too large</h1>" in words) == (413, True)


def test_head_that_is_too_long_and_what_is_no_request_are_pages(ask: Ask, port: int) -> None:
    status, words, _ = ask("GET", "/contents", X_Long="x" * 300_000)
    assert (status, "<h1>Too long</h1>" in words) == (431, True)
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        line.sendall(b"GET / HTTP/1.1\r\nContent-Length: cake\r\n\r\n")
        said = line.makefile("rb").read().decode()
    assert said.startswith("HTTP/1.1 400 ")
    assert "<h1>That could not be read</h1>" in said


def test_limits_agree(settings: Settings) -> None:
    """As they ship: the server takes the largest file, and that leaves room for six photos."""
    assert settings.upload_limit_bytes < upload_bytes(settings) == largest_bytes(settings)
    assert reader_form_bytes(settings) > 6 * settings.photo_limit_bytes
    many = replace(settings, upload_limit_bytes=1)
    assert largest_bytes(many) == reader_form_bytes(many)
