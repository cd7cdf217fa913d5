"""Requests find their theme; what is settled or decided by a person stays."""

import random
from collections.abc import Callable
from copy import copy

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inbox.themes.grouping import Grouping, SettledTheme, group
from inbox.themes.likeness import Likeness
from inbox.themes.sketches import Sketch
from tests.themes.conftest import ASKS

Asked = list[tuple[Sketch, str]]
SEEDS = range(8)


def partition(found: Grouping) -> set[frozenset[str]]:
    groups: dict[tuple[int | None, int | None], set[str]] = {}
    for one in found.placed:
        groups.setdefault((one.theme, one.new), set()).add(one.request)
    return {frozenset(members) for members in groups.values()}


def settled_from(found: Grouping, sketches: list[Sketch]) -> list[SettledTheme]:
    by_id = {one.id: one for one in sketches}
    return [
        SettledTheme(number + 100, theme.name, tuple(by_id[id] for id in theme.members))
        for number, theme in enumerate(found.new)
    ]


def unrelated(make_sketches: Callable[[dict[str, str]], list[Sketch]], count: int) -> list[Sketch]:
    """Requests for things that none of the invented ones speak of."""
    things = ("pickled walnuts", "elderflower cordial", "pork pie", "marmalade", "mango kulfi", "pretzels")
    ways = ("for my uncle", "before Sunday", "like the market sells", "from my village", "when you can")
    return make_sketches(
        {f"u{n}": f"Please, a recipe for {things[n % 6]} {ways[n % 5]} {n // 30}" for n in range(count)}
    )


def test_same_wish_in_other_words_is_one_theme(asked: Asked, likeness: Likeness) -> None:
    found = group([one for one, _ in asked], likeness)
    wish_of = {one.id: wish for one, wish in asked}
    assert all(len({wish_of[id] for id in members}) == 1 for members in partition(found))
    assert any(len(members) > 1 for members in partition(found))


@pytest.mark.parametrize("seed", SEEDS)
def test_order_of_arrival_changes_nothing_when_grouped_at_once(
    asked: Asked, likeness: Likeness, seed: int
) -> None:
    sketches = [one for one, _ in asked]
    shuffled = random.Random(seed).sample(sketches, len(sketches))
    assert partition(group(shuffled, likeness)) == partition(group(sketches, likeness))


@settings(max_examples=40, deadline=None, derandomize=True)
@given(order=st.permutations(range(sum(map(len, ASKS.values())))), share=st.integers(1, 99))
def test_order_of_arrival_changes_at_most_the_doubtful(
    asked: Asked, likeness: Likeness, order: list[int], share: int
) -> None:
    """Some come first and settle, the rest come later: those who are sure stay with the same company."""
    at_once = group([one for one, _ in asked], likeness)
    shuffled = [asked[at][0] for at in order]
    cut = max(len(shuffled) * share // 100, 1)
    early, late = shuffled[:cut], shuffled[cut:]
    first = group(early, likeness)
    second = group(late, likeness, settled=settled_from(first, early))
    company = {one: members for members in partition(at_once) for one in members}
    sure = {one.request for found in (at_once, first, second) for one in found.placed if not one.doubtful}
    doubtful = {one.request for found in (at_once, first, second) for one in found.placed if one.doubtful}
    places = {one.request: ("new", one.new, "first") for one in first.placed}
    for one in second.placed:
        settled = None if one.theme is None else ("new", one.theme - 100, "first")
        places[one.request] = settled or ("new", one.new, "second")
    for one in sure - doubtful:
        for other in (sure - doubtful) & company[one]:
            assert places[one] == places[other]


def test_a_thousand_unrelated_requests_change_no_settled_theme(
    asked: Asked, likeness: Likeness, make_sketches: Callable[[dict[str, str]], list[Sketch]]
) -> None:
    sketches = [one for one, _ in asked]
    settled = settled_from(group(sketches, likeness), sketches)
    crowd = unrelated(make_sketches, 1000)
    found = group(crowd, likeness, settled=settled)
    assert {one.request for one in found.placed} == {one.id for one in crowd}
    assert not [one for one in found.placed if one.theme is not None]
    later = group(sketches[:3], likeness, settled=settled)
    assert [one.theme for one in later.placed] == [
        next(theme.id for theme in settled if any(member.id == one.id for member in theme.members))
        for one in sketches[:3]
    ]


@pytest.mark.parametrize("seed", SEEDS)
def test_what_a_person_decided_is_never_undone(asked: Asked, likeness: Likeness, seed: int) -> None:
    """Pinned requests stay where they were put; a request taken out of a theme never returns to it."""
    chance = random.Random(seed)
    sketches = [one for one, _ in asked]
    settled = settled_from(group(sketches, likeness), sketches)
    pinned = {one.id: chance.choice(settled).id for one in chance.sample(sketches, 3)}
    rest = [one for one in sketches if one.id not in pinned]
    apart = {(one.id, chance.choice(settled).id) for one in rest}
    found = group(sketches, likeness, settled=settled, pinned=pinned, apart=apart)
    places = {one.request: one.theme for one in found.placed}
    assert {id: places[id] for id in pinned} == pinned
    assert not [pair for pair in apart if places[pair[0]] == pair[1]]


def test_every_request_is_placed_once(asked: Asked, likeness: Likeness) -> None:
    sketches = [one for one, _ in asked]
    found = group(sketches, likeness)
    assert [one.request for one in found.placed] == [one.id for one in sketches]
    assert sorted(id for theme in found.new for id in theme.members) == sorted(one.id for one in sketches)
    for theme in found.new:
        assert 1 <= len(theme.typical) <= 3
        assert set(theme.typical) <= set(theme.members)


def test_nothing_to_group() -> None:
    assert group([], None) == Grouping((), ())  # type: ignore[arg-type]


def test_two_dishes_named_in_plain_words_are_no_one_theme(
    likeness: Likeness, make_sketches: Callable[[dict[str, str]], list[Sketch]]
) -> None:
    """A vegan lasagne is no vegan brownie, however alike the two sentences sound."""
    vegan = make_sketches({"l": "Please do a vegan lasagne!", "b": "Any chance of vegan brownies, please?"})
    places = group(vegan, likeness).placed
    assert places[0].new != places[1].new


def test_who_would_be_left_alone_joins_a_near_theme_and_stays_in_doubt(
    likeness: Likeness, make_sketches: Callable[[dict[str, str]], list[Sketch]]
) -> None:
    """Between the two thresholds a place is taken, but looked at again; a refusal holds there, too."""
    stew = make_sketches({"a": "I'd love to see a slow cooker beef stew.", "b": "A slow cooker beef stew?"})
    late = make_sketches({"c": "What could simmer all day while I am at work? Beef, I think."})
    table = likeness.table([*stew, *late])
    score = float(likeness.between(table, table)[2, :2].mean())
    barred, lax = copy(likeness), copy(likeness)
    barred.threshold_, barred.lone_threshold_ = score + 0.01, score + 0.005
    lax.threshold_, lax.lone_threshold_ = score + 0.01, score - 0.01
    settled = [SettledTheme(7, "beef stew", tuple(stew))]
    assert group(late, barred, settled=settled).placed[0].theme is None
    [place] = group(late, lax, settled=settled).placed
    assert (place.theme, place.doubtful) == (7, True)
    assert group(late, lax, settled=settled, apart=[("c", 7)]).placed[0].theme is None
    together = group([*stew, *late], lax)
    assert len(together.new) == 1
    assert together.placed[2].doubtful
