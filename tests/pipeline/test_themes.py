"""Themes in the ledger keep their number and whatever a person decided about them."""

from datetime import datetime
from random import Random
from typing import Any

import pytest
from sqlalchemy import Engine, event, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InputError, NotFoundError
from inbox.intake.deliver import deliver_all
from inbox.intake.incoming import Incoming
from inbox.pipeline import hand_themes
from inbox.pipeline.regroup import regroup
from inbox.reading.training import seed_messages
from inbox.records.engine import make_sessions
from inbox.records.settle import set_hand_label, settle
from inbox.records.tables import Message, MessageReading
from inbox.records.tables_out import Theme, ThemeMember
from inbox.themes.grouping import Grouping, group
from inbox.themes.likeness import Likeness
from inbox.themes.sketches import Sketch
from inbox.themes.trained import seed_likeness as fit_seed
from tests.makers import make_message, make_recipe
from tests.records.test_settle import add_reading

BREAD = [
    "Please do a gluten-free sandwich loaf.",
    "Any chance of a gluten free sandwich bread recipe? I am coeliac.",
    "My wife is coeliac and misses sandwiches. Could you develop a gluten-free sandwich bread?",
    "Would love a gluten-free loaf for sandwiches please.",
]
ICE = [
    "Could you make a dairy-free ice cream?",
    "Please please a dairy free ice cream recipe, I am lactose intolerant.",
    "A vegan ice cream without coconut would be lovely.",
]


@pytest.fixture
def sessions(fresh_engine: Engine) -> sessionmaker[Session]:
    return make_sessions(fresh_engine)


def ask_for(sessions: sessionmaker[Session], texts: list[str], now: datetime) -> list[int]:
    with sessions.begin() as session:
        ids = [make_message(session, text=text).id for text in texts]
        for message_id in ids:
            add_reading(session, message_id)
            set_hand_label(session, message_id, "kinds", ["request"], account_id=None, now=now)
    return ids


def themes_of(sessions: sessionmaker[Session], ids: list[int]) -> list[int]:
    with sessions() as session:
        found = dict(session.execute(select(ThemeMember.message_id, ThemeMember.theme_id)).all())
    return [found[number] for number in ids]


@pytest.fixture
def grouped(
    sessions: sessionmaker[Session], seed_likeness: Likeness, now: datetime
) -> tuple[list[int], list[int]]:
    bread, ice = ask_for(sessions, BREAD, now), ask_for(sessions, ICE, now)
    regroup(sessions, seed_likeness, now=now)
    return bread, ice


def test_what_is_the_same_is_together(
    sessions: sessionmaker[Session], grouped: tuple[list[int], list[int]]
) -> None:
    bread, ice = grouped

    assert len(set(themes_of(sessions, bread))) == 1
    assert themes_of(sessions, bread)[0] not in themes_of(sessions, ice)
    with sessions() as session:
        name = session.get_one(Theme, themes_of(sessions, bread)[0]).name
    assert "gluten-free" in name


def test_regrouping_changes_nothing_that_is_settled(
    sessions: sessionmaker[Session],
    grouped: tuple[list[int], list[int]],
    seed_likeness: Likeness,
    now: datetime,
) -> None:
    bread, ice = grouped
    before = themes_of(sessions, bread + ice)
    others = [f"Please do a recipe for {dish}." for dish in ("ramen", "pickled eggs", "elderflower cordial")]
    ask_for(sessions, Random(4).sample(others, k=3), now)

    result = regroup(sessions, seed_likeness, now=now)

    assert result.placed_count >= 3
    assert themes_of(sessions, bread + ice) == before


def test_two_that_group_at_once_make_one_theme(
    sessions: sessionmaker[Session],
    seed_likeness: Likeness,
    now: datetime,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """While one groups all requests, another stores a theme of the first two of them."""
    bread = ask_for(sessions, BREAD, now)
    calls: list[int] = []

    def group_with_another_beside(free: list[Sketch], *rest: Any, **more: Any) -> Grouping:
        calls.append(len(free))
        if len(calls) == 2:
            return group(free[:2], *rest, **more)
        found = group(free, *rest, **more)
        if len(calls) == 1:
            regroup(sessions, seed_likeness, now=now)
        return found

    monkeypatch.setattr("inbox.pipeline.regroup.group", group_with_another_beside)
    regroup(sessions, seed_likeness, now=now)

    assert calls == [4, 4, 2], "the first began anew with what the other left"
    assert len(set(themes_of(sessions, bread))) == 1
    with sessions() as session:
        assert len(session.scalars(select(Theme)).all()) == 1


def test_a_small_theme_keeps_its_name_while_what_its_members_share_stays(
    sessions: sessionmaker[Session],
    grouped: tuple[list[int], list[int]],
    seed_likeness: Likeness,
    now: datetime,
) -> None:
    alone = ask_for(sessions, ["Please do a recipe for falafel."], now)
    regroup(sessions, seed_likeness, now=now)
    theme_id = themes_of(sessions, alone)[0]
    with sessions.begin() as session:
        theme = session.get_one(Theme, theme_id)
        assert theme.name == "falafel"
        theme.name = "the name of last week"
    ask_for(sessions, ["Please do a recipe for ramen."], now)
    regroup(sessions, seed_likeness, now=now)
    with sessions.begin() as session:
        theme = session.get_one(Theme, theme_id)
        assert theme.name == "the name of last week"
        theme.facets = {}

    regroup(sessions, seed_likeness, now=now)

    with sessions() as session:
        assert session.get_one(Theme, theme_id).name == "falafel"


def test_who_asks_on_a_recipes_page_is_not_pointed_to_it_and_others_are(
    sessions: sessionmaker[Session], seed_likeness: Likeness, now: datetime
) -> None:
    with sessions.begin() as session:
        recipe = make_recipe(session, slug="loaf", title="Gluten-Free Sandwich Loaf", tags={})
        recipe_id = recipe.id
    ids = ask_for(sessions, BREAD, now)

    def answered_by() -> int | None:
        regroup(sessions, seed_likeness, now=now)
        with sessions() as session:
            return session.get_one(Theme, themes_of(sessions, ids)[0]).covered_by_id

    assert answered_by() == recipe_id
    with sessions.begin() as session:
        for number in ids[:2]:
            session.get_one(Message, number).page_recipe_id = recipe_id
    assert answered_by() is None


def test_a_name_that_a_person_gave_says_what_is_asked_for(
    sessions: sessionmaker[Session],
    grouped: tuple[list[int], list[int]],
    seed_likeness: Likeness,
    now: datetime,
) -> None:
    _, ice = grouped
    theme_id = themes_of(sessions, ice)[0]
    with sessions.begin() as session:
        hand_themes.rename(session, theme_id, "Sugar-free ice cream for children")
    regroup(sessions, seed_likeness, now=now)

    with sessions() as session:
        facets = session.get_one(Theme, theme_id).facets
    assert "sugar_free" in facets["diet"]
    assert "children" in facets["audience"]


def test_merge_outlasts_regrouping_and_the_number_lives_on(
    sessions: sessionmaker[Session],
    grouped: tuple[list[int], list[int]],
    seed_likeness: Likeness,
    now: datetime,
) -> None:
    bread, ice = grouped
    kept, gone = themes_of(sessions, bread)[0], themes_of(sessions, ice)[0]
    with sessions.begin() as session:
        hand_themes.merge(session, kept, gone)
        hand_themes.rename(session, kept, "things for the coeliac")

    regroup(sessions, seed_likeness, now=now)

    with sessions() as session:
        assert hand_themes.get_theme(session, gone).id == kept
        assert hand_themes.get_theme(session, gone).name == "things for the coeliac"
    moved = [number for number, theme in zip(ice, themes_of(sessions, ice), strict=True) if theme == kept]
    assert moved


def test_a_theme_of_any_size_is_merged_in_statements_of_a_few_values(
    sessions: sessionmaker[Session], fresh_engine: Engine, now: datetime
) -> None:
    """PostgreSQL takes at most 65,535 values a statement."""
    texts = [f"A rye loaf, please ({number})" for number in range(60)]
    with sessions.begin() as session:
        ids = [make_message(session, text=text).id for text in texts]
        themes = [Theme(name=name, facets={}, created_at=now) for name in ("rye loaf", "rye bread")]
        session.add_all(themes)
        session.flush()
        kept, gone = (theme.id for theme in themes)
        place = {"theme_id": gone, "by_hand": False, "similarity": 1.0, "doubtful": False, "joined_at": now}
        session.add_all(ThemeMember(message_id=number, **place) for number in ids)
    sizes: list[int] = []

    def note(_conn: Any, _cursor: Any, _statement: str, values: Any, _context: Any, _many: bool) -> None:
        sizes.append(len(values))

    event.listen(fresh_engine, "before_cursor_execute", note)
    with sessions.begin() as session:
        hand_themes.merge(session, kept, gone)
    event.remove(fresh_engine, "before_cursor_execute", note)
    assert themes_of(sessions, ids) == [kept] * len(ids)
    assert 0 < max(sizes) < 10


def test_split_outlasts_regrouping(
    sessions: sessionmaker[Session],
    grouped: tuple[list[int], list[int]],
    seed_likeness: Likeness,
    now: datetime,
) -> None:
    bread, _ = grouped
    first = themes_of(sessions, bread)[0]
    with sessions.begin() as session:
        second = hand_themes.split(session, first, bread[:2], "loaf for toast", now=now)

    regroup(sessions, seed_likeness, now=now)

    assert themes_of(sessions, bread) == [second, second, first, first]


def test_moved_request_stays_where_it_was_put(
    sessions: sessionmaker[Session],
    grouped: tuple[list[int], list[int]],
    seed_likeness: Likeness,
    now: datetime,
) -> None:
    bread, ice = grouped
    target = themes_of(sessions, ice)[0]
    with sessions.begin() as session:
        hand_themes.move(session, bread[0], target, now=now)
        hand_themes.move(session, bread[1], None, now=now)
    old = themes_of(sessions, bread[2:])[0]

    regroup(sessions, seed_likeness, now=now)

    assert themes_of(sessions, bread[:1]) == [target]
    assert themes_of(sessions, bread[1:2]) != [old]


def test_what_is_no_request_leaves_its_theme(
    sessions: sessionmaker[Session],
    grouped: tuple[list[int], list[int]],
    seed_likeness: Likeness,
    now: datetime,
) -> None:
    bread, _ = grouped
    with sessions.begin() as session:
        set_hand_label(session, bread[0], "kinds", ["comment"], account_id=None, now=now)

    regroup(sessions, seed_likeness, now=now)

    with sessions() as session:
        assert session.get(ThemeMember, bread[0]) is None


def test_shelf_needs_its_reason_or_recipe(
    sessions: sessionmaker[Session], grouped: tuple[list[int], list[int]], now: datetime
) -> None:
    theme = themes_of(sessions, grouped[0])[0]
    with sessions.begin() as session:
        make_recipe(session, slug="gf-loaf")
    with sessions() as session:
        with pytest.raises(InputError, match="Say why"):
            hand_themes.put_on_shelf(session, theme, "passed_over", now=now)
        with pytest.raises(NotFoundError, match="no recipe 'loaf'"):
            hand_themes.put_on_shelf(session, theme, "published", now=now, recipe_slug="loaf")
        with pytest.raises(InputError, match="no shelf 'top'"):
            hand_themes.put_on_shelf(session, theme, "top", now=now)
        hand_themes.put_on_shelf(session, theme, "published", now=now, recipe_slug="gf-loaf")
        assert hand_themes.get_theme(session, theme).recipe.slug == "gf-loaf"  # type: ignore[union-attr]


def test_impossible_decisions_are_refused_in_words(
    sessions: sessionmaker[Session], grouped: tuple[list[int], list[int]], now: datetime
) -> None:
    bread, ice = grouped
    theme = themes_of(sessions, bread)[0]
    with sessions() as session:
        with pytest.raises(InputError, match="one theme already"):
            hand_themes.merge(session, theme, theme)
        with pytest.raises(InputError, match="leave at least one"):
            hand_themes.split(session, theme, bread, "all", now=now)
        with pytest.raises(InputError, match="requests of this theme"):
            hand_themes.split(session, theme, ice[:1], "none", now=now)
        with pytest.raises(NotFoundError, match="no theme 999"):
            hand_themes.move(session, bread[0], 999, now=now)
        with pytest.raises(InputError, match="1 to 120"):
            hand_themes.rename(session, theme, "  ")
        with pytest.raises(InputError, match="effort"):
            hand_themes.estimate_effort(session, theme, -1)


@pytest.fixture(scope="module")
def retrained() -> Likeness:
    """Another measure of likeness, as after training anew: one site of the training messages is left out."""
    return fit_seed([one for one in seed_messages() if one.site != "bread"])


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_decisions_outlast_imports_and_retraining(
    sessions: sessionmaker[Session],
    grouped: tuple[list[int], list[int]],
    seed_likeness: Likeness,
    retrained: Likeness,
    now: datetime,
    seed: int,
) -> None:
    """Merged, split, moved, renamed, shelved in any order; then more comes in, and the measure changes."""
    bread, ice = grouped
    cakes = ask_for(
        sessions, [f"Please do a vegan birthday cake, {why}." for why in ("mum", "Bo", "now")], now
    )
    regroup(sessions, seed_likeness, now=now)
    loaf, cream, cake = (themes_of(sessions, ids)[0] for ids in (bread, ice, cakes))
    made: list[int] = []
    decisions = [
        lambda session: hand_themes.rename(session, loaf, "toast for the coeliac"),
        lambda session: hand_themes.merge(session, cream, cake),
        lambda session: hand_themes.move(session, bread[0], cream, now=now),
        lambda session: made.append(hand_themes.split(session, loaf, bread[1:2], "square loaf", now=now)),
        lambda session: hand_themes.put_on_shelf(session, loaf, "passed_over", now=now, reason="no oven"),
    ]
    Random(seed).shuffle(decisions)
    for decide in decisions:
        with sessions.begin() as session:
            decide(session)

    for likeness in (seed_likeness, retrained):
        texts = (*BREAD, *ICE, "A vegan birthday cake for my niece, please.")
        with sessions.begin() as session:
            items = [Incoming(door="jsonl", channel="form", text=f"{text} Thank you!") for text in texts]
            new = [one.message_id for one in deliver_all(session, items, run_id=None, now=now)]
            for number in filter(None, new):
                if session.get(MessageReading, number) is None:
                    add_reading(session, number, model_version="newer", kinds=["request"])
            settle(session, [number for number in new if number])
        regroup(sessions, likeness, now=now)
        with sessions() as session:
            theme = hand_themes.get_theme(session, loaf)
            assert (theme.id, theme.name, theme.shelf, theme.shelf_reason) == (
                loaf, "toast for the coeliac", "passed_over", "no oven",
            )  # fmt: skip
            assert hand_themes.get_theme(session, cake).id == cream
            assert session.get_one(Theme, made[0]).name == "square loaf"
        assert themes_of(sessions, bread[:2]) == [cream, made[0]]
        assert cake not in themes_of(sessions, cakes + ice)
