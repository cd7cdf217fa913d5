"""No secret is packed beside words that somebody else chose (BREACH)."""

# ruff: noqa: F811  (fixtures are found by their names)

import gzip
import re
from datetime import timedelta

from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.trust.test_locked_doors import address, routes
from tests.web.test_second_step import (  # noqa: F401
    PASSWORD,
    Clock,
    app,
    clock,
    field,
    give_password,
    secured,
)

PACKS = {"Accept-Encoding": "gzip"}


def is_packed(answer: TestResponse) -> bool:
    assert answer.status_code in (200, 422), answer.status
    return answer.headers.get("Content-Encoding") == "gzip"


def test_answers_that_show_a_secret_once_are_plain(
    app: Flask,
    nobody: FlaskClient,
    secured: tuple[str, list[str]],
    clock: Clock,
) -> None:
    renewed = nobody.post("/your-sign-in", data={"do": "renew", "password": PASSWORD}, headers=PACKS)
    assert "<code>" in renewed.text
    assert not is_packed(renewed)

    link = nobody.post("/settings/people", data={"person": "Tom", "role": "helper"}, headers=PACKS)
    token = re.search(r"/enter/([\w-]+)", link.text)
    assert token
    assert not is_packed(link)

    clock.now += timedelta(minutes=2)
    tom = app.test_client()
    assert tom.get(f"/enter/{token[1]}").status_code == 303
    tom.post("/password", data={"password": "caraway and rye", "again": "caraway and rye"})
    begun = tom.post("/your-sign-in", data={"do": "begin", "password": "caraway and rye"}, headers=PACKS)
    assert field(begun.text, "proof")
    assert not is_packed(begun)

    asked = app.test_client().post("/sign-in", data={"name": "Ines", "password": PASSWORD}, headers=PACKS)
    assert field(asked.text, "proof")
    assert not is_packed(asked)


def test_no_packed_page_holds_a_secret_that_lasts(app: Flask, nobody: FlaskClient) -> None:
    """Walk as the owner: the feed's address, which lets anybody read the digests, and the sign-in's token."""
    assert give_password(nobody).status_code == 303
    assert nobody.post("/digests/feed").status_code == 303
    feed = re.search(r"/digests/feed/([\w-]+)", nobody.get("/digests").text)
    cookie = nobody.get_cookie("second-batch")
    assert feed
    assert cookie
    packed = 0
    for rule in routes(app, "GET"):
        answer = nobody.get(address(rule), headers=PACKS)
        if answer.headers.get("Content-Encoding") == "gzip" and not rule.rule.startswith("/still/"):
            page = gzip.decompress(answer.data).decode()
            assert feed[1] not in page, rule.rule
            assert cookie.value not in page, rule.rule
            packed += 1
    assert packed > 20
