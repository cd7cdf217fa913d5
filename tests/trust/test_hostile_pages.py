"""Whatever is sent to any address: an answer of our own, never a mistake, never words run as code."""

import io
import re
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given
from hypothesis import settings as examples
from hypothesis import strategies as st
from werkzeug.routing import Rule

import inbox.web
from inbox.intake.deliver import Unusable, deliver
from inbox.places import templates_folder
from inbox.records import accounts, migrate
from inbox.records.engine import make_sessions, open_engine
from inbox.settings import Settings
from inbox.web.application import create_app
from tests.postgres import ledger_of_its_own
from tests.web.filled import fill, fill_findings

NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)
MARK = "<script>mark()</script>"
ODD = (
    "", "0", "1", "2", "3", "-1", "9223372036854775808", "99999999999999999999999", "1e309", "nan", "0x1",
    "²", "2026-W40", "2026-W54", "0000-W01", "2026-11-02", "2026-02-30", "9999-12-31", "10000-01-01",
    "0001-01-01T00:00", "problem", "bread", "open", "published", "forget", "Europe/Vienna",
    "../../etc/passwd", "/\\evil.example", "//evil.example", "javascript:alert(1)",
    "\"><img src=x onerror=mark()>", "{{ 7*7 }}", "%s%n", "a\r\nSet-Cookie: x=1", "\x00", "a\x00b",
    "\u202egnp.exe", "\u200b" * 50, "\ufeff", "e\u0301" * 200, "\ud800", "x" * 30_000, '"unclosed',
    'AND OR NOT', "NEAR(", "*", "'; --", "http://[::1", "http://127.0.0.1:1/", "mailto:x@y",
    "=cmd|' /C calc'!A0", "1,2,3", "1;2",
)  # fmt: skip
"""Values that programs stumble over: numbers too large, days that are none, marks, quotes, controls."""


def _names_and_values() -> tuple[list[str], list[str]]:
    """Field names and button values that the views and templates speak of, so that forms are nearly right."""
    code = "\n".join(path.read_text() for path in Path(inbox.web.__file__).parent.rglob("*.py"))
    pages = "\n".join(path.read_text() for path in templates_folder().rglob("*.html"))
    names = set(re.findall(r"(?:args|form|files)(?:\.get|\.getlist)?[(\[]\"([a-z_]+)\"", code))
    names |= set(re.findall(r'name="([a-z_]+)"', pages))
    values = set(re.findall(r'value="([\w -]+)"', pages))
    return sorted(names), sorted(values)


NAMES, VALUES = _names_and_values()
WORDS = st.one_of(st.sampled_from(ODD), st.sampled_from(VALUES), st.text(max_size=40))
SLUGS = ("everyday-sandwich-loaf", "2026-W47", "made", "ask", "problem", "made_it", "csv", "jsonl", "json")
FIELDS = st.dictionaries(st.sampled_from(NAMES), st.lists(WORDS, min_size=1, max_size=2), max_size=6)
FILE_NAMES = st.sampled_from(("a.jpg", "../../a.csv", "a.mbox", "\u202egpj.exe", MARK, "x" * 3000 + ".xlsx"))
FILES = st.sampled_from(
    (
        b"",
        b"\x89PNG\r\n\x1a\n" + b"\0" * 40,
        b"From x\n\nhello",
        b"PK\x03\x04junk",
        b'{"text": 1}',
        b"a;b\n1;2\n",
        b"<rss>",
    )
)


@pytest.fixture(scope="module", params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def visited(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Flask]:
    """The application over a filled ledger, on each database, with an owner who can sign in at /enter."""
    with ExitStack() as kept:
        if request.param == "sqlite":
            url = f"sqlite:///{tmp_path_factory.mktemp('hostile')}/ledger.sqlite3"
        else:
            url = kept.enter_context(ledger_of_its_own(request.getfixturevalue("postgres_url")))
        engine = open_engine(url)
        migrate.upgrade(engine)
        settings = Settings(folder=tmp_path_factory.mktemp("data"), timezone="Europe/London", country="GB")
        with make_sessions(engine).begin() as session:
            fill(session, now=NOW, limit=30)
            fill_findings(session, settings, now=NOW)
            for number in range(3):
                unusable = Unusable(
                    door="mail", place=f"message {number}", reason="damaged", raw=b"\xff\0" + MARK.encode()
                )
                deliver(session, unusable, run_id=None, now=NOW)
        yield create_app(settings, engine, clock=lambda: NOW)
        engine.dispose()


@pytest.fixture(scope="module")
def owner_of(visited: Flask) -> FlaskClient:
    with make_sessions(visited.extensions["second_batch"].engine).begin() as session:
        account = accounts.create_account(session, "Ines", "owner", None, now=NOW)
        link = accounts.make_link(session, account.id, now=NOW)
    client = visited.test_client()
    assert client.get(f"/enter/{link}").status_code == 303
    return client


def addresses(app: Flask) -> list[tuple[str, Rule]]:
    """Every way into the pages but the one that would sign the owner out."""
    return [
        (method, rule)
        for rule in app.url_map.iter_rules()
        for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"})
        if not rule.rule.startswith(("/sign-out", "/sign-in", "/enter"))
    ]


def built(rule: Rule, words: list[str]) -> str:
    """The rule's address with `words` in its places."""
    address = rule.rule
    for name in sorted(rule.arguments, reverse=True):
        address = re.sub(
            rf"<(\w+:)?{name}>",
            lambda _: quote(words.pop().encode("utf-8", "surrogatepass"), safe=""),
            address,
        )
    return address


def places_of(rule: Rule, name: str) -> st.SearchStrategy[str]:
    """Mostly what exists, so that the views come further than "no such page"."""
    known = ("1", "2", "3", "4", "5") if f"<int:{name}>" in rule.rule else SLUGS
    return st.one_of(st.sampled_from(known), st.sampled_from(known), WORDS)


@given(data=st.data())
@examples(
    max_examples=400,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_no_page_breaks(visited: Flask, owner_of: FlaskClient, data: st.DataObject) -> None:
    method, rule = data.draw(st.sampled_from(addresses(visited)))
    address = (
        built(rule, [data.draw(places_of(rule, name)) for name in sorted(rule.arguments)])
        + "?"
        + urlencode(data.draw(FIELDS), doseq=True, errors="surrogatepass")
    )
    fields: dict[str, Any] = {}
    if method == "POST":
        fields = {
            name: [v.encode("utf-8", "replace") for v in values] for name, values in data.draw(FIELDS).items()
        }
        if data.draw(st.booleans()):
            fields["photos"] = fields["file"] = (io.BytesIO(data.draw(FILES)), data.draw(FILE_NAMES))

    answer = owner_of.open(address, method=method, data=fields or None)

    assert answer.status_code < 500, f"{method} {address[:300]} {fields}: {answer.status}"
    if answer.mimetype == "text/html":
        assert MARK not in answer.text
