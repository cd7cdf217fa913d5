"""What is done again and again while the service runs, each piece of work in its own transactions.

`Jobs.all` is handed to `inbox.digest.schedule.scheduler`. Only the process that leads
does them; claims in the ledger make each period's work be done once all the same.
"""

import logging
import socket
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import partial
from os import getpid

from sqlalchemy import Engine, exists, select

from inbox.calendar import Week, local_date
from inbox.digest.alerts import mail_alerts, mail_newest_digest, raise_alerts
from inbox.digest.schedule import Job, make_due_digests, once
from inbox.errors import InboxError
from inbox.intake.feed import poll_feed
from inbox.intake.fetch import Fetched, fetch
from inbox.intake.mailbox import look_into, open_mailbox
from inbox.intake.mention import verify_mentions
from inbox.pipeline.learning import ask_if_due
from inbox.pipeline.long_work import do_next, drop_forgotten_uploads
from inbox.pipeline.rounds import Kitchen, go_round
from inbox.pipeline.sources import import_options
from inbox.pipeline.weekly import make_digest, may_begin
from inbox.pipeline.works import works
from inbox.records.backup import make_backup
from inbox.records.door_book import drop_old_notes
from inbox.records.engine import make_sessions
from inbox.records.keeping import drop_old_originals, drop_old_senders
from inbox.records.saved import with_saved
from inbox.records.tables import Message, MessageReading
from inbox.records.turns import Leadership
from inbox.replies.compose import sender_of
from inbox.replies.post import mailer_of
from inbox.replies.sending import send_due
from inbox.settings import Settings

_log = logging.getLogger(__name__)


def fetch_with(url: str, headers: Mapping[str, str]) -> Fetched:
    """Fetch a page with header fields of one's own, kept from where nobody outside should look."""
    return fetch(url, headers=headers)


class Jobs:
    """The jobs of one installation.

    Parameters
    ----------
    settings : Settings
        As given from outside; what the owner saved is looked up at each job.
    leader : Leadership
        Asked before each job.
    clock : callable
        Gives the present moment.
    kitchen : Kitchen, optional
        Where the process has one already, so that it holds its models once.
    """

    def __init__(
        self,
        settings: Settings,
        engine: Engine,
        leader: Leadership,
        *,
        clock: Callable[[], datetime],
        kitchen: Kitchen | None = None,
    ) -> None:
        self._given = settings
        self._engine = engine
        self._sessions = make_sessions(engine)
        self._leader = leader
        self._clock = clock
        self._kitchen = kitchen or Kitchen(settings)
        self._by = f"{socket.gethostname()} {getpid()}"

    def all(self) -> list[Job]:
        """Every job, with how often it looks."""
        found = [
            ("long work", 2, self.do_long_work),
            ("read", 10, self.read_new),
            ("learn", 600, self.learn),
            ("send", 30, self.send_replies),
            ("digest", 60, self.make_digests),
            ("alert", 15, self.alert),
            ("mailbox", 60 * self._given.poll_minutes, self.look_into_mailbox),
            ("feeds", 60 * self._given.poll_minutes, self.look_into_feeds),
            ("mentions", 30, self.verify_mentions),
            ("tidy", 3600, self.tidy),
            ("back up", 3600, self.back_up),
        ]
        return [Job(name, seconds, partial(self._if_leading, run)) for name, seconds, run in found]

    def _if_leading(self, run: Callable[[datetime], None], now: datetime) -> None:
        if self._leader.held():
            run(now)

    def _settings(self) -> Settings:
        with self._sessions() as session:
            return with_saved(session, self._given)

    def do_long_work(self, now: datetime) -> None:
        """Do what was asked for on the pages, until nothing waits."""
        kinds = works(self._sessions, self._kitchen, self._given, clock=self._clock)
        while do_next(self._sessions, kinds, clock=self._clock) is not None:
            pass

    def read_new(self, now: datetime) -> None:
        """Read what came in, where something did; from the end: an import is read from its beginning."""
        unread = ~exists().where(MessageReading.message_id == Message.id)
        with self._sessions() as session:
            waits = session.scalar(select(Message.id).where(Message.kept_apart.is_(None), unread).limit(1))
        if waits is not None:
            go_round(self._sessions, self._kitchen, self._given, now=now, newest_first=True)

    def learn(self, now: datetime) -> None:
        """Ask for learning from hand labels, when enough came since the last time."""
        settings = self._settings()
        with self._sessions.begin() as session:
            ask_if_due(session, after=settings.learn_after_labels, zone=settings.zone, now=now)

    def send_replies(self, now: datetime) -> None:
        """Send the replies whose hold is over."""
        settings = self._settings()
        send_due(
            self._sessions,
            mailer_of(settings),
            now=now,
            sender=sender_of(settings),
            daily_limit=settings.replies_a_day,
        )

    def make_digests(self, now: datetime) -> None:
        """Make each digest that is due, and mail it."""
        settings = self._settings()
        with self._sessions() as session:
            if not may_begin(session):
                return

        def make(week: Week) -> None:
            make_digest(self._sessions, self._kitchen, self._given, week, now=now)

        make_due_digests(
            self._sessions,
            make,
            now=now,
            zone=settings.zone,
            weekday=settings.digest_weekday,
            hour=settings.digest_hour,
            by=self._by,
        )
        mail_newest_digest(
            self._sessions, mailer_of(settings), now=now, sender=sender_of(settings), by=self._by
        )

    def alert(self, now: datetime) -> None:
        """Tell the owner of hazards and sudden rises."""
        settings = self._settings()
        with self._sessions.begin() as session:
            raise_alerts(session, now=now, zone=settings.zone)
        mail_alerts(self._sessions, mailer_of(settings), now=now, sender=sender_of(settings), by=self._by)

    def look_into_mailbox(self, now: datetime) -> None:
        """Take in what came to the owner's mailbox."""
        settings = self._settings()
        if settings.imap_host:
            with open_mailbox(
                host=settings.imap_host,
                port=settings.imap_port,
                tls=settings.imap_tls,
                user=settings.imap_user,
                password=settings.imap_password,
                folder=settings.imap_folder,
                mark_seen=settings.imap_mark_seen,
            ) as folder:
                options = import_options(settings, now=now).mail
                look_into(self._sessions, folder, options=options, mark_seen=settings.imap_mark_seen)

    def look_into_feeds(self, now: datetime) -> None:
        """Take in what is new in the feeds that the owner named; one that fails keeps no other waiting."""
        settings = self._settings()
        own = import_options(settings, now=now).own_addresses
        for url in settings.feeds.split():
            try:
                poll_feed(self._sessions, url, fetch=fetch_with, now=now, own_addresses=own)
            except InboxError as error:
                _log.warning("feed not read: %s", type(error).__name__)

    def verify_mentions(self, now: datetime) -> None:
        """Look at the pages that are said to mention a recipe."""
        verify_mentions(self._sessions, fetch=fetch, now=now)

    def tidy(self, now: datetime) -> None:
        """Drop what was kept long enough: hashed senders, the door book, forgotten uploads, raw originals."""
        keep_days = self._settings().keep_raw_days
        with self._sessions.begin() as session:
            drop_old_senders(session, now=now)
            drop_old_notes(session, now=now)
            drop_forgotten_uploads(session, now)
        dropped = True
        while dropped:
            with self._sessions.begin() as session:
                dropped = drop_old_originals(session, keep_days=keep_days, now=now) > 0

    def back_up(self, now: datetime) -> None:
        """Make the day's backup, once."""
        settings = self._settings()
        folder, keep_count = settings.folder / "backups", settings.backup_keep_count

        def make() -> None:
            make_backup(self._engine, folder, keep_count=keep_count, now=now)

        day = local_date(now, settings.zone).isoformat()
        once(self._sessions, "backup", day, make, by=self._by, now=now)
