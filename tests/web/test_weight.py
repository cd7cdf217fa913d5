"""What a first visit weighs, as it is sent: page, style sheet, scripts and type, without photos."""

import re
from collections.abc import Iterator
from datetime import datetime

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import Engine

from inbox.records.engine import make_sessions
from inbox.settings import Settings
from inbox.web.still import load_still
from tests.bench.pages import NOW, PAGES
from tests.bench.pages import fill as fill_large
from tests.web.filled import fill, fill_findings

LIMIT_BYTES = 150_000
WITH_SECRETS = ("/digests", "/settings")
"""Pages that are never packed."""


def weight(client: FlaskClient, path: str) -> int:
    """Bytes of `path` and of all that it names under /still/, by name of each part."""
    answer = client.get(path, headers={"Accept-Encoding": "gzip"})
    assert answer.status_code == 200, path
    assert (answer.headers.get("Content-Encoding") == "gzip") is (path not in WITH_SECRETS), path
    page = client.get(path).text
    named = set(re.findall(r"/still/[^\"?]+", page))
    for sheet in [one for one in named if one.endswith(".css")]:
        named |= set(re.findall(r"/still/[^\"?]+", client.get(sheet).text))
    parts = {one: len(client.get(one, headers={"Accept-Encoding": "gzip"}).data) for one in named}
    assert "/still/second-batch.css" in parts
    assert len([one for one in parts if one.endswith(".woff2")]) == 4
    return len(answer.data) + sum(parts.values())


@pytest.fixture
def filled(fresh_engine: Engine, settings: Settings, now: datetime) -> None:
    with make_sessions(fresh_engine).begin() as session:
        fill(session, now=now)
        fill_findings(session, settings, now=now)


def _plain_pages(app: Flask) -> Iterator[str]:
    for rule in app.url_map.iter_rules():
        if "GET" in (rule.methods or ()) and not rule.arguments:
            yield rule.rule


@pytest.mark.usefixtures("filled")
def test_a_first_visit_to_any_page_is_light(owner: FlaskClient, app: Flask) -> None:
    weighed = {}
    for path in _plain_pages(app):
        answer = owner.get(path)
        if answer.status_code == 200 and "second-batch.css" in answer.text:
            weighed[path] = weight(owner, path)

    assert len(weighed) > 15
    assert {path: bytes_ for path, bytes_ in weighed.items() if bytes_ > LIMIT_BYTES} == {}


def test_pages_of_three_hundred_recipes_and_five_hundred_themes_are_light(
    owner: FlaskClient, fresh_engine: Engine, now: datetime
) -> None:
    fill_large(fresh_engine, 1_000)
    at = NOW.replace(tzinfo=None).isoformat()
    paths = [path.format(middle=f"{at}~500", one=500) for path in PAGES.values()]

    weighed = {path: weight(owner, path) for path in paths}

    assert {path: bytes_ for path, bytes_ in weighed.items() if bytes_ > LIMIT_BYTES} == {}


def test_type_is_swapped_in_and_its_licence_lies_beside_it() -> None:
    sheet = load_still("second-batch.css")
    licence = load_still("vollkorn-LICENSE.txt")

    assert sheet is not None
    assert licence is not None
    assert sheet.body.count(b"@font-face") == sheet.body.count(b"font-display: swap") == 4
    assert b"SIL OPEN FONT LICENSE Version 1.1" in licence.body
    assert b"with Reserved Font Name" not in licence.body, "a cut font could not keep the name"


@pytest.mark.parametrize("name", ["Dvořák", "Łukasz", "Şule", "Ștefan", "Ólöf", "Ģirts"])
def test_type_is_offered_for_the_letters_of_names(name: str) -> None:
    sheet = load_still("second-batch.css")
    assert sheet is not None
    ranges = re.findall(rb"unicode-range: ([^;]+);", sheet.body)
    assert len(ranges) == 2

    for found in ranges:
        spans = re.findall(rb"U\+([0-9A-F]+)-([0-9A-F]+)", found)
        further = [ord(sign) for sign in name if ord(sign) > 0xFF]
        assert all(any(int(low, 16) <= one <= int(high, 16) for low, high in spans) for one in further)


def test_a_page_is_sent_as_it_is_to_a_browser_that_does_not_take_gzip(owner: FlaskClient) -> None:
    plain = owner.get("/contents", headers={"Accept-Encoding": "gzip;q=0"})

    assert "Content-Encoding" not in plain.headers
    assert "Accept-Encoding" in plain.headers["Vary"]
    assert plain.text.startswith("<!doctype html>")
