"""Hazards and sudden rises are told at once, once, by one mail an hour at most."""

from datetime import datetime, timedelta
from email.message import EmailMessage
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from inbox.digest.alerts import mail_alerts, mail_newest_digest, raise_alerts
from inbox.digest.build import freeze
from inbox.records.engine import make_sessions
from inbox.records.settle import set_hand_label
from inbox.records.tables import Labels
from inbox.records.tables_out import Alert, DigestRow, JobRun, RecipeStanding
from inbox.replies.compose import Sender
from inbox.replies.post import NotSentError, into_folder
from tests.digest.kitchen import BUILT_AT, SITE, WEEK, caution, fill_week
from tests.makers import make_message, make_reader, make_recipe
from tests.replies.outbox import SENDER, label

ZONE = ZoneInfo("Europe/London")


def hazard(session: Session, now: datetime, *, days: float = 0.1, text: str = "I was ill all night.") -> int:
    message = make_message(
        session, received_at=now - timedelta(days=days), reader_id=make_reader(session).id, text=text
    )
    return label(session, message, "problem", hazard="illness").id


def test_a_hazard_is_raised_once(any_session: Session, now: datetime) -> None:
    number = hazard(any_session, now)
    hazard(any_session, now, days=20)

    first = raise_alerts(any_session, now=now, zone=ZONE)
    second = raise_alerts(any_session, now=now + timedelta(hours=1), zone=ZONE)

    assert [alert.subject for alert in first] == [f"hazard:{number}"]
    assert first[0].words == "Somebody felt ill: “I was ill all night.”"
    assert second == []
    assert any_session.scalars(select(Alert.message_id)).all() == [number]


def _standing(session: Session, now: datetime) -> RecipeStanding:
    standing = RecipeStanding(
        recipe_id=make_recipe(session, title="Rye loaf").id, judged_at=now, standing="holding_up", share=0.1,
        low=0.0, high=0.2, reader_count=5, failed_count=1.0, in_words="", details={},
    )  # fmt: skip
    session.add(standing)
    return standing


def test_a_rise_that_goes_on_is_one_alert(session: Session, now: datetime) -> None:
    standing = _standing(session, now)
    rise = {"fault": "dense", "weeks": 1, "in_words": "three reports of “dense” this week"}
    standing.details = {"spikes": [rise]}
    session.flush()

    first = raise_alerts(session, now=now, zone=ZONE)
    standing.judged_at, standing.details = now + timedelta(weeks=1), {"spikes": [{**rise, "weeks": 2}]}
    session.flush()
    second = raise_alerts(session, now=now + timedelta(weeks=1), zone=ZONE)
    assert [alert.subject for alert in first] == [f"spike:{standing.recipe_id}:dense:2026-W48"]
    assert first[0].words == "Sudden rise, Rye loaf: three reports of “dense” this week."
    assert second == []


def test_a_rise_longer_than_the_weeks_watched_is_told_once_in_as_many(
    session: Session, now: datetime
) -> None:
    standing = _standing(session, now)
    told = []
    for week in range(26):
        then = now + timedelta(weeks=week)
        standing.judged_at = then
        standing.details = {"spikes": [{"fault": None, "weeks": min(week + 1, 13), "in_words": "more"}]}
        session.flush()
        told += [week for _ in raise_alerts(session, now=then, zone=ZONE)]

    assert told == [0, 13]


def test_a_hazard_taken_off_in_time_is_not_told(session: Session, now: datetime) -> None:
    number = hazard(session, now)
    raise_alerts(session, now=now, zone=ZONE)

    set_hand_label(session, number, "hazard", None, account_id=None, now=now)
    raise_alerts(session, now=now, zone=ZONE)

    assert session.get_one(Labels, number).hazard is None
    assert session.scalars(select(Alert)).all() == []


def raised(engine: Engine, now: datetime, count: int) -> None:
    with Session(engine) as session, session.begin():
        for _ in range(count):
            hazard(session, now)
        raise_alerts(session, now=now, zone=ZONE)


def test_one_mail_an_hour_with_all_that_waits(fresh_engine: Engine, now: datetime) -> None:
    sessions, sent = make_sessions(fresh_engine), list[EmailMessage]()

    def at(moment: datetime) -> int:
        return mail_alerts(sessions, sent.append, now=moment, sender=SENDER, by="one")

    raised(fresh_engine, now, 2)
    assert (at(now), at(now)) == (2, 0)
    raised(fresh_engine, now + timedelta(minutes=5), 1)
    raised(fresh_engine, now + timedelta(minutes=40), 2)
    assert at(now + timedelta(minutes=59)) == 0
    assert at(now + timedelta(minutes=60)) == 3
    assert at(now + timedelta(hours=9)) == 0

    assert [mail["Subject"] for mail in sent] == [
        "Test kitchen: 2 hazards to look at",
        "Test kitchen: 3 hazards to look at",
    ]
    text = sent[0].get_content()
    assert "https://post.kitchen.example/messages/" in text
    assert "ask the local food-safety authority, a poison centre or a doctor" in " ".join(text.split())
    assert "safe to" not in text


def test_an_alert_that_could_not_be_sent_is_told_later(fresh_engine: Engine, now: datetime) -> None:
    sessions, sent = make_sessions(fresh_engine), list[EmailMessage]()

    def broken(mail: EmailMessage) -> None:
        raise NotSentError("the server sleeps")

    raised(fresh_engine, now, 1)
    assert mail_alerts(sessions, broken, now=now, sender=SENDER, by="one") == 0
    later = now + timedelta(minutes=31)
    assert mail_alerts(sessions, sent.append, now=later, sender=SENDER, by="one") == 1
    with Session(fresh_engine) as session:
        assert session.scalars(select(JobRun.trouble)).all() == [None]


def test_the_digest_is_mailed_once(fresh_engine: Engine, tmp_path: Path) -> None:
    with Session(fresh_engine) as session, session.begin():
        fill_week(session)
        freeze(session, WEEK.previous(), site=SITE, caution=caution, now=BUILT_AT - timedelta(days=7))
        freeze(session, WEEK, site=SITE, caution=caution, now=BUILT_AT)
    sessions, mailer = make_sessions(fresh_engine), into_folder(tmp_path / "outbox")

    weeks = [mail_newest_digest(sessions, mailer, now=BUILT_AT, sender=SENDER, by="one") for _ in range(2)]

    assert weeks == ["2026-W47", None]
    assert [path.name for path in (tmp_path / "outbox").iterdir()] == ["digest.2026-W47@kitchen.example.eml"]
    with Session(fresh_engine) as session:
        mailed = dict(session.execute(select(DigestRow.week, DigestRow.mailed_at)).all())
    assert mailed == {"2026-W46": None, "2026-W47": BUILT_AT}


@pytest.mark.parametrize("address", ["", "nobody"])
def test_without_an_address_nothing_is_mailed(fresh_engine: Engine, now: datetime, address: str) -> None:
    raised(fresh_engine, now, 1)
    sessions, nobody = make_sessions(fresh_engine), Sender(address=address)

    assert mail_alerts(sessions, lambda mail: None, now=now, sender=nobody, by="one") == 0
    assert mail_newest_digest(sessions, lambda mail: None, now=now, sender=nobody, by="one") is None
