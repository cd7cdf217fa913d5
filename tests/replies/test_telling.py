"""Who ticked "tell me" hears of it once, by their own mail, and can take themselves off."""

from datetime import datetime, timedelta
from email import message_from_bytes
from email.policy import default
from pathlib import Path

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.engine import make_sessions
from inbox.records.tables import Reader
from inbox.records.tables_out import Reply, Theme, ThemeMember
from inbox.replies.post import into_folder
from inbox.replies.sending import send_due, take_back
from inbox.replies.telling import press_telling, unsubscribe, who_asked
from tests.makers import make_message, make_reader, make_recipe, make_theme
from tests.replies.outbox import SENDER, later


def wished(
    session: Session, theme: Theme, now: datetime, *, reader: Reader | None = None, **facts: object
) -> Reader:
    reader = reader or make_reader(session)
    message = make_message(
        session,
        **{
            "reader_id": reader.id,
            "tell_me": True,
            "received_at": now - timedelta(days=30),
            "text": "Please do\nrye crackers.",
            "channel": "email",
            **facts,
        },
    )
    session.add(ThemeMember(message_id=message.id, theme_id=theme.id, similarity=1.0, joined_at=now))
    session.flush()
    return reader


def published(session: Session, **facts: object) -> Theme:
    recipe = make_recipe(session, title="Rye crackers", url="https://kitchen.example/crackers")
    return make_theme(session, name="rye crackers", shelf="published", recipe_id=recipe.id, **facts)


def press(session: Session, theme: Theme, now: datetime, note: str = "They are here.") -> list[Reply]:
    return press_telling(session, theme.id, note, account_id=None, now=now, hold_minutes=10, sender=SENDER)


def test_only_who_ticked_and_can_be_reached(any_session: Session, now: datetime) -> None:
    theme = published(any_session)
    ada = wished(any_session, theme, now)
    wished(any_session, theme, now, tell_me=False)
    wished(any_session, theme, now, reader=make_reader(any_session, bounced_at=now))
    wished(any_session, theme, now, reader=make_reader(any_session, unsubscribed_at=now))
    wished(any_session, theme, now, reader=make_reader(any_session, email=None, forgotten_at=now))
    wished(any_session, theme, now, reader=make_reader(any_session, email="no-reply@x.example"))
    merged = make_theme(any_session, merged_into_id=theme.id)
    bo = wished(any_session, merged, now, received_at=now)
    wished(any_session, theme, now, reader=ada, received_at=now)

    assert [asker.reader_id for asker in who_asked(any_session, theme.id)] == [ada.id, bo.id]


def test_each_gets_their_own_mail_once(fresh_engine: Engine, now: datetime, tmp_path: Path) -> None:
    with Session(fresh_engine, expire_on_commit=False) as session, session.begin():
        theme = published(session)
        ada = make_reader(session, name="Ada Ames", email="ada@readers.example")
        wished(session, theme, now, reader=ada, rfc_message_id="wish@readers.example")
        wished(session, theme, now, text="Crackers!", received_at=now)
        assert len(press(session, theme, now)) == 2
        assert press(session, theme, now) == []
    mailer = into_folder(tmp_path / "outbox")

    result = send_due(
        make_sessions(fresh_engine), mailer, now=later(now, minutes=11), sender=SENDER, daily_limit=9
    )

    assert len(result.sent) == 2
    files = (tmp_path / "outbox").iterdir()
    mails = [message_from_bytes(file.read_bytes(), policy=default) for file in files]
    mail = next(mail for mail in mails if "ada@" in mail["To"])
    text = mail.get_content().replace("\r\n", "\n")
    assert mail["Subject"] == "You asked for it: Rye crackers"
    assert mail["In-Reply-To"] == "<wish@readers.example>"
    assert text.startswith("Hello Ada,\n")
    assert "“Please do rye crackers.”" in text
    assert "They are here." in text
    assert "https://kitchen.example/crackers" in text
    assert mail["List-Unsubscribe"].strip("<>") in text
    assert "Crackers!" not in text
    with Session(fresh_engine) as session, session.begin():
        theme = session.scalars(select(Theme)).one()
        assert who_asked(session, theme.id) == []
        late = wished(session, theme, now)
        assert [reply.reader_id for reply in press(session, theme, now)] == [late.id]


def test_a_telling_can_be_taken_back_during_the_hold(session: Session, now: datetime) -> None:
    theme = published(session)
    wished(session, theme, now)
    (reply,) = press(session, theme, now)

    take_back(session, reply.id, now)

    assert reply.state == "draft"


def test_who_takes_themselves_off_during_the_hold_gets_nothing(session: Session, now: datetime) -> None:
    theme = published(session)
    reader = wished(session, theme, now)
    press(session, theme, now)
    assert reader.unsubscribe_token is not None

    assert unsubscribe(session, reader.unsubscribe_token, now)
    assert unsubscribe(session, reader.unsubscribe_token, later(now, days=1))

    assert reader.unsubscribed_at == now
    assert session.scalars(select(Reply)).all() == []
    assert who_asked(session, theme.id) == []


@pytest.mark.parametrize("token", ["", "x" * 32, "../../etc/passwd-and-more-of-it", "x" * 5000])
def test_a_strange_token_changes_nothing(session: Session, now: datetime, token: str) -> None:
    assert not unsubscribe(session, token, now)


def test_what_is_not_ready_is_refused(session: Session, now: datetime) -> None:
    theme = published(session)
    with pytest.raises(InputError, match="The note is empty"):
        press(session, theme, now, note=" ")
    theme.shelf = "on_the_bench"
    with pytest.raises(InputError, match="“rye crackers” is not published yet"):
        press(session, theme, now)
    with pytest.raises(NotFoundError, match="no theme 987654"):
        press_telling(
            session,
            987654,
            "x",
            account_id=None,
            now=now,
            hold_minutes=0,
            sender=SENDER,
        )
