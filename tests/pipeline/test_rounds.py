"""One round takes what came in to a ranking and to standings; one fan is one voice."""

from datetime import datetime, timedelta

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline.checking import ENOUGH_MEANT, found_share
from inbox.pipeline.judge import judge_recipes
from inbox.pipeline.rank import rank_themes
from inbox.pipeline.rounds import Kitchen, go_round
from inbox.records.check import check_ledger
from inbox.records.engine import make_sessions
from inbox.records.settle import set_hand_label
from inbox.records.tables import Labels, Message, Recipe, Revision
from inbox.records.tables_out import RecipeStanding, Theme, ThemeMember, ThemeRank
from inbox.settings import Settings
from tests.makers import make_message, make_reader, make_recipe, make_theme
from tests.records.test_settle import add_reading


@pytest.fixture
def sessions(fresh_engine: Engine) -> sessionmaker[Session]:
    return make_sessions(fresh_engine)


def report(session: Session, recipe: Recipe, outcome: str, at: datetime) -> int:
    """Number of one reader's report on a recipe, labelled by hand."""
    reader = make_reader(session)
    message = make_message(session, reader_id=reader.id, received_at=at)
    for field, value in (("kinds", ["made_it"]), ("outcome", outcome), ("recipe", recipe.slug)):
        set_hand_label(session, message.id, field, value, account_id=None, now=at)
    return message.id


def test_a_failing_recipe_stands_out(session: Session, settings: Settings, now: datetime) -> None:
    good = [make_recipe(session) for _ in range(12)]
    bad = make_recipe(session)
    for recipe in good:
        for day in range(10):
            report(session, recipe, "worked", now - timedelta(days=day + 1))
    for day in range(8):
        report(session, bad, "failed", now - timedelta(days=day + 1))

    judge_recipes(session, settings, now=now)

    standing = session.get_one(RecipeStanding, bad.id)
    assert (standing.standing, standing.reader_count, standing.failed_count) == ("failing", 8, 8.0)
    assert session.get_one(RecipeStanding, good[0].id).standing == "holding_up"


def test_a_revision_starts_the_count_anew(session: Session, settings: Settings, now: datetime) -> None:
    recipe = make_recipe(session)
    for day in range(8):
        report(session, recipe, "failed", now - timedelta(days=day + 10))
    session.add(
        Revision(recipe_id=recipe.id, made_at=now - timedelta(days=5), note="smaller tin", noticed=False)
    )
    report(session, recipe, "worked", now - timedelta(days=1))

    judge_recipes(session, settings, now=now)

    standing = session.get_one(RecipeStanding, recipe.id)
    assert (standing.standing, standing.reader_count) == ("too_few_reports", 1)


def test_one_fan_is_one_voice(session: Session, settings: Settings, now: datetime) -> None:
    loud, wide = make_theme(session), make_theme(session)
    fan = make_reader(session)
    for day in range(12):
        ask_for(session, loud, fan.id, now - timedelta(days=day))
    for day in range(4):
        ask_for(session, wide, make_reader(session).id, now - timedelta(days=day))

    ranked = rank_themes(session, settings, now=now)

    assert [row.theme_id for row in ranked] == [wide.id, loud.id]
    assert session.get_one(ThemeRank, loud.id).reader_count == 1
    assert session.get_one(ThemeRank, wide.id).reader_count == 4
    parts = session.get_one(ThemeRank, wide.id).details["parts"]
    assert sum(parts.values()) == pytest.approx(session.get_one(ThemeRank, wide.id).score)


def ask_for(session: Session, theme: Theme, reader_id: int, at: datetime) -> None:
    message = make_message(session, reader_id=reader_id, received_at=at)
    set_hand_label(session, message.id, "kinds", ["request"], account_id=None, now=at)
    session.add(ThemeMember(message_id=message.id, theme_id=theme.id, similarity=1.0, joined_at=at))
    session.flush()


def test_only_open_themes_are_ranked(session: Session, settings: Settings, now: datetime) -> None:
    theme = make_theme(session, shelf="passed_over")
    ask_for(session, theme, make_reader(session).id, now)

    assert rank_themes(session, settings, now=now) == []


@pytest.mark.slow
def test_a_whole_round_leaves_a_sound_ledger(
    sessions: sessionmaker[Session], settings: Settings, kitchen: Kitchen, now: datetime
) -> None:
    texts = [
        "Made this last night and it sank in the middle, raw and stodgy. Into the bin it went.",
        "Please could you do a gluten-free sandwich loaf? I am coeliac.",
        "Can I use oat milk instead of whole milk?",
        "My son came out in hives, there are nuts in it that your list does not mention.",
    ]
    with sessions.begin() as session:
        recipe = make_recipe(session, slug="lemon-loaf", title="Lemon Drizzle Loaf")
        ids = [
            make_message(session, text=text, page_recipe_id=recipe.id, reader_id=make_reader(session).id).id
            for text in texts
        ]

    first = go_round(sessions, kitchen, settings, now=now)
    second = go_round(sessions, kitchen, settings, now=now)

    assert (first.read.read_count, second.read.read_count) == (4, 0)
    with sessions() as session:
        labels = {row.message_id: row for row in session.scalars(select(Labels))}
        assert labels[ids[0]].recipe_id == recipe.id
        assert "problem" in labels[ids[0]].kinds
        assert "request" in labels[ids[1]].kinds
        assert "question" in labels[ids[2]].kinds
        assert labels[ids[3]].hazard == "allergen"
        assert session.scalars(select(ThemeRank)).all()
        assert session.scalars(select(Message.text).where(Message.id == ids[0])).one() == texts[0]
        assert check_ledger(session) == []


def test_what_a_revision_did_is_kept_with_the_standing(
    session: Session, settings: Settings, now: datetime
) -> None:
    recipe = make_recipe(session)
    for day in range(8):
        report(session, recipe, "failed", now - timedelta(days=day + 40))
        report(session, recipe, "worked", now - timedelta(days=day + 1))
    revision = Revision(
        recipe_id=recipe.id, made_at=now - timedelta(days=30), note="a larger tin", noticed=False
    )
    session.add(revision)
    session.flush()

    judge_recipes(session, settings, now=now)

    (effect,) = session.get_one(RecipeStanding, recipe.id).details["revisions"]
    assert effect["revision_id"] == revision.id
    assert (effect["verdict"], effect["before_readers"], effect["after_readers"]) == ("better", 8, 8)


def test_a_sudden_rise_is_seen_in_the_running_week(
    session: Session, settings: Settings, now: datetime
) -> None:
    recipes = [make_recipe(session) for _ in range(10)]
    for recipe in recipes:
        for week in range(20):
            report(session, recipe, "worked", now - timedelta(weeks=week, hours=2))
    for _ in range(6):
        message = make_message(
            session, reader_id=make_reader(session).id, received_at=now - timedelta(hours=1)
        )
        for field, value in (("kinds", ["problem"]), ("faults", ["sank"]), ("recipe", recipes[0].slug)):
            set_hand_label(session, message.id, field, value, account_id=None, now=now)

    judge_recipes(session, settings, now=now)

    details = session.get_one(RecipeStanding, recipes[0].id).details
    assert {spike["fault"] for spike in details["spikes"]} == {None, "sank"}
    assert details["faults"][0]["fault"] == "sank"
    assert session.get_one(RecipeStanding, recipes[1].id).details["spikes"] == []


def test_a_season_that_opens_lets_the_watch_for_rises_begin_anew(
    session: Session, settings: Settings, now: datetime
) -> None:
    """The window of Christmas opens on 13 November, six weeks before; the trouble came on the third."""
    of_the_season = make_recipe(session, title="Stollen", tags={"keywords": ["Christmas", "yeast"]})
    ordinary = make_recipe(session, title="Rye loaf")
    for recipe in (of_the_season, ordinary, *(make_recipe(session) for _ in range(8))):
        for week in range(20):
            report(session, recipe, "worked", now - timedelta(weeks=week, hours=2))
    for recipe in (of_the_season, ordinary):
        for _ in range(8):
            number = report(session, recipe, "failed", now - timedelta(days=20))
            set_hand_label(session, number, "kinds", ["made_it", "problem"], account_id=None, now=now)

    judge_recipes(session, settings, now=now)

    assert session.get_one(RecipeStanding, of_the_season.id).details["spikes"] == []
    assert [spike["fault"] for spike in session.get_one(RecipeStanding, ordinary.id).details["spikes"]] == [
        None
    ]


def test_why_a_recipe_fails_is_kept_with_the_standing(
    session: Session, settings: Settings, now: datetime
) -> None:
    recipe = make_recipe(
        session, title="Custard tart", steps=["Warm the custard until it thickens.", "Pour and chill."]
    )
    for number in range(4):
        reader = make_reader(session)
        message = make_message(
            session,
            reader_id=reader.id,
            received_at=now - timedelta(days=number + 1),
            text="I used oat milk instead of whole milk and it never set, still liquid.",
        )
        for field, value in (
            ("kinds", ["made_it", "problem"]),
            ("outcome", "failed"),
            ("faults", ["did_not_set"]),
            ("recipe", recipe.slug),
        ):
            set_hand_label(session, message.id, field, value, account_id=None, now=now)
    for words in ("Can I freeze this tart?", "Does the tart freeze well?", "Could I freeze it?"):
        message = make_message(session, reader_id=make_reader(session).id, received_at=now, text=words)
        for field, value in (("kinds", ["question"]), ("recipe", recipe.slug)):
            set_hand_label(session, message.id, field, value, account_id=None, now=now)

    judge_recipes(session, settings, now=now)

    details = session.get_one(RecipeStanding, recipe.id).details
    (fault,) = details["causes"]
    assert fault["fault"] == "did_not_set"
    assert all(cause["source"] for cause in fault["causes"])
    assert any("milk" in change["what"] for change in details["changes"])
    (question,) = details["questions"]
    assert question["reader_count"] == 3
    judge_recipes(session, settings, now=now)
    assert session.get_one(RecipeStanding, recipe.id).details["questions"] == details["questions"]


@pytest.mark.parametrize(("meant", "factor"), [(ENOUGH_MEANT, 2.0), (ENOUGH_MEANT - 2, 1.0)])
def test_requests_that_the_reading_misses_count_where_samples_tell(
    session: Session, settings: Settings, now: datetime, meant: int, factor: float
) -> None:
    """Half of the sampled requests were found: there are twice as many; too small a sample says nothing."""
    theme = make_theme(session)
    for day in range(20):
        ask_for(session, theme, make_reader(session).id, now - timedelta(days=day))
    (before,) = rank_themes(session, settings, now=now)
    for number in range(meant):
        message = make_message(session, received_at=now)
        add_reading(session, message.id, kinds=["request"] if number % 2 else ["comment"])
        set_hand_label(
            session, message.id, "kinds", ["request"], account_id=None, now=now, from_random_sample=True
        )

    (after,) = rank_themes(session, settings, now=now)

    assert found_share(session, "request") == pytest.approx(1 / factor)
    assert after.rate_a_week / before.rate_a_week == pytest.approx(factor, rel=0.35 if factor > 1 else 1e-6)
