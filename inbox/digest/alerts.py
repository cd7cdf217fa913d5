"""What cannot wait for the week: hazards and sudden rises, told at once, by one mail an hour at most.

Start with `raise_alerts`, which notes what is new, and `mail_alerts`, which tells of it.
"""

import json
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from email.message import EmailMessage
from functools import partial
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from sqlalchemy import delete, exists, func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, sessionmaker

from inbox.calendar import Week, local_date
from inbox.digest.build import find_digest
from inbox.digest.document import from_json
from inbox.digest.render import HAZARD_WORDS, digest_mail
from inbox.digest.schedule import once
from inbox.records.one_reader import GONE
from inbox.records.tables import Labels, Message, Recipe
from inbox.records.tables_out import Alert, DigestRow, RecipeStanding
from inbox.replies.compose import Sender, compose, is_persons_address, one_line
from inbox.replies.post import Mailer, file_name, into_folder

RECENT_DAYS: Final = 14
"""Hazards in older messages raise no alert, or an archive brought in on day one would raise thousands."""

BETWEEN_MAILS: Final = timedelta(hours=1)

_MAIL_DIGEST_DAYS: Final = 7
"""A digest that is older when the mail works again is not sent any more; the page has it. Chosen."""


def raise_alerts(session: Session, *, now: datetime, zone: ZoneInfo) -> list[Alert]:
    """Note each new hazard and each new rise, once; returns those that are new.

    A hazard that a person took off before it was mailed is forgotten.
    """
    still = exists().where(Labels.message_id == Alert.message_id, Labels.hazard.is_not(None))
    gone = delete(Alert).where(Alert.message_id.is_not(None), Alert.mailed_at.is_(None), ~still)
    session.execute(gone.execution_options(synchronize_session=False))
    found = [*_new_hazards(session, now), *_new_rises(session, now, zone)]
    subjects = [one.subject for one in found]
    known = set(session.scalars(select(Alert.subject).where(Alert.subject.in_(subjects))))
    return [one for one in found if one.subject not in known and _added(session, one)]


def _added(session: Session, alert: Alert) -> bool:
    """Whether this process was the first to note it."""
    try:
        with session.begin_nested():
            session.add(alert)
            session.flush()
    except IntegrityError:
        return False
    return True


def _new_hazards(session: Session, now: datetime) -> list[Alert]:
    rows = session.execute(
        select(Message, Labels.hazard, Recipe)
        .join(Labels, Labels.message_id == Message.id)
        .outerjoin(Recipe, Recipe.id == Labels.recipe_id)
        .where(
            Labels.hazard.is_not(None),
            Labels.is_junk.is_(False),
            Labels.received_at > now - timedelta(days=RECENT_DAYS),
            ~exists().where(Alert.message_id == Message.id),
        )
        .order_by(Labels.received_at, Message.id)
    )
    return [
        Alert(
            subject=f"hazard:{message.id}",
            message_id=message.id,
            recipe_id=recipe.id if recipe is not None else None,
            words=_hazard_words(str(hazard), recipe, message),
            raised_at=now,
        )
        for message, hazard, recipe in rows
    ]


def _hazard_words(hazard: str, recipe: Recipe | None, message: Message) -> str:
    words = one_line(message.text)
    quoted = words if len(words) <= 300 else words[:300].rsplit(" ", 1)[0] + " …"
    about = f" ({recipe.title})" if recipe is not None else ""
    return f"{HAZARD_WORDS[hazard]}{about}: “{quoted}”"


def _new_rises(session: Session, now: datetime, zone: ZoneInfo) -> list[Alert]:
    """One alert a rise: what began before the last alert of the same kind is that rise going on.

    Of one that outlasts the weeks watched the beginning is not known any more; it is told anew as they pass.
    """
    rows = session.execute(select(RecipeStanding, Recipe).join(Recipe, Recipe.id == RecipeStanding.recipe_id))
    alerts = []
    for standing, recipe in rows:
        for spike in standing.details.get("spikes", []):
            begun = Week.of(standing.judged_at, zone).monday - timedelta(weeks=int(spike["weeks"]) - 1)
            kind = f"spike:{recipe.id}:{spike['fault'] or 'any'}:"
            told = session.scalar(select(func.max(Alert.raised_at)).where(Alert.subject.startswith(kind)))
            if told is not None and local_date(told, zone) >= begun:
                continue
            alerts.append(
                Alert(
                    subject=f"{kind}{Week.holding(begun)}",
                    recipe_id=recipe.id,
                    words=f"Sudden rise, {recipe.title}: {spike['in_words']}.",
                    raised_at=now,
                )
            )
    return alerts


def mail_alerts(
    sessions: sessionmaker[Session], mailer: Mailer, *, now: datetime, sender: Sender, by: str
) -> int:
    """Tell the owner of all that waits, in one mail, if the last one is an hour ago; returns how many.

    Should the program die between the talk with the server and the record, the owner hears
    of it twice, by a mail with the same Message-ID: an alert must not be lost.
    """
    if not is_persons_address(sender.address):
        return 0
    with sessions.begin() as session:
        last = session.scalar(select(func.max(Alert.mailed_at)))
        waiting = session.scalars(
            select(Alert).where(Alert.mailed_at.is_(None), Alert.dealt_with_at.is_(None)).order_by(Alert.id)
        ).all()
    if not waiting or (last is not None and now - last < BETWEEN_MAILS):
        return 0
    mail = alert_mail(list(waiting), sender=sender, now=now)

    def leave() -> None:
        mailer(mail)
        with sessions.begin() as session:
            for alert in session.scalars(select(Alert).where(Alert.id.in_([one.id for one in waiting]))):
                alert.mailed_at = now

    period = f"{waiting[0].id} to {waiting[-1].id}"
    return len(waiting) if once(sessions, "alert mail", period, leave, by=by, now=now) else 0


def alert_mail(alerts: list[Alert], *, sender: Sender, now: datetime) -> EmailMessage:
    """The mail that tells of these alerts, the hazards first."""
    hazards = [alert for alert in alerts if alert.message_id is not None]
    rises = [alert for alert in alerts if alert.message_id is None]
    lines = []
    for alert in hazards:
        lines += [alert.words, f"{sender.public_url}/messages/{alert.message_id}", ""]
    for alert in rises:
        lines += [alert.words, f"{sender.public_url}/recipes", ""]
    if hazards:
        lines.append(
            "Each message's page shows the usual caution and who publishes it. For what to do, ask the local "
            "food-safety authority, a poison centre or a doctor."
        )
    count = len(hazards) or len(rises)
    what = ("hazard" if hazards else "sudden rise") + ("" if count == 1 else "s")
    return compose(
        sender=sender,
        to=sender.address,
        to_name=sender.name,
        subject=f"{sender.site_name or 'Your site'}: {count} {what} to look at",
        body="\n".join(lines),
        message_id=f"alerts.{alerts[0].id}-{alerts[-1].id}@{sender.domain}",
        now=now,
        automatic=True,
    )


def mail_newest_digest(
    sessions: sessionmaker[Session], mailer: Mailer, *, now: datetime, sender: Sender, by: str
) -> str | None:
    """Mail the newest digest if it was not mailed yet; returns its week, or None where nothing was sent."""
    if not is_persons_address(sender.address):
        return None
    with sessions.begin() as session:
        row = session.scalar(select(DigestRow).order_by(DigestRow.week.desc()).limit(1))
        if row is None or row.mailed_at is not None or now - row.built_at > timedelta(days=_MAIL_DIGEST_DAYS):
            return None
        week = row.week
        digest = find_digest(session, week)
    if digest is None:
        return None
    mail = digest_mail(digest, sender=sender, now=now)
    sent = once(sessions, "digest mail", week, _leave(sessions, mailer, mail, week, now), by=by, now=now)
    return week if sent else None


def _leave(
    sessions: sessionmaker[Session], mailer: Mailer, mail: EmailMessage, week: str, now: datetime
) -> Callable[[], None]:
    def leave() -> None:
        mailer(mail)
        with sessions.begin() as session:
            session.scalars(select(DigestRow).where(DigestRow.week == week)).one().mailed_at = now

    return leave


def rewrite_owner_mails(session: Session, folder: Path, *, sender: Sender, now: datetime) -> int:
    """Write those alerts and digests in the file outbox anew that quoted readers who were forgotten.

    Call it after `forget`, which took the words out of what such a mail is made of; whatever else stands
    in it is kept. Where the owner has no address any more they are dropped. Returns how many there were.
    """
    count = 0
    for path in sorted([*folder.glob("alerts.*.eml"), *folder.glob("digest.*.eml")]):
        make = _made_anew(session, path.name)
        if make is None:
            continue
        name = ""
        if is_persons_address(sender.address):
            mail = make(sender=sender, now=now)
            into_folder(folder)(mail)
            name = file_name(mail["Message-ID"])
        if name != path.name:
            path.unlink(missing_ok=True)
        count += 1
    return count


def _made_anew(session: Session, name: str) -> Callable[..., EmailMessage] | None:
    """How the mail of this file name is made of what the ledger holds; None where nothing went out of it."""
    if numbers := re.match(r"alerts\.(\d+)-(\d+)@", name):
        first, last = int(numbers[1]), int(numbers[2])
        found = session.scalars(select(Alert).where(Alert.id.between(first, last)).order_by(Alert.id)).all()
        return partial(alert_mail, list(found)) if any(GONE in alert.words for alert in found) else None
    week = name.removeprefix("digest.").partition("@")[0]
    document = session.scalar(select(DigestRow.document).where(DigestRow.week == week))
    if document is None or GONE not in json.dumps(document):
        return None
    return partial(digest_mail, from_json(document))
