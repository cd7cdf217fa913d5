"""Headers, origins, hosts, cookies and our own error pages (OWASP ASVS 5.0, chapters 3 and 4)."""

from dataclasses import replace
from datetime import datetime

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import Engine

from inbox.records import accounts
from inbox.records.engine import make_sessions
from inbox.settings import Settings
from inbox.web.application import create_app


def test_every_page_carries_the_headers(owner: FlaskClient) -> None:
    for path in ("/contents", "/nowhere", "/sign-in", "/healthz"):
        headers = owner.get(path).headers
        policy = headers["Content-Security-Policy"]
        assert "script-src 'self'" in policy
        assert "unsafe-inline" not in policy
        assert "unsafe-eval" not in policy
        for part in ("base-uri 'none'", "object-src 'none'", "frame-ancestors 'none'", "default-src 'none'"):
            assert part in policy
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Referrer-Policy"] == "same-origin"
        assert headers["Cache-Control"] == "no-store"
        assert "Strict-Transport-Security" not in headers, "not over plain http (RFC 6797, 7.2)"


def test_https_makes_cookies_and_transport_strict(
    settings: Settings, fresh_engine: Engine, now: datetime
) -> None:
    app = create_app(replace(settings, public_url="https://kitchen.example"), fresh_engine, clock=lambda: now)
    with make_sessions(fresh_engine).begin() as session:
        account = accounts.create_account(session, "Ines", "owner", None, now=now)
        link = accounts.make_link(session, account.id, now=now)
    client = app.test_client()
    answer = client.get(f"/enter/{link}", base_url="https://kitchen.example")

    cookie = answer.headers["Set-Cookie"]
    assert cookie.startswith("__Host-second-batch=")
    for part in ("Secure", "HttpOnly", "SameSite=Lax", "Path=/"):
        assert part in cookie
    assert "Domain" not in cookie
    assert answer.headers["Strict-Transport-Security"] == "max-age=31536000"


@pytest.mark.parametrize(
    ("headers", "passes"),
    [
        ({}, True),
        ({"Sec-Fetch-Site": "same-origin"}, True),
        ({"Sec-Fetch-Site": "none"}, True),
        ({"Origin": "http://localhost"}, True),
        ({"Sec-Fetch-Site": "cross-site", "Origin": "http://localhost"}, False),
        ({"Sec-Fetch-Site": "same-site"}, False),
        ({"Origin": "https://evil.example"}, False),
        ({"Origin": "null"}, False),
    ],
)
def test_changes_come_from_our_own_pages(owner: FlaskClient, headers: dict[str, str], passes: bool) -> None:
    answer = owner.post("/undo/999", headers=headers)

    assert answer.status_code == (404 if passes else 403)


@pytest.mark.parametrize(
    ("host", "passes"),
    [("localhost", True), ("127.0.0.1:8765", True), ("192.168.1.20:8765", True), ("[::1]:8765", True),
     ("evil.example", False), ("127.0.0.1.evil.example", False)],
)  # fmt: skip
def test_a_forged_host_is_refused(nobody: FlaskClient, host: str, passes: bool) -> None:
    assert nobody.get("/healthz", headers={"Host": host}).status_code == (200 if passes else 400)


@pytest.mark.parametrize(
    ("method", "path", "status", "words"),
    [
        ("GET", "/nowhere", 404, "No such page"),
        ("DELETE", "/contents", 405, "Not that way"),
        ("GET", "/still/../settings.py", 404, "No such page"),
        ("GET", "/still/nothing.css", 404, "No such page"),
    ],
)
def test_errors_are_pages_of_our_own(
    owner: FlaskClient, method: str, path: str, status: int, words: str
) -> None:
    answer = owner.open(path, method=method)

    assert answer.status_code == status
    assert words in answer.text


def test_too_large_a_form_is_refused(owner: FlaskClient) -> None:
    answer = owner.post("/messages/several", data={"pick": "1" * 1_100_000})

    assert answer.status_code == 413
    assert "Too large" in answer.text


def test_a_mistake_of_ours_is_a_page_without_a_traceback(app: Flask) -> None:
    def broken() -> str:
        raise RuntimeError("secret words")

    app.add_url_rule("/broken", view_func=broken)
    answer = app.test_client().get("/broken")

    assert answer.status_code == 500
    assert "Something broke here" in answer.text
    assert "secret words" not in answer.text


def test_a_gone_ledger_is_said_plainly(settings: Settings, fresh_engine: Engine) -> None:
    app = create_app(settings, fresh_engine)
    with fresh_engine.begin() as connection:
        connection.exec_driver_sql("DROP TABLE saved_settings")
    client = app.test_client()

    answer = client.get("/sign-in")
    assert answer.status_code == 503
    assert "Not taken, please try again" in answer.text


def test_up_and_ready(nobody: FlaskClient, fresh_engine: Engine) -> None:
    assert nobody.get("/healthz").text == "up\n"
    assert nobody.get("/readyz").text == "ready\n"
    with fresh_engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = 'older'")
    assert nobody.get("/readyz").status_code == 503


def test_ready_while_somebody_writes(nobody: FlaskClient, fresh_engine: Engine) -> None:
    """A writer at work for longer than a health check waits must not end in a restart."""
    with fresh_engine.begin():
        assert nobody.get("/readyz").text == "ready\n"


def test_still_files_are_packed_and_kept(nobody: FlaskClient) -> None:
    plain = nobody.get("/still/second-batch.css")
    packed = nobody.get("/still/second-batch.css", headers={"Accept-Encoding": "gzip"})

    assert packed.headers["Content-Encoding"] == "gzip"
    assert len(packed.data) < len(plain.data) / 2
    page = nobody.get("/sign-in", follow_redirects=True).text
    address = page.split('rel="stylesheet" href="')[1].split('"')[0]
    assert "immutable" in nobody.get(address).headers["Cache-Control"]
