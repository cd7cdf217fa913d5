"""A reply leaves once: pressed, held, claimed, handed over, recorded; and not at all where it must not."""

import threading
from datetime import datetime
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from pathlib import Path

import pytest
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.records.engine import make_sessions, open_engine
from inbox.records.tables_out import Reply
from inbox.replies.drafts import open_draft, save_draft, throw_away
from inbox.replies.post import into_folder
from inbox.replies.sending import (
    SendResult,
    answered_by_hand,
    doubtful,
    mark_doubtful,
    press_send,
    send_due,
    settle_doubtful,
    take_back,
)
from tests.makers import make_message, make_reader, make_recipe
from tests.replies.outbox import SENDER, fill, later, make_waiting


def run(engine: Engine, mailer: object, now: datetime, daily_limit: int = 100) -> SendResult:
    return send_due(make_sessions(engine), mailer, now=now, sender=SENDER, daily_limit=daily_limit)  # type: ignore[arg-type]


def state_of(engine: Engine, reply_id: int) -> str:
    with Session(engine) as session:
        return session.get_one(Reply, reply_id).state


def test_a_reply_leaves_once_and_answers_the_readers_mail(
    fresh_engine: Engine, now: datetime, tmp_path: Path
) -> None:
    with Session(fresh_engine, expire_on_commit=False) as session, session.begin():
        reader = make_reader(session, name="Ada Example", email="ada@readers.example")
        message = make_message(
            session,
            channel="email",
            reader_id=reader.id,
            subject="Re: Rye loaf",
            rfc_message_id="c@readers.example",
            references=["a@readers.example"],
            text="It sank.\nWhy?",
        )
        reply = open_draft(session, message.id, now=now, sender=SENDER)
        save_draft(session, reply.id, reply.subject, reply.body.replace("\n\n\n", "\nBake it longer.\n"), now)
        press_send(session, reply.id, account_id=None, now=now, hold_minutes=10, sender=SENDER)
        fixed = reply.rfc_message_id
    mailer = into_folder(tmp_path / "outbox")

    assert run(fresh_engine, mailer, later(now, minutes=9)).sent == ()
    assert run(fresh_engine, mailer, later(now, minutes=11)).sent == (reply.id,)
    assert run(fresh_engine, mailer, later(now, minutes=12)).sent == ()

    (path,) = (tmp_path / "outbox").iterdir()
    mail = message_from_bytes(path.read_bytes(), policy=default)
    assert mail["Message-ID"] == f"<{fixed}>"
    assert (mail["In-Reply-To"], mail["Subject"]) == ("<c@readers.example>", "Re: Rye loaf")
    assert mail["References"] == "<a@readers.example> <c@readers.example>"
    assert mail.get_content_type() == "text/plain"
    assert mail["Auto-Submitted"] is None
    text = mail.get_content().replace("\r\n", "\n")
    assert text.startswith("Hello Ada,\n")
    assert "Bake it longer." in text
    assert "On 18 November 2026 you wrote:\n> It sank.\n> Why?" in text


def test_pressed_twice_it_waits_once_and_can_be_taken_back(session: Session, now: datetime) -> None:
    reply = make_waiting(session, now, hold_minutes=10)
    fixed = reply.rfc_message_id
    again = press_send(
        session, reply.id, account_id=None, now=later(now, minutes=5), hold_minutes=10, sender=SENDER
    )
    assert (again.leaves_at, again.rfc_message_id) == (later(now, minutes=10), fixed)

    take_back(session, reply.id, later(now, minutes=6))
    assert reply.state == "draft"
    save_draft(session, reply.id, "Re: x", "Hello, bake it less.", now)

    reply.state = "sent"
    with pytest.raises(InputError, match="is sent; it cannot be taken back"):
        take_back(session, reply.id, now)
    with pytest.raises(InputError, match="is sent; it cannot be changed"):
        save_draft(session, reply.id, "x", "y", now)
    with pytest.raises(InputError, match="only a draft can be thrown away"):
        throw_away(session, reply.id)


@pytest.mark.parametrize(
    ("body", "reason"),
    [
        ("  \n ", "Nothing is written yet"),
        ("Hello Ada,\n\n\n\nSam\n", "Nothing is written yet"),
        ("Hello {first name}, bake it longer.", r"still \{first name\} to fill in"),
        ("See {Link} for more.", r"still \{link\} to fill in"),
    ],
)
def test_an_unfinished_answer_is_not_sent(session: Session, now: datetime, body: str, reason: str) -> None:
    message = make_message(session, channel="email", reader_id=make_reader(session).id)
    reply = open_draft(session, message.id, now=now, sender=SENDER)
    save_draft(session, reply.id, reply.subject, body, now)

    with pytest.raises(InputError, match=reason):
        press_send(session, reply.id, account_id=None, now=now, hold_minutes=0, sender=SENDER)


def test_never_to_automatic_mail(session: Session, now: datetime) -> None:
    message = make_message(
        session, channel="email", reader_id=make_reader(session).id, kept_apart="auto_reply"
    )
    with pytest.raises(InputError, match="is an automatic reply; it is not answered"):
        open_draft(session, message.id, now=now, sender=SENDER)


@pytest.mark.parametrize(
    "address",
    ["MAILER-DAEMON@x.example", "no-reply@x.example", "owner-bread@x.example", "bread-request@x.example"],
)
def test_never_to_an_address_that_is_no_persons(session: Session, now: datetime, address: str) -> None:
    """RFC 3834 section 2 names these; the no-reply form is common practice, no source."""
    message = make_message(session, channel="email", reader_id=make_reader(session, email=address).id)

    with pytest.raises(InputError, match="left no way to be answered"):
        open_draft(session, message.id, now=now, sender=SENDER)


@pytest.mark.parametrize("change", ["bounced_at", "forgotten_at"])
def test_a_reader_lost_during_the_hold_gets_nothing(
    fresh_engine: Engine, now: datetime, tmp_path: Path, change: str
) -> None:
    with Session(fresh_engine, expire_on_commit=False) as session, session.begin():
        reply = make_waiting(session, now)
        assert reply.reader is not None
        setattr(reply.reader, change, now)

    result = run(fresh_engine, into_folder(tmp_path / "outbox"), later(now, minutes=1))

    assert (result.sent, result.put_off) == ((), (reply.id,))
    assert not (tmp_path / "outbox").exists()
    with Session(fresh_engine, expire_on_commit=False) as session:
        assert session.get_one(Reply, reply.id).state == "draft"
        assert session.get_one(Reply, reply.id).trouble


def test_a_comment_is_answered_by_hand_at_its_place(session: Session, now: datetime) -> None:
    recipe = make_recipe(session, title="Rye loaf")
    message = make_message(
        session,
        channel="comment",
        reader_id=make_reader(session).id,
        page_recipe_id=recipe.id,
        page_url="https://kitchen.example/rye#comment-7",
    )
    reply = open_draft(session, message.id, now=now, sender=SENDER)
    assert (reply.to_address, reply.subject) == (None, "Re: Rye loaf")
    save_draft(session, reply.id, reply.subject, "Bake it longer.", now)
    with pytest.raises(InputError, match="copied to the place by hand"):
        press_send(session, reply.id, account_id=None, now=now, hold_minutes=0, sender=SENDER)

    answered_by_hand(session, reply.id, account_id=None, now=now)

    assert (reply.state, reply.sent_at) == ("by_hand", now)


def test_the_daily_limit_holds_back_and_the_next_day_goes_on(
    fresh_engine: Engine, now: datetime, tmp_path: Path
) -> None:
    ids = fill(fresh_engine, now, 5)
    mailer = into_folder(tmp_path / "outbox")

    first = run(fresh_engine, mailer, now, daily_limit=3)
    second = run(fresh_engine, mailer, later(now, hours=23), daily_limit=3)
    third = run(fresh_engine, mailer, later(now, hours=25), daily_limit=3)

    assert (first.sent, first.held_back_count) == (tuple(ids[:3]), 2)
    assert (second.sent, second.held_back_count) == ((), 2)
    assert third.sent == tuple(ids[3:])


def test_a_broken_outbox_loses_nothing(fresh_engine: Engine, now: datetime, tmp_path: Path) -> None:
    ids = fill(fresh_engine, now, 2)
    (tmp_path / "outbox").write_text("a file where the folder should be")

    result = run(fresh_engine, into_folder(tmp_path / "outbox"), now)

    assert result.trouble is not None
    assert "outbox cannot be written" in result.trouble
    assert result.put_off == (ids[0],)
    assert [state_of(fresh_engine, one) for one in ids] == ["waiting", "waiting"]

    (tmp_path / "outbox").unlink()
    again = run(fresh_engine, into_folder(tmp_path / "outbox"), later(now, minutes=10))
    assert sorted(again.sent) == ids


def test_a_crash_in_between_is_shown_and_never_sent_again_by_itself(
    fresh_engine: Engine, now: datetime, tmp_path: Path
) -> None:
    (reply_id,) = fill(fresh_engine, now, 1)

    def dies(mail: EmailMessage) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run(fresh_engine, dies, now)
    soon, after = later(now, minutes=5), later(now, minutes=30)
    mailer = into_folder(tmp_path / "outbox")
    assert run(fresh_engine, mailer, soon).sent == ()
    with Session(fresh_engine) as session, session.begin():
        assert doubtful(session, now=soon) == []
        with pytest.raises(InputError, match="there is no doubt to settle"):
            settle_doubtful(session, reply_id, went_out=False, now=soon)
    assert run(fresh_engine, mailer, after).sent == ()

    with Session(fresh_engine, expire_on_commit=False) as session, session.begin():
        assert mark_doubtful(session, now=after) == 0  # the round above marked it
        reply = session.get_one(Reply, reply_id)
        assert reply.trouble == "It may have gone out; look before you send again."
        fixed = reply.rfc_message_id
        settle_doubtful(session, reply_id, went_out=False, now=after)
        press_send(session, reply_id, account_id=None, now=after, hold_minutes=0, sender=SENDER)
        assert reply.rfc_message_id == fixed

    assert run(fresh_engine, mailer, after).sent == (reply_id,)


def test_the_owner_can_say_that_it_went_out(session: Session, now: datetime) -> None:
    reply = make_waiting(session, now)
    reply.state = "sending"

    settle_doubtful(session, reply.id, went_out=True, now=later(now, hours=1))

    assert (reply.state, reply.sent_at, reply.trouble) == ("sent", now, None)


@pytest.mark.parametrize("database", ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def test_several_senders_at_once_send_each_reply_once(
    request: pytest.FixtureRequest, now: datetime, tmp_path: Path, database: str
) -> None:
    engine: Engine = (
        request.getfixturevalue("fresh_engine")
        if database == "sqlite"
        else open_engine(request.getfixturevalue("fresh_postgres_url"))
    )
    ids = fill(engine, now, 12)
    gone: list[str] = []

    def take(mail: EmailMessage) -> None:
        gone.append(mail["Message-ID"])

    senders = [threading.Thread(target=run, args=(engine, take, now)) for _ in range(4)]
    for sender in senders:
        sender.start()
    for sender in senders:
        sender.join()

    assert len(gone) == len(set(gone)) == 12
    assert {state_of(engine, one) for one in ids} == {"sent"}
    engine.dispose()
