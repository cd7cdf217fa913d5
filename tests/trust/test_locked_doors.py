"""Locked doors that hold for every route at once, tried by walking the route map (OWASP ASVS 5.0)."""

import hashlib
import io
import struct
import zipfile
import zlib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from PIL import Image
from sqlalchemy import Engine
from sqlalchemy.orm import Session
from werkzeug.routing import Rule

from inbox.errors import InputError
from inbox.intake.photos import PIXEL_LIMIT, to_picture
from inbox.intake.sources import ImportOptions, open_source
from inbox.pipeline.long_work import ask, upload_of
from inbox.records import accounts
from inbox.records.engine import make_sessions
from inbox.settings import Settings
from inbox.web.application import create_app
from inbox.web.sizes import FORM_BYTES
from tests.makers import make_message, make_reader, make_recipe, make_theme
from tests.web.test_doors import addresses

EVIL = "https://evil.example/"
KEPT_BY_BROWSERS = ("/still/", "/f/colours.css", "/photos/")


@pytest.fixture
def filled(ledger: Session) -> None:
    """One row of each of the main things, all with the number 1."""
    reader = make_reader(ledger, name="Ada")
    recipe = make_recipe(ledger, slug="nothing")
    make_message(ledger, reader_id=reader.id, page_recipe_id=recipe.id)
    make_theme(ledger)
    ledger.commit()


def routes(app: Flask, method: str) -> Iterator[Rule]:
    for rule in app.url_map.iter_rules():
        if method in (rule.methods or set()) and rule.endpoint != "entry.sign_out":
            yield rule


def address(rule: Rule) -> str:
    return addresses(rule)[0].replace("999", "1")


def state(engine: Engine) -> str:
    """Hash of all that the ledger holds."""
    with engine.connect() as connection:
        held = connection.connection.driver_connection
        assert held is not None
        return hashlib.sha256("\n".join(held.iterdump()).encode()).hexdigest()


def test_looking_changes_nothing(app: Flask, owner: FlaskClient, filled: None, fresh_engine: Engine) -> None:
    """ASVS 3.5.3: no request that a browser makes by itself changes anything."""
    before, seen = state(fresh_engine), 0
    for rule in routes(app, "GET"):
        seen += owner.get(address(rule)).status_code == 200
        assert state(fresh_engine) == before, rule.rule
    assert seen > 25


def test_what_is_looked_after_is_kept_by_no_browser(app: Flask, owner: FlaskClient, filled: None) -> None:
    """ASVS 14.3.2 and 4.1.1: no-store, and a type with its charset, on every answer."""
    for rule in routes(app, "GET"):
        answer = owner.get(address(rule))
        if not rule.rule.startswith(KEPT_BY_BROWSERS):
            assert answer.headers["Cache-Control"] == "no-store", rule.rule
        kind = answer.headers["Content-Type"]
        assert "charset=utf-8" in kind or not kind.startswith("text/"), rule.rule
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_only_the_readers_pages_can_be_framed(app: Flask, owner: FlaskClient, filled: None) -> None:
    """ASVS 3.4.6."""
    for rule in routes(app, "GET"):
        policy = owner.get(address(rule)).headers["Content-Security-Policy"]
        framed = "frame-ancestors 'none'" not in policy
        assert framed is (rule.rule == "/f" or rule.rule.startswith(("/f/", "/unsubscribe"))), rule.rule


def test_only_what_takes_files_takes_more_than_a_form(app: Flask, owner: FlaskClient, filled: None) -> None:
    """ASVS 5.2.1: every route, whoever asks; a stated length is enough to be refused."""
    large = set()
    for method in ("GET", "POST"):
        for rule in routes(app, method):
            answer = owner.open(address(rule), method=method, data=bytes(FORM_BYTES + 1))
            if answer.status_code != 413:
                large.add(rule.rule)
            else:
                assert "<h1>Too large</h1>" in answer.text, rule.rule
    assert large == {"/bring-in", "/bring-in/recipes", "/f/<form>", "/f/<form>/<slug>"}


@pytest.mark.parametrize("evil", [EVIL, "//evil.example", "/\\evil.example", "javascript:alert(1)"])
def test_nobody_is_led_elsewhere_by_any_route(
    app: Flask, owner: FlaskClient, filled: None, evil: str
) -> None:
    """ASVS 3.7.2: every route, asked to lead on to another site, stays on this one."""
    led = 0
    fields = dict.fromkeys(("then", "next", "url", "back", "path"), evil)
    for method in ("GET", "POST"):
        for rule in routes(app, method):
            place = address(rule)
            answer = owner.open(place, method=method, query_string=fields, data=fields)
            if answer.status_code in (301, 302, 303, 307, 308):
                led += 1
                assert answer.location.startswith("/"), rule.rule
                assert not answer.location.startswith(("//", "/\\")), rule.rule
            assert answer.status_code < 500, f"{method} {rule.rule}"
    assert led > 5


@pytest.mark.parametrize(
    "headers",
    [{"X-Forwarded-Host": "evil.example"}, {"Forwarded": "host=evil.example"}, {"X-Host": "evil.example"}],
)
def test_a_host_that_is_claimed_beside_is_passed_over(
    owner: FlaskClient, filled: None, headers: dict[str, str]
) -> None:
    """ASVS 4.1.3: without a trusted proxy nobody sets such fields for us."""
    for path in ("/settings/forms", "/contents", "/f/ask"):
        answer = owner.get(path, headers=headers)
        assert "evil.example" not in answer.text
        assert "evil.example" not in str(answer.headers)


@pytest.mark.parametrize(
    "path",
    ["/.git/config", "/.env", "/ledger.sqlite3", "/settings.toml", "/still/../../pyproject.toml",
     "/still/%2e%2e/%2e%2e/LICENSE", "/still/..%5c..%5cLICENSE", "/still/%00", "/still//etc/passwd"],
)  # fmt: skip
def test_no_file_of_the_machine_is_served(nobody: FlaskClient, path: str) -> None:
    """ASVS 13.4.1 and 5.3.2."""
    assert nobody.get(path).status_code == 404


def test_debugging_is_off(app: Flask) -> None:
    """ASVS 13.4.2."""
    assert not app.debug
    assert not app.testing


def test_a_sign_in_gets_a_token_of_its_own(fresh_engine: Engine, settings: Settings, now: datetime) -> None:
    """ASVS 7.2.3 and 7.2.4: a token that was planted before is not taken over; 128 random bits at least."""
    with make_sessions(fresh_engine).begin() as session:
        accounts.create_account(session, "Ines", "owner", "rye and caraway", now=now)
    client = create_app(settings, fresh_engine, clock=lambda: now).test_client()
    client.set_cookie("second-batch", "planted")
    tokens = set()
    for _ in range(3):
        client.post("/sign-in", data={"name": "Ines", "password": "rye and caraway"})
        cookie = client.get_cookie("second-batch")
        assert cookie is not None
        tokens.add(cookie.value)

    assert len(tokens) == 3
    assert "planted" not in tokens
    assert all(len(token) * 6 >= 128 for token in tokens)


@pytest.mark.parametrize("password", ["rye and caraway ", "Rye and caraway", "rye and caraway" + "x" * 60])
def test_a_password_is_compared_exactly(session: Session, now: datetime, password: str) -> None:
    """ASVS 6.2.8 and 6.2.9: nothing is cut, trimmed or folded; long ones and any sign are taken."""
    account = accounts.create_account(session, "Ines", "owner", "rye and caraway", now=now)
    assert not accounts.is_password(session, account.id, password)
    long = "käsekuchen 🍰 " * 20
    accounts.change_password(session, account.id, long, now=now)
    assert accounts.is_password(session, account.id, long)
    assert not accounts.is_password(session, account.id, long[:-1])


def _zip(path: Path, members: dict[str, int]) -> Path:
    """A zip with files of so many zeros."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, size in members.items():
            with archive.open(name, "w") as member:
                for _ in range(size // 1_000_000):
                    member.write(bytes(1_000_000))
    return path


def test_a_zip_that_bursts_is_refused_before_it_is_unpacked(tmp_path: Path, now: datetime) -> None:
    """ASVS 5.2.3: 250 MB of zeros in a quarter of a megabyte."""
    path = _zip(tmp_path / "burst.zip", {"a.mbox": 125_000_000, "b.mbox": 125_000_000})
    assert path.stat().st_size < 500_000

    with (
        pytest.raises(InputError, match="would unpack to 250,000,000"),
        open_source(path, ImportOptions(now=now)),
    ):
        pass


def _png(width: int, height: int, *more: tuple[bytes, bytes]) -> bytes:
    """A PNG that declares a size; its pixels are all black and pack to nearly nothing."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    pixels = zlib.compress(bytes(1_000_000))
    chunks = [(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)), *more, (b"IDAT", pixels)]
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*one) for one in [*chunks, (b"IEND", b"")])


@pytest.mark.parametrize(
    "bomb",
    [
        _png(60_000, 60_000),
        _png(2**31 - 1, 2**31 - 1),
        _png(7_746, 7_747),  # just above the limit
        _png(400, 300, (b"zTXt", b"a\x00\x00" + zlib.compress(bytes(80_000_000)))),
    ],
    ids=["3.6 billion pixels", "largest", "just above", "text that unpacks to 80 MB"],
)
def test_a_picture_that_bursts_is_none(bomb: bytes) -> None:
    """ASVS 5.2.6."""
    assert 7_746 * 7_747 > PIXEL_LIMIT
    assert to_picture(bomb, limit_bytes=12_000_000) is None


def test_a_page_named_as_a_picture_is_none() -> None:
    """ASVS 5.2.2: what counts is what it holds; what is kept is drawn anew, so nothing rides along."""
    assert to_picture(b"<html><script>alert(1)</script>", limit_bytes=1000) is None
    riding = io.BytesIO()
    Image.new("RGB", (400, 300)).save(riding, "JPEG")
    kept = to_picture(riding.getvalue() + b"<script>alert(1)</script>", limit_bytes=1_000_000)
    assert kept is not None
    assert b"script" not in kept.jpeg


@pytest.mark.parametrize(
    "name",
    ["..", "../../etc/passwd", "a\x00.csv", "🍰" * 200 + ".csv", "/etc/cron.d/x", "con.\n", "x." + "y" * 300],
)
def test_an_uploads_name_is_no_path(fresh_engine: Engine, now: datetime, name: str) -> None:
    """ASVS 5.3.2 and the OWASP sheet on uploads (sources X3): a name of our own."""
    sessions = make_sessions(fresh_engine)
    with sessions.begin() as session:
        work_id = ask(session, "held", {"name": name}, upload=io.BytesIO(b"text\nhello\n"), now=now)

    with upload_of(sessions, work_id) as path:
        assert path is not None
        assert path.name.startswith("upload")
        assert path.read_bytes() == b"text\nhello\n"
