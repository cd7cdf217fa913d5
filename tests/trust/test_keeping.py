"""What is kept of a reader, for how long, and that the privacy text says so."""

import io
import zlib
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from html import unescape
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from PIL import Image
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from inbox.calendar import Week
from inbox.digest.alerts import mail_alerts, mail_newest_digest, raise_alerts
from inbox.digest.build import freeze
from inbox.intake.photos import to_picture
from inbox.intake.set_aside import leave_out
from inbox.pipeline.jobs import Jobs
from inbox.pipeline.long_work import do_next
from inbox.pipeline.rounds import Kitchen
from inbox.pipeline.works import works
from inbox.records.backup import make_backup
from inbox.records.engine import make_sessions
from inbox.records.tables import Message, Photo, RawItem, SetAside
from inbox.records.tables_out import Attempt, LongWork, Reply, Theme, ThemeMember
from inbox.records.turns import Leadership
from inbox.replies.compose import Sender, sender_of
from inbox.replies.post import into_folder
from inbox.replies.sending import send_due
from inbox.settings import Settings
from inbox.web.application import create_app
from tests.digest.kitchen import SITE, caution
from tests.makers import THEN, make_message, make_reader, make_theme
from tests.replies.outbox import label

WORDS = "zanzibarred"
ADDRESS = "xanthippe@example.org"


def _original(session: Session, **facts: object) -> int:
    message = make_message(session, **facts)
    session.add(RawItem(message_id=message.id, media_type="text/plain", packed=zlib.compress(b"whole")))
    return int(message.id)


def _aside(session: Session, name: str, raw: bytes, **facts: object) -> SetAside:
    row = SetAside(
        door="mail", place="1", reason="cut short", fingerprint=name, raw=raw, set_aside_at=THEN, **facts
    )
    session.add(row)
    session.flush()
    return row


@pytest.mark.parametrize(("keep_days", "left"), [(0, 3), (30, 1), (3650, 3)])
def test_originals_are_kept_as_long_as_the_owner_says(
    fresh_engine: Engine, settings: Settings, now: datetime, keep_days: int, left: int
) -> None:
    long_ago = now - timedelta(days=40)
    sessions = make_sessions(fresh_engine)
    with sessions.begin() as session:
        for stored_at in (long_ago, long_ago, now):
            _original(session, stored_at=stored_at, text="My words stay.")
        _aside(session, "waits", b"whole", details={"heads": []})
        _aside(session, "decided", b"whole", left_out_at=long_ago)
        session.add(Attempt(door="form", sender_hash="x", tried_at=now - timedelta(hours=25)))
        session.add(Attempt(door="form", sender_hash="y", tried_at=now - timedelta(hours=1)))
        session.add(LongWork(what="held", arguments={}, asked_at=now - timedelta(hours=25)))
    with Leadership(fresh_engine, settings.folder) as leader:
        jobs = Jobs(replace(settings, keep_raw_days=keep_days), fresh_engine, leader, clock=lambda: now)
        jobs.tidy(now)

    with sessions() as session:
        assert len(session.scalars(select(RawItem.message_id)).all()) == left
        assert set(session.scalars(select(Message.text))) == {"My words stay."}
        raws = dict(session.execute(select(SetAside.fingerprint, SetAside.raw)).all())
        assert raws == {"waits": b"whole", "decided": b"" if keep_days == 30 else b"whole"}
        assert session.scalars(select(Attempt.sender_hash)).all() == ["y"]
        assert session.scalars(select(LongWork.id)).all() == []


def test_forgetting_on_the_page_leaves_no_word_in_any_file(
    owner: FlaskClient,
    ledger: Session,
    fresh_engine: Engine,
    settings: Settings,
    now: datetime,
    tmp_path: Path,
) -> None:
    reader = make_reader(ledger, email=ADDRESS, name="Xanthippe")
    number = reader.id
    message = make_message(ledger, reader_id=number, text=f"It {WORDS}.", subject=WORDS)
    picture = to_picture(_jpeg(), limit_bytes=1_000_000)
    assert picture is not None
    ledger.add(
        Photo(message_id=message.id, width=9, height=9, jpeg=picture.jpeg, thumbnail=picture.thumbnail)
    )
    for state, when in (("draft", None), ("waiting", THEN)):
        ledger.add(
            Reply(
                message_id=message.id, reader_id=number, state=state, to_address=ADDRESS, subject=WORDS,
                body=f"Dear Xanthippe, {WORDS}.", rfc_message_id=f"{state}@kitchen.example", created_at=THEN,
                changed_at=THEN, pressed_at=when, leaves_at=when,
            )
        )  # fmt: skip
    decided = _aside(ledger, "a", f"From: XANTHIPPE@example.org\n\n{WORDS}".encode())
    _aside(ledger, "b", f"\ufeff{ADDRESS};{WORDS}".encode("utf-16-le"), taken_in_at=THEN)
    leave_out(ledger, decided.id, now=now)
    ledger.commit()
    sessions = make_sessions(fresh_engine)
    sender = Sender("owner@kitchen.example", public_url="https://kitchen.example")
    send_due(sessions, into_folder(settings.outbox_folder), now=now, sender=sender, daily_limit=5)
    assert len(list(settings.outbox_folder.glob("*.eml"))) == 1
    assert _traces(settings.folder)

    assert owner.post(f"/readers/{number}/forget", data={"sure": "forget"}).status_code == 303
    kinds = works(sessions, Kitchen(settings), settings, clock=lambda: now)
    assert do_next(sessions, kinds, clock=lambda: now) is not None
    make_backup(fresh_engine, tmp_path / "backups", keep_count=1, now=now)

    assert _traces(settings.folder) == _traces(tmp_path / "backups") == []
    with sessions() as session:
        assert session.scalars(select(Photo.id)).all() == []
        assert session.scalars(select(Reply.state)).all() == ["sent"]
        assert session.scalars(select(LongWork.trouble)).all() == [None]


def test_nothing_is_left_in_mails_to_the_owner_and_in_names_of_themes(
    owner: FlaskClient,
    ledger: Session,
    fresh_engine: Engine,
    settings: Settings,
    now: datetime,
    tmp_path: Path,
) -> None:
    """Alerts quote the beginning of long words, digests quote, themes are named by a reader's phrase."""
    sessions, here = make_sessions(fresh_engine), replace(settings, owner_email="owner@kitchen.example")
    reader = make_reader(ledger, email=ADDRESS, name="Xanthippe")
    words = f"I was ill all night, the soufflé {WORDS}. " + "And then it rained and rained. " * 40
    ill = _labelled(ledger, "problem", reader_id=reader.id, text=words, hazard="illness")
    other = _labelled(ledger, "problem", reader_id=make_reader(ledger).id, text="Me too.", hazard="illness")
    asks = _labelled(ledger, "request", reader_id=reader.id, text=f"Please make a {WORDS} tart!")
    theme, by_hand = make_theme(ledger, name=f"{WORDS} tart"), make_theme(ledger, name="for Xanthippe")
    shared = make_theme(ledger, name="and then it rained")
    both = [
        _labelled(ledger, "request", reader_id=make_reader(ledger).id, text="And then it rained."),
        ill,
    ]
    ledger.add_all(
        ThemeMember(message_id=one, theme_id=shared.id, similarity=1.0, joined_at=THEN) for one in both
    )
    ledger.add(ThemeMember(message_id=asks, theme_id=theme.id, similarity=1.0, joined_at=THEN))
    by_hand.named_by_hand = True
    ledger.flush()
    raise_alerts(ledger, now=now, zone=settings.zone)
    ledger.commit()
    sender, leave = sender_of(here), into_folder(settings.outbox_folder)
    assert mail_alerts(sessions, leave, now=now, sender=sender, by="test") == 2
    with sessions.begin() as session:
        freeze(session, Week.of(THEN, settings.zone), site=SITE, caution=caution, now=now)
    assert mail_newest_digest(sessions, leave, now=now, sender=sender, by="test")
    assert len(_traces(settings.outbox_folder)) == 2, "alert and digest hold the words before"

    assert owner.post(f"/readers/{reader.id}/forget", data={"sure": "forget"}).status_code == 303
    assert do_next(sessions, works(sessions, Kitchen(here), here, clock=lambda: now), clock=lambda: now)
    make_backup(fresh_engine, tmp_path / "backups", keep_count=1, now=now)

    assert _traces(settings.folder) == _traces(tmp_path / "backups") == []
    mails = [path.read_text() for path in sorted(settings.outbox_folder.glob("*.eml"))]
    assert len(mails) == 2
    assert "Me too." in mails[0], "what others wrote is still told"
    assert f"/messages/{other}" in mails[0]
    with sessions() as session:
        names = session.scalars(select(Theme.name).order_by(Theme.id)).all()
        assert names == [f"theme {theme.id}", f"theme {by_hand.id}", "and then it rained"]


def _labelled(session: Session, kind: str, *, hazard: str | None = None, **facts: object) -> int:
    message = make_message(session, received_at=THEN, may_quote=True, **facts)
    return int(label(session, message, kind, hazard=hazard).id)


def _jpeg() -> bytes:
    written = io.BytesIO()
    Image.effect_noise((300, 300), 40).convert("RGB").save(written, "JPEG")
    return written.getvalue()


def _traces(folder: Path) -> list[str]:
    marks = [
        mark.encode(code) for mark in ("zanzibar", "anthipp", "ANTHIPP") for code in ("utf-8", "utf-16-le")
    ]
    return [
        path.name
        for path in sorted(folder.rglob("*"))
        if path.is_file() and any(mark in path.read_bytes() for mark in marks)
    ]


@pytest.mark.parametrize(
    ("facts", "said", "unsaid"),
    [
        ({}, ["Your words stay until you ask"], ["days", "Mail that you send", "Comments that you leave"]),
        (
            {"keep_raw_days": 45},
            ["The original of a message is dropped after 45 days"],
            ["Your words stay until"],
        ),
        ({"imap_host": "mail.example"}, ["Mail that you send to Ines is read in"], ["Comments that"]),
        (
            {"feeds": "https://kitchen.example/feed"},
            ["Comments that you leave on the site"],
            ["Mail that you"],
        ),
        ({"owner_email": "ines@kitchen.example"}, ["Write to ines@kitchen.example."], ["Write to me here"]),
    ],
)
def test_the_privacy_text_says_what_the_settings_do(
    settings: Settings, fresh_engine: Engine, facts: dict[str, object], said: list[str], unsaid: list[str]
) -> None:
    client = create_app(replace(settings, owner_name="Ines", **facts), fresh_engine).test_client()
    page = unescape(client.get("/f/privacy").text)

    assert [words for words in said if words not in page] == []
    assert [words for words in unsaid if words in page.split("<h1>")[1]] == []
    assert "Ines reads what you write" in page


def test_a_reader_gets_no_cookie(nobody: FlaskClient) -> None:
    """The privacy text says so."""
    for path in ("/f", "/f/ask", "/f/thanks", "/f/privacy"):
        assert "Set-Cookie" not in nobody.get(path).headers
    assert "Set-Cookie" not in nobody.post("/f/ask", data={"text": "x", "stamp": "y"}).headers


def test_consent_is_kept_with_its_wording_and_moment(
    nobody: FlaskClient, ledger: Session, now: datetime, sign_in: Callable[..., FlaskClient]
) -> None:
    stamp = nobody.get("/f/ask").text.split('name="stamp" value="')[1].split('"')[0]
    fields = {"stamp": stamp, "text": "May I halve it?", "email": ADDRESS, "reply_wanted": "yes"}
    assert nobody.post("/f/ask", data=fields).status_code == 303

    consent = ledger.scalars(select(Message.consent)).one()
    assert set(consent) == {"reply_wanted"}
    assert "answer" in consent["reply_wanted"]["words"]
    assert consent["reply_wanted"]["at"] == now.isoformat()
