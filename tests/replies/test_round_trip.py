"""What comes back through the mailbox door: an answer is linked, a returned mail stops the next one."""

from datetime import datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.intake.run import import_path
from inbox.intake.sources import ImportOptions
from inbox.records.engine import make_sessions
from inbox.records.tables import Message
from inbox.records.tables_out import Reply
from inbox.replies.drafts import open_draft
from inbox.replies.post import into_folder
from inbox.replies.sending import send_due
from tests.replies.outbox import SENDER, later, make_waiting

ANSWER = """From: Ada <{address}>
To: {owner}
Subject: Re: your message
Message-ID: <answer@readers.example>
In-Reply-To: <{reply}>
References: <{reply}>
Date: Tue, 24 Nov 2026 09:00:00 +0000

Thank you, ten more minutes it was.
"""

RETURNED = """From: Mail Delivery <mailer-daemon@readers.example>
To: {owner}
Subject: Undelivered mail
Message-ID: <report@readers.example>
Date: Tue, 24 Nov 2026 09:00:00 +0000
Auto-Submitted: auto-replied
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary=part

--part

The mail could not be delivered.

--part
Content-Type: message/delivery-status

Reporting-MTA: dns; readers.example

Final-Recipient: rfc822; {address}
Action: failed
Status: 5.1.1
Diagnostic-Code: smtp; 550 5.1.1 no such mailbox

--part
Content-Type: text/rfc822-headers

Message-ID: <{reply}>
From: {owner}
To: {address}

--part--
"""


def sent(engine: Engine, now: datetime, outbox: Path) -> Reply:
    with Session(engine, expire_on_commit=False) as session, session.begin():
        reply = make_waiting(session, now, email="ada@readers.example")
    send_due(make_sessions(engine), into_folder(outbox), now=now, sender=SENDER, daily_limit=9)
    return reply


def arrives(engine: Engine, mail: str, reply: Reply, now: datetime, folder: Path) -> None:
    """Bring a mail in as the mailbox door would find it."""
    file = folder / "arrived.eml"
    file.write_text(
        mail.format(owner=SENDER.address, address=reply.to_address, reply=reply.rfc_message_id),
        newline="\r\n",
    )
    import_path(
        make_sessions(engine),
        file,
        options=ImportOptions(now=now, own_addresses=frozenset({SENDER.address})),
    )


def test_a_readers_answer_is_linked_to_what_they_wrote(
    fresh_engine: Engine, now: datetime, tmp_path: Path
) -> None:
    reply = sent(fresh_engine, now, tmp_path / "outbox")

    arrives(fresh_engine, ANSWER, reply, later(now, days=1), tmp_path)

    with Session(fresh_engine) as session:
        answer = session.scalars(
            select(Message).where(Message.rfc_message_id == "answer@readers.example")
        ).one()
        assert answer.answers_message_id == reply.message_id
        assert answer.reader_id == reply.reader_id
        following = open_draft(session, answer.id, now=now, sender=SENDER)
        assert following.in_reply_to == "answer@readers.example"
        assert following.references == [reply.rfc_message_id, "answer@readers.example"]


def test_a_returned_mail_stops_the_next_one(fresh_engine: Engine, now: datetime, tmp_path: Path) -> None:
    reply = sent(fresh_engine, now, tmp_path / "outbox")

    arrives(fresh_engine, RETURNED, reply, later(now, days=1), tmp_path)

    with Session(fresh_engine) as session:
        kept = session.get_one(Reply, reply.id)
        assert kept.state == "came_back"
        assert kept.trouble
        assert kept.reader is not None
        assert kept.reader.bounced_at is not None
        report = session.scalars(select(Message).where(Message.kept_apart == "bounce")).one()
        with pytest.raises(InputError, match="is a delivery report; it is not answered"):
            open_draft(session, report.id, now=now, sender=SENDER)
        assert reply.message_id is not None
        with pytest.raises(InputError, match="left no way to be answered"):
            open_draft(session, reply.message_id, now=now, sender=SENDER)
