"""What is read in the words: facets with their negations, the wish, names, coverage, packing."""

import pytest

from inbox.reading.findings import CatalogueRecipe
from inbox.themes.coverage import coverage, offer
from inbox.themes.facets import read_facets
from inbox.themes.naming import name_of
from inbox.themes.requests import Request, asked_for
from inbox.themes.sketches import Sketch, sketch
from inbox.themes.vocabulary import FACETS, vocabulary


@pytest.mark.parametrize(
    ("text", "diets"),
    [
        ("brownies with no eggs", {"egg_free"}),
        ("a cake without almonds", {"nut_free"}),
        ("my son can't have dairy", {"dairy_free"}),
        ("carrot cake minus the nuts", {"nut_free"}),
        ("no onion or garlic", {"low_fodmap"}),
        ("no eggs or butter, please", {"egg_free", "dairy_free", "vegan"}),
        ("without the raisins", {"no_grape"}),
        ("I can't find a good walnut cake", set()),
        ("almonds instead of walnuts", set()),
        ("coeliac", {"gluten_free"}),
        ("GF loaf", {"gluten_free"}),
        ("egg-free and nut-free", {"egg_free", "nut_free"}),
    ],
)
def test_what_is_left_out_is_a_diet(text: str, diets: set[str]) -> None:
    assert set(read_facets(text).diet) == diets


def test_what_replaces_is_wanted_and_what_is_replaced_is_not() -> None:
    assert set(read_facets("almonds instead of walnuts").ingredient) == {"almond"}


@pytest.mark.parametrize(
    ("text", "phrase"),
    [
        ("Lovely soup! Any chance of a dairy-free lasagne, please?", "dairy-free lasagne"),
        ("Could you please post a recipe for Scotch eggs?", "recipe for Scotch eggs"),
        ("I'm looking for eggless brownies. Thanks!", "eggless brownies"),
    ],
)
def test_phrase_is_the_wish_without_its_form(text: str, phrase: str) -> None:
    assert asked_for(Request("1", text)).phrase == phrase


def test_a_version_of_this_takes_the_dish_of_the_page() -> None:
    page = CatalogueRecipe("brownies", "Fudgy Brownies")
    wanted = asked_for(Request("1", "Please do a gluten-free version of this", recipe=page))
    assert set(wanted.facets.dish) == {"brownie"}
    assert set(wanted.facets.diet) == {"gluten_free"}
    other = asked_for(Request("1", "Please do a gluten-free lasagne", recipe=page))
    assert set(other.facets.dish) == {"lasagne"}


def test_empty_text_asks_for_nothing() -> None:
    assert asked_for(Request("1", "  ")).phrase == ""


@pytest.mark.parametrize(
    ("texts", "name"),
    [
        (("gluten-free sandwich bread please", "a gf sandwich loaf"), "gluten-free sandwich bread"),
        (("falafel in the air fryer?", "air fryer falafel"), "air fryer falafel"),
        (("a weekly menu please", "could you do a meal plan"), "weekly plan"),
        (("vegan Christmas cookies", "cookies for Christmas, plant based"), "vegan Christmas cookies"),
        (("a sausage roll without meat", "vegetarian sausage rolls"), "vegetarian sausage rolls"),
        (("cake with no eggs, no nuts", "nut-free, egg-free cake"), "egg- and nut-free cake"),
        (("a pie with chickpeas in it", "chickpea pie please"), "chickpea pie"),
        (("anything with jackfruit?", "jackfruit, please"), "jackfruit recipes"),
    ],
)
def test_names_are_noun_phrases(texts: tuple[str, ...], name: str) -> None:
    assert named(*texts) == name


def test_what_one_member_tells_beside_the_wish_is_not_in_the_name() -> None:
    texts = ("vegan lasagne for my toddler", "a plant based lasagne", "lasagne for vegans at Christmas?")
    assert named(*texts) == "vegan lasagne"


def test_what_is_read_between_the_lines_comes_into_the_name() -> None:
    members = sketch([Request(text, text) for text in ("that hot air basket", "the one that blows hot air")])
    assert name_of(members, {"air_fryer": 0.4}) == "air fryer recipes"
    assert name_of(members, {"air_fryer": 0.05}) != "air fryer recipes"


def test_two_themes_are_told_apart_by_one_more_word_if_there_is_one() -> None:
    members = sketch([Request(text, text) for text in ("vegan brownies", "vegan brownies for a picnic")])
    assert name_of(members) == "vegan brownies"
    assert name_of(members, taken={"vegan brownies"}) == "vegan picnic brownies"
    assert name_of(members, taken={"vegan brownies", "vegan picnic brownies"}) == "vegan brownies"


@pytest.mark.parametrize(
    "text",
    ["Please make what Marguerite Duval had", "Could you do number 42", "I wish for me@example.org"],
)
def test_no_name_address_or_number_of_a_reader_gets_into_a_name(text: str) -> None:
    assert named(text) == "something else"


def named(*texts: str) -> str:
    return name_of(sketch([Request(text, text) for text in texts]))


def test_name_without_known_words_is_the_reader_s_own() -> None:
    assert name_of(sketch([Request("1", "Please make a flumpet")])) == "flumpet"


def test_a_recipe_that_answers_covers_and_one_against_the_diet_does_not() -> None:
    theme = read_facets("gluten-free banana bread")
    oat = offer(CatalogueRecipe("oat", "Oat Flour Banana Bread", tags={"diet": ["gluten-free"]}))
    plain = offer(CatalogueRecipe("plain", "Banana Bread"))
    assert coverage(theme, [plain, oat]).slug == "oat"
    assert coverage(theme, [plain, oat]).share == 1.0
    assert coverage(theme, [plain]) == (0.0, None, "No recipe of yours comes near it.")


def test_a_vegan_recipe_answers_a_wish_without_eggs() -> None:
    vegan = offer(CatalogueRecipe("v", "Vegan Chocolate Cake"))
    assert coverage(read_facets("eggless chocolate cake"), [vegan]).slug == "v"


def test_sketch_survives_packing() -> None:
    page = CatalogueRecipe("lasagne", "Lasagne")
    one = sketch([Request("7", "A lasagne without milk would be lovely", "please", page)])[0]
    again = Sketch.unpack(one.pack())
    assert (again.id, again.wanted, again.text, again.page) == (one.id, one.wanted, one.text, one.page)
    assert again.vector @ one.vector > 0.999
    assert again.title is not None
    assert again.title @ one.title > 0.999


def test_vocabulary_is_sound() -> None:
    known = vocabulary().entries
    assert len(known) >= 770
    for entry in known.values():
        assert entry.facet in FACETS
        assert entry.parent is None or known[entry.parent].facet == entry.facet
        assert entry.lacking is None or known[entry.lacking].facet == "diet"
        assert vocabulary().lineage(entry.id)[0] == entry.id
