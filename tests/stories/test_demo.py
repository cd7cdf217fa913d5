"""The demo site is built through the doors, and what was planted in it is found."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.demo import DemoSite, build_demo
from inbox.records.engine import make_sessions
from inbox.records.tables import Message, Reader, Recipe, Revision
from inbox.records.tables_out import Theme, ThemeRank
from tests.stories import build_demo as door_files


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory, trained_folder: Path) -> Iterator[DemoSite]:
    folder = tmp_path_factory.mktemp("demo")
    shutil.copytree(trained_folder, folder / "model")
    site = build_demo(folder)
    yield site
    site.engine.dispose()


@pytest.fixture
def ledger(site: DemoSite) -> Iterator[Session]:
    with make_sessions(site.engine)() as session:
        yield session


class TestTakingIn:
    def test_every_item_of_every_file_ends_in_one_of_three_ways(self, site: DemoSite) -> None:
        labelled = door_files.load()
        channels = [message["channel"] for message in labelled]
        held = {
            "letters.mbox": channels.count("email") + len(door_files.ANSWERED),
            "comments.csv": channels.count("comment") + 1,
            "forms.jsonl": channels.count("form") + 1,
            "social.jsonl": channels.count("social"),
        }
        ends = dict(site.imports)
        assert {name: ends[name].total for name in held} == held
        assert [ends[name].set_aside for name in held] == [0, 1, 1, 0]
        assert [ends[name].already_here for name in held] == [0, 0, 0, 0]

    def test_the_second_export_is_all_already_here(self, site: DemoSite) -> None:
        again = dict(site.imports)["comments_november.csv"]
        since = [m for m in door_files.load() if m["channel"] == "comment" and m["sent_at"] >= "2026-11-01"]
        assert (again.stored, again.already_here, again.set_aside) == (0, len(since), 0)

    def test_the_ledger_holds_every_message_once(self, ledger: Session) -> None:
        from_readers = ledger.scalar(select(func.count(Message.id)).where(Message.kept_apart.is_(None)))
        apart = {"dinner-120", "dinner-054", "dinner-357", "story-094", "story-095"}
        assert from_readers == len(door_files.load()) - len(apart)

    def test_the_change_of_september_is_noticed(self, ledger: Session) -> None:
        slug, note = ledger.execute(select(Recipe.slug, Revision.note).join(Revision)).one()
        assert slug == "lemon-pots"
        assert "3 minutes" in note
        assert "a minute until steaming" in note


class TestWhatToDevelop:
    def test_fan_who_writes_twelve_times_is_one_voice(self, ledger: Session) -> None:
        fan = ledger.scalars(select(Reader).where(Reader.email == "bertie.coombe@example.org")).one()
        written = ledger.scalar(select(func.count(Message.id)).where(Message.reader_id == fan.id))
        theme = ledger.scalars(select(Theme).where(Theme.name.contains("toffee"))).one()
        rank = ledger.scalars(select(ThemeRank).where(ThemeRank.theme_id == theme.id)).one()
        assert written == 12
        assert rank.reader_count == 1
