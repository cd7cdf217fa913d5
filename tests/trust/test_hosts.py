"""Two hosts with web workers and a scheduler each, on one PostgreSQL; the one that leads is cut off.

All of it is the program itself, with its own model: gunicorn's workers, `second-batch schedule`. What comes
of it is held against the same letters on one machine that nothing happened to.
"""

import json
import os
import shutil
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from zlib import crc32

import pytest
from sqlalchemy import Engine, exists, func, select, text, update

from inbox.calendar import last_full_week
from inbox.digest.schedule import STALE_HOURS
from inbox.intake.run import import_path
from inbox.intake.sources import ImportOptions
from inbox.pipeline.read import read_messages
from inbox.pipeline.regroup import regroup
from inbox.reading.saved import load_or_train
from inbox.reading.training import seed_messages
from inbox.records import migrate
from inbox.records.check import check_ledger
from inbox.records.engine import make_sessions, open_engine
from inbox.records.tables import Labels, Message, MessageReading
from inbox.records.tables_out import DigestRow, JobRun, ThemeMember
from inbox.settings import Settings
from inbox.themes.measures import bcubed
from inbox.themes.trained import load_or_fit
from tests.trust.hosts import PORT, Network, a_network, postgres_in

HOSTS = {"east": "10.77.0.2", "west": "10.77.0.3"}
POSTS_AN_HOUR = 30
LETTERS, LATE_LETTERS = 300, 30
LEAD = crc32(b"second-batch schedule")  # the lock's number, as inbox.records.turns has it
WRITE = """
import sys
from tests.trust.test_kill import Writers
writers = Writers(8000, sys.argv[1])
for number in range(int(sys.argv[2])):
    words = f"Written to {sys.argv[1]}, number {number} at {__import__('time').monotonic_ns()}."
    if writers.send(words):
        print(words)
"""
ALIKE = 0.95
"""Least B-cubed F1 of the two groupings. Chosen: which requests come together in one round differs by when
the cable is pulled, and a doubtful one may then lie elsewhere; a theme that is there twice costs far more."""
GUNICORN = "-m gunicorn -w 2 -b 0.0.0.0:8000 --no-control-socket inbox.cli.workers:pages()"


def eventually(what: str, holds: Callable[[], bool], seconds: float = 300) -> None:
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, f"not within {seconds} s: {what}"
        time.sleep(0.05)


def readers_write(network: Network, sender: str, host: str, count: int) -> list[str]:
    """Readers at `sender` fill in a host's form; returns the words they were thanked for."""
    call = network.command(sender, sys.executable, "-c", WRITE, HOSTS[host], str(count))
    done = subprocess.run(call, capture_output=True, text=True, timeout=300, check=True)
    return done.stdout.splitlines()


def leading_address(engine: Engine) -> set[str]:
    """Where the schedule is kept, as the database sees it."""
    query = text(
        "SELECT DISTINCT host(client_addr) FROM pg_locks JOIN pg_stat_activity USING (pid)"
        " WHERE locktype = 'advisory' AND objid = :number AND granted"
    )
    with engine.connect() as connection:
        return set(connection.scalars(query, {"number": LEAD}))


def write_letters(path: Path, first: int, count: int) -> None:
    """Letters of the last weeks, in the words of the messages that ship."""
    chosen = seed_messages()[first : first + count]
    with path.open("w", encoding="utf-8") as file:
        for number, one in enumerate(chosen):
            day = datetime.now(UTC) - timedelta(days=1 + number % 20)
            row = {"id": one.id, "text": one.told.text, "received_at": day.isoformat(), "channel": "comment"}
            file.write(json.dumps(row) + "\n")


def bring_in(engine: Engine, path: Path) -> None:
    import_path(make_sessions(engine), path, options=ImportOptions(now=datetime.now(UTC)))


@pytest.fixture(scope="module")
def model_folder(trained_folder: Path) -> Path:
    """Both trained models, so that no host has to train them anew."""
    load_or_fit(trained_folder)
    return trained_folder


@pytest.mark.slow
@pytest.mark.postgres
@pytest.mark.usefixtures("postgres_url")
def test_the_host_that_leads_is_cut_off(tmp_path: Path, model_folder: Path) -> None:
    letters, late = tmp_path / "letters.jsonl", tmp_path / "late.jsonl"
    write_letters(letters, 0, LETTERS)
    write_letters(late, LETTERS, LATE_LETTERS)
    with ExitStack() as stack:
        network = stack.enter_context(a_network())
        for name, address in {**HOSTS, "readers": "10.77.0.4", "others": "10.77.0.5"}.items():
            network.add_host(name, address)
        folder = Path(stack.enter_context(TemporaryDirectory(prefix="postgres-")))
        url = stack.enter_context(postgres_in(network, folder))
        engine = open_engine(f"postgresql://postgres@/postgres?host={folder}&port={PORT}")
        stack.callback(engine.dispose)

        def start(host: str, *words: str) -> None:
            environment = {
                **os.environ,
                "INBOX_FOLDER": str(tmp_path / host),
                "INBOX_DATABASE_URL": url,
                "INBOX_FORM_POSTS_AN_HOUR": str(POSTS_AN_HOUR),
                "INBOX_OWNER_EMAIL": "ines@kitchen.example",
            }
            log = stack.enter_context((tmp_path / f"{host}.log").open("a"))
            started = subprocess.Popen(
                network.command(host, sys.executable, *words), env=environment, stdout=log, stderr=log
            )
            stack.callback(started.wait)
            stack.callback(started.terminate)

        for host in HOSTS:  # all at once, on an empty database
            shutil.copytree(model_folder, Settings(folder=tmp_path / host).model_folder)
            start(host, *GUNICORN.split())
        eventually("the tables are there", lambda: migrate.is_current(engine))
        bring_in(engine, letters)

        # One sender's posts are counted together, whichever host and worker takes them.
        thanked = readers_write(network, "readers", "east", 20) + readers_write(
            network, "readers", "west", 20
        )
        assert len(thanked) == POSTS_AN_HOUR

        for host in HOSTS:
            start(host, "-m", "inbox", "schedule")
        eventually("one makes the digest", lambda: len(digest_claims(engine)) == 1)
        (led_from,) = leading_address(engine)
        cut = next(name for name, address in HOSTS.items() if address == led_from)
        other = next(name for name in HOSTS if name != cut)
        network.cable(cut, "down")
        assert digest_claims(engine) == [None], "cut off in the middle of making the digest"
        assert digests(engine) == {}
        two_hours_pass(engine)  # after which a digest that was begun and not ended may be made by another
        thanked += readers_write(network, "others", other, 10)
        assert len(thanked) == POSTS_AN_HOUR + 10
        eventually("the other leads", lambda: leading_address(engine) == {HOSTS[other]})
        eventually("the other makes the digest", lambda: len(digests(engine)) == 1)
        eventually("the other works", lambda: left_to_do(engine) == (0, 0))
        frozen = digests(engine)

        network.cable(cut, "up")
        thanked += readers_write(network, "others", cut, 5)
        bring_in(engine, late)
        eventually("all is read", lambda: left_to_do(engine) == (0, 0))
        assert leading_address(engine) == {HOSTS[other]}
        assert digests(engine) == frozen
        assert mailed_digest_count(tmp_path) == 1
        nothing_is_lost_or_twice(engine, thanked)
        grouped_as_on_one_machine(engine, tmp_path, [letters, late], model_folder)


def digest_claims(engine: Engine) -> list[datetime | None]:
    """When each digest that a host took up was ended."""
    with make_sessions(engine)() as session:
        return list(session.scalars(select(JobRun.finished_at).where(JobRun.job == "digest")))


def two_hours_pass(engine: Engine) -> None:
    earlier = datetime.now(UTC) - timedelta(hours=STALE_HOURS, minutes=1)
    with make_sessions(engine).begin() as session:
        session.execute(update(JobRun).where(JobRun.finished_at.is_(None)).values(started_at=earlier))


def digests(engine: Engine) -> dict[str, str]:
    """Each digest, as it is kept."""
    with make_sessions(engine)() as session:
        return {row.week: json.dumps(row.document) for row in session.scalars(select(DigestRow))}


def mailed_digest_count(folder: Path) -> int:
    """Mails to the owner with a digest, on both hosts."""
    mails = [path.read_text(errors="replace") for host in HOSTS for path in folder.glob(f"{host}/outbox/*")]
    week = str(last_full_week(datetime.now(UTC), Settings(folder=folder).zone))
    return sum(week in mail for mail in mails)


def nothing_is_lost_or_twice(engine: Engine, thanked: list[str]) -> None:
    with make_sessions(engine)() as session:
        texts = Counter(session.scalars(select(Message.text)))
        doors = Counter(session.scalars(select(Message.door)))
        findings = [finding for finding in check_ledger(session) if finding.check != "nothing stuck"]
    assert {texts[words] for words in thanked} == {1}
    assert doors == {"form": len(thanked), "jsonl": LETTERS + LATE_LETTERS}
    assert findings == []


def left_to_do(engine: Engine) -> tuple[int, int]:
    """How many messages wait to be read, and how many requests wait for a theme."""
    # Forms that are sent as quickly as here are kept apart for the owner to look at, and not read.
    unread = Message.kept_apart.is_(None) & ~exists().where(MessageReading.message_id == Message.id)
    placeless = (
        Labels.is_request
        & (Labels.language == "en")
        & ~exists().where(ThemeMember.message_id == Labels.message_id)
    )
    with make_sessions(engine)() as session:
        return (
            session.scalar(select(func.count()).select_from(Message).where(unread)) or 0,
            session.scalar(select(func.count()).select_from(Labels).where(placeless)) or 0,
        )


def grouped_as_on_one_machine(engine: Engine, folder: Path, brought: list[Path], model_folder: Path) -> None:
    """The same letters have the same readings as on one machine, and lie together as they do there."""
    alone = open_engine(f"sqlite:///{folder}/alone.sqlite3")
    migrate.upgrade(alone)
    model, likeness = load_or_train(model_folder), load_or_fit(model_folder)
    for path in brought:
        bring_in(alone, path)
        read_messages(make_sessions(alone), model, now=datetime.now(UTC))
        regroup(make_sessions(alone), likeness, now=datetime.now(UTC))
    here, there = (by_text(one) for one in (engine, alone))
    assert {text: kinds for text, (kinds, _) in here.items()} == {
        text: kinds for text, (kinds, _) in there.items()
    }
    placed = [text for text, (_, theme) in there.items() if theme is not None]
    assert placed == [text for text, (_, theme) in here.items() if theme is not None]
    assert len(placed) > 20
    assert bcubed([there[text][1] for text in placed], [here[text][1] for text in placed]).f1 > ALIKE
    alone.dispose()


def by_text(engine: Engine) -> dict[str, tuple[list[str], int | None]]:
    """Of each letter, its kinds and its theme."""
    query = (
        select(Message.text, MessageReading.kinds, ThemeMember.theme_id)
        .join(MessageReading, MessageReading.message_id == Message.id)
        .outerjoin(ThemeMember, ThemeMember.message_id == Message.id)
        .where(Message.door == "jsonl")
        .order_by(Message.text)
    )
    with make_sessions(engine)() as session:
        return {text: (kinds, theme) for text, kinds, theme in session.execute(query)}
