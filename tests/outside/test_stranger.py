"""An invented site that the program has never seen is brought in and read; see stranger/README.md."""

import json
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from inbox.intake.recipes import RecipesResult, import_recipes
from inbox.intake.run import RunResult, import_path
from inbox.intake.sources import ImportOptions
from inbox.pipeline.rounds import Kitchen, go_round
from inbox.records import migrate
from inbox.records.engine import make_sessions, open_engine
from inbox.records.tables import Message, Recipe, SetAside
from inbox.settings import Settings

SITE = Path(__file__).parent / "stranger"
NOW = datetime(2026, 11, 23, 6, 30, tzinfo=UTC)
FILES = ("letters.mbox", "comments.csv", "forms.jsonl")


@dataclass(frozen=True)
class Stranger:
    sessions: sessionmaker[Session]
    recipes: RecipesResult
    runs: dict[str, RunResult]
    again: dict[str, RunResult]


def labels() -> list[dict[str, Any]]:
    with (SITE / "labels.jsonl").open(encoding="utf-8") as lines:
        return [json.loads(line) for line in lines]


@pytest.fixture(scope="module")
def stranger(tmp_path_factory: pytest.TempPathFactory, trained_folder: Path) -> Iterator[Stranger]:
    folder = tmp_path_factory.mktemp("stranger")
    shutil.copytree(trained_folder, folder / "model")
    settings = Settings(
        folder=folder,
        site_name="The Linden Kitchen",
        site_url="https://lindenkitchen.example",
        owner_email="halina@lindenkitchen.example",
        timezone="Europe/Warsaw",
        country="PL",
    )
    engine = open_engine(settings.engine_url)
    migrate.upgrade(engine)
    sessions = make_sessions(engine)
    with sessions.begin() as session:
        recipes = import_recipes(session, str(SITE / "recipes"), now=NOW)
    options = ImportOptions(
        now=NOW, own_addresses=frozenset({settings.owner_email}), zone=settings.zone, day_first=None
    )
    runs = {name: import_path(sessions, SITE / name, options=options) for name in FILES}
    again = {name: import_path(sessions, SITE / name, options=options) for name in FILES}
    go_round(sessions, Kitchen(settings), settings, now=NOW)
    yield Stranger(sessions, recipes, runs, again)
    engine.dispose()


@pytest.fixture
def ledger(stranger: Stranger) -> Iterator[Session]:
    with stranger.sessions() as session:
        yield session


def test_pages_with_schema_org_recipes_are_the_catalogue(stranger: Stranger, ledger: Session) -> None:
    assert (stranger.recipes.added, stranger.recipes.passed_over) == (12, ())
    roll = ledger.scalars(select(Recipe).where(Recipe.title == "Poppy Seed Roll")).one()
    assert roll.url == "https://lindenkitchen.example/2024/poppy-seed-roll/"
    assert len(roll.ingredients) == 8
    assert [step.split()[0] for step in roll.steps] == ["Knead", "Cook", "Spread,"]


def test_three_numbers_add_up_to_what_each_file_holds(stranger: Stranger) -> None:
    channels = [label["channel"] for label in labels()]
    held = {
        "letters.mbox": channels.count("email"),
        "comments.csv": channels.count("comment") + 1,
        "forms.jsonl": channels.count("form") + channels.count("social") + 1,
    }
    assert {name: run.total for name, run in stranger.runs.items()} == held
    assert [run.set_aside for run in stranger.runs.values()] == [0, 1, 1]
    assert [run.stored for run in stranger.again.values()] == [0, 0, 0]
    assert {name: run.already_here for name, run in stranger.again.items()} == held


def test_no_message_is_lost_or_changed(ledger: Session) -> None:
    stored = {" ".join(text.split()) for text in ledger.scalars(select(Message.text))}
    for label in labels():
        words = " ".join(label["text"].split())
        # A mail's parting words are left out of what the reader wrote.
        assert any(words.startswith(text) for text in stored if len(text) > 0.7 * len(words)), label["id"]


def test_what_is_broken_is_kept_whole_with_the_reason(ledger: Session) -> None:
    kept = {item.place: item for item in ledger.scalars(select(SetAside))}
    assert len(kept) == 2
    assert any(b"Empty Ed" in item.raw for item in kept.values())
    assert any(b"linden-x2" in item.raw for item in kept.values())
    assert all(item.reason for item in kept.values())


def test_day_first_dates_are_understood(ledger: Session) -> None:
    text = "Silky dough%"
    form = ledger.scalars(select(Message).where(Message.text.like(text))).one()
    assert form.received_at == datetime(2026, 11, 17, 17, 22, tzinfo=UTC)
    comment = ledger.scalars(select(Message).where(Message.text.like("Soft leaves, juicy filling%"))).one()
    assert comment.received_at == datetime(2026, 9, 22, 16, 18, tzinfo=UTC)
    early = ledger.scalars(select(Message).where(Message.text.like("My babcia would%"))).one()
    assert early.received_at == datetime(2026, 9, 3, 16, 20, tzinfo=UTC)


def test_comments_are_linked_to_the_page_that_they_stand_under(ledger: Session) -> None:
    rows = ledger.execute(
        select(Message.text, Recipe.slug).join(Recipe, Recipe.id == Message.page_recipe_id)
    ).all()
    page_of = {" ".join(text.split()): slug for text, slug in rows}
    comments = [label for label in labels() if label["channel"] == "comment" and label["page"]]
    assert len(comments) > 15
    for label in comments:
        assert page_of[" ".join(label["text"].split())] == label["page"]
