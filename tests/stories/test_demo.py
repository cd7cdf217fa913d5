"""The demo site is built through the doors, and its digest finds what was planted in it."""

import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.demo import DemoSite, build_demo
from inbox.digest.build import get_digest
from inbox.digest.document import Digest, WishedTheme
from inbox.digest.render import as_text
from inbox.records.engine import make_sessions
from inbox.records.tables import Message, Reader, Recipe, Revision
from inbox.records.tables_out import RecipeStanding, ThemeMember, ThemeRank
from inbox.replies.whom import owed
from tests.stories import build_demo as door_files

WEEK = "2026-W47"
FAN = "bertie.coombe@example.org"


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


@pytest.fixture
def digest(ledger: Session) -> Digest:
    return get_digest(ledger, WEEK)


@pytest.fixture
def number_of(ledger: Session) -> dict[str, int]:
    """Number in the ledger of each labelled message."""
    numbers = {opening(text): number for number, text in ledger.execute(select(Message.id, Message.text))}
    return {label["id"]: numbers[opening(label["text"])] for label in door_files.load()}


def opening(text: str) -> str:
    """Beginning of a text, different for each message of the demo; a mail loses its parting words."""
    return " ".join(text.split())[:70].rsplit(" ", 1)[0]


def planted(**facts: Any) -> list[str]:
    """Ids of the messages whose labels have these values."""
    return [
        label["id"]
        for label in door_files.load()
        if all(label[name] == value for name, value in facts.items())
    ]


def rank_of(ledger: Session, number_of: dict[str, int], theme: str) -> tuple[ThemeRank, int]:
    """The ranked theme that holds most of a planted theme's requests, and how many of them it holds."""
    members = ledger.scalars(
        select(ThemeMember.theme_id).where(
            ThemeMember.message_id.in_([number_of[label] for label in planted(theme=theme)])
        )
    )
    theme_id, count = Counter(members).most_common(1)[0]
    return ledger.scalars(select(ThemeRank).where(ThemeRank.theme_id == theme_id)).one(), count


def wish(digest: Digest, rank: ThemeRank) -> WishedTheme:
    return next(wish for wish in digest.wishes if wish.theme_id == rank.theme_id)


class TestTakingIn:
    def test_every_item_of_every_file_ends_in_one_of_three_ways(self, site: DemoSite) -> None:
        channels = [label["channel"] for label in door_files.load()]
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

    def test_second_export_is_all_already_here(self, site: DemoSite) -> None:
        again = dict(site.imports)["comments_november.csv"]
        since = [m for m in door_files.load() if m["channel"] == "comment" and m["sent_at"] >= "2026-11-01"]
        assert (again.stored, again.already_here, again.set_aside) == (0, len(since), 0)

    def test_ledger_holds_every_message_once(self, ledger: Session) -> None:
        from_readers = ledger.scalar(select(func.count(Message.id)).where(Message.kept_apart.is_(None)))
        apart = {*door_files.AUTOMATIC, door_files.BOUNCE, door_files.NEWSLETTER}
        assert from_readers == len(door_files.load()) - len(apart)

    def test_change_of_september_is_noticed(self, ledger: Session) -> None:
        slug, note = ledger.execute(select(Recipe.slug, Revision.note).join(Revision)).one()
        assert slug == "lemon-pots"
        assert "3 minutes" in note
        assert "a minute until steaming" in note

    def test_building_again_changes_nothing(self, site: DemoSite, ledger: Session) -> None:
        def held() -> list[int | None]:
            tables = (Message, Reader, Recipe, Revision)
            return [ledger.scalar(select(func.count(table.id))) for table in tables]

        before, document = held(), get_digest(ledger, WEEK)
        ledger.rollback()
        again = build_demo(site.settings.folder)
        again.engine.dispose()
        assert all(run.stored == 0 for _, run in again.imports)
        assert held() == before
        assert get_digest(ledger, WEEK) == document


class TestRecipesInTrouble:
    def test_recipe_that_fails_since_its_change_is_named_with_its_fault(self, digest: Digest) -> None:
        first = digest.troubled[0]
        assert (first.slug, first.standing) == ("lemon-pots", "failing")
        assert first.faults[0].fault == "did_not_set"
        assert first.faults[0].stands_out
        assert [change.on.isoformat() for change in first.changes] == ["2026-09-15"]

    def test_recipe_that_two_readers_shout_at_is_not_flagged(self, ledger: Session, digest: Digest) -> None:
        standing = ledger.scalars(
            select(RecipeStanding).join(Recipe).where(Recipe.slug == "lentil-cottage-pie")
        ).one()
        assert standing.standing == "holding_up"
        assert "lentil-cottage-pie" not in [recipe.slug for recipe in digest.troubled]


class TestWhatToDevelop:
    def test_rising_request_is_on_the_list_and_rises(
        self, ledger: Session, digest: Digest, number_of: dict[str, int]
    ) -> None:
        rank, count = rank_of(ledger, number_of, "pan_flatbread")
        assert count >= 8
        assert rank.place <= 3
        assert "flatbread" in wish(digest, rank).name
        assert wish(digest, rank).trend == "rising"

    def test_request_for_christmas_is_in_season(
        self, ledger: Session, digest: Digest, number_of: dict[str, int]
    ) -> None:
        rank, count = rank_of(ledger, number_of, "meat_free_christmas_main")
        assert count >= 5
        assert rank.place <= 3
        assert "Christmas" in wish(digest, rank).reason
        coming = next(occasion for occasion in digest.season if occasion.name == "Christmas")
        assert rank.theme_id in [theme_id for theme_id, _, _ in coming.wishes]

    def test_request_that_the_catalogue_answers_points_to_the_recipe(
        self, ledger: Session, number_of: dict[str, int]
    ) -> None:
        rank, count = rank_of(ledger, number_of, "meat_free_chilli")
        assert count >= 4
        assert "point them to your Slow Cooker Three-Bean Chilli" in rank.in_words

    def test_fan_who_writes_twelve_times_is_one_voice(
        self, ledger: Session, number_of: dict[str, int]
    ) -> None:
        fan = ledger.scalars(select(Reader).where(Reader.email == FAN)).one()
        assert ledger.scalar(select(func.count(Message.id)).where(Message.reader_id == fan.id)) == 12
        rank, count = rank_of(ledger, number_of, "sticky_toffee_pudding")
        assert count >= 6
        others = ledger.scalar(
            select(func.count(Message.reader_id.distinct()))
            .join(ThemeMember)
            .where(ThemeMember.theme_id == rank.theme_id, Message.reader_id != fan.id)
        )
        assert rank.reader_count == 1 + (others or 0)
        assert rank.place > rank_of(ledger, number_of, "pan_flatbread")[0].place


class TestHazardsAndAnswers:
    def test_hazards_of_the_week_are_on_top(self, digest: Digest, number_of: dict[str, int]) -> None:
        found = {note.quote.message_id: note for note in digest.hazards}
        udon = found[number_of["story-058"]]
        chicken = found[number_of["story-059"]]
        assert (udon.hazard, udon.recipe_slug) == ("allergen", "miso-mushroom-udon")
        assert (chicken.hazard, chicken.recipe_slug) == ("undercooked_risk", "harissa-chicken-traybake")
        assert udon.caution
        assert udon.source

    def test_cook_who_is_stuck_comes_right_after_the_hazards(
        self, site: DemoSite, ledger: Session, digest: Digest, number_of: dict[str, int]
    ) -> None:
        first = next(note for note in digest.owed if note.group != "hazard")
        assert (first.group, first.message_ids) == ("stuck", (number_of["story-072"],))
        waiting = {number for one in owed(ledger, now=site.clock()) for number in one.message_ids}
        assert {number_of[label] for label in ("story-073", "story-074", "story-075", "story-076")} <= waiting
        assert not {number_of[label] for label in door_files.ANSWERED} & waiting

    def test_praise_is_of_those_who_said_it_may_be_quoted(
        self, digest: Digest, ledger: Session, number_of: dict[str, int]
    ) -> None:
        told = [quote.message_id for quote in digest.praise]
        assert len(set(told) & {number_of[label] for label in planted(may_quote="yes")}) >= 3
        allowed = ledger.scalars(select(Message.may_quote).where(Message.id.in_(told))).all()
        assert all(allowed)


class TestText:
    def test_plain_text_tells_it_in_the_order_of_the_digest(self, digest: Digest) -> None:
        text = " ".join(as_text(digest).split())
        places = [
            text.index(words)
            for words in (
                "is labelled gluten-free",
                "Three-Ingredient Lemon Pots",
                "flatbread",
                "Tuesday curry",
            )
        ]
        assert places == sorted(places)
