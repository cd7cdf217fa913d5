"""The recipe link on a small invented catalogue: what points to a recipe, and what must leave it open."""

import pytest

from inbox.reading.findings import CatalogueRecipe, Told
from inbox.reading.recipe_link import CatalogueIndex, link_recipe

SITE = "https://oddspoon.example"
RECIPES = (
    CatalogueRecipe(
        "seeded-rye-loaf", "Seeded Rye Loaf", f"{SITE}/r/seeded-rye-loaf",
        ("300 g dark rye flour", "60 g sunflower seeds", "1 tbsp treacle"), ("Mix.", "Prove until doubled."),
    ),
    CatalogueRecipe(
        "tuesday-curry", "Tuesday Chicken Curry", f"{SITE}/r/tuesday-curry",
        ("6 chicken thighs", "150 g plain yogurt", "2 tsp garam masala"), ("Simmer in the yogurt.",),
    ),
    CatalogueRecipe(
        "chickpea-curry", "Chickpea and Spinach Curry", f"{SITE}/r/chickpea-curry",
        ("2 tins chickpeas", "200 g spinach"), ("Simmer until thick.",),
    ),
    CatalogueRecipe(
        "jam-doughnuts", "Plum Jam Doughnuts", f"{SITE}/r/jam-doughnuts",
        ("500 g flour", "200 g plum jam", "1 litre oil for frying"), ("Fry for two minutes a side.",),
    ),
    CatalogueRecipe(
        "courgette-fritters", "Courgette Fritters", f"{SITE}/r/courgette-fritters",
        ("3 courgettes", "100 g feta"), ("Grate and squeeze the courgettes.",),
    ),
    CatalogueRecipe(
        "lemon-cheesecake", "Baked Lemon Cheesecake", f"{SITE}/r/lemon-cheesecake",
        ("600 g cream cheese", "3 lemons", "digestive biscuits"), ("Bake until it wobbles.",),
    ),
)  # fmt: skip


@pytest.fixture(scope="module")
def index() -> CatalogueIndex:
    return CatalogueIndex(RECIPES)


@pytest.mark.parametrize(
    ("text", "slug"),
    [
        ("I made the seeded rye loaf and it was gorgeous.", "seeded-rye-loaf"),
        ("the rye one is my favourite", "seeded-rye-loaf"),
        ("your tuesday curry saved us", "tuesday-curry"),
        ("@oddspoon can i swap the yog in the tuesday one", "tuesday-curry"),
        ("Made the donuts with the kids, what fun", "jam-doughnuts"),
        ("the plum dough nuts leaked", "jam-doughnuts"),
        ("Your zucchini fritter recipe is a keeper", "courgette-fritters"),
        ("The baked lemon cheese cake cracked", "lemon-cheesecake"),
        ("the lemon cheescake cracked", "lemon-cheesecake"),
    ],
)
def test_titles_and_the_ways_they_are_shortened(index: CatalogueIndex, text: str, slug: str) -> None:
    assert link_recipe(Told(text), index).slug == slug


@pytest.mark.parametrize(
    "text",
    [
        "Fifth time making this, thank you!",
        "Too salty for us but the kids ate it.",
        "Happy new year to you and yours.",
        "Please could you do a proper lasagne?",
        "Made this on Tuesday and again on Sunday.",
        "",
    ],
)
def test_a_message_that_names_nothing_stays_open(index: CatalogueIndex, text: str) -> None:
    assert link_recipe(Told(text), index).slug is None


def test_a_word_of_two_titles_stays_open(index: CatalogueIndex) -> None:
    assert link_recipe(Told("The curry was too hot."), index).slug is None


def test_the_page_stands_before_the_words(index: CatalogueIndex) -> None:
    link = link_recipe(Told("Too salty for us.", page="chickpea-curry"), index)
    assert (link.slug, link.also) == ("chickpea-curry", ())
    assert "written on the page of “Chickpea and Spinach Curry”" in link.why


def test_a_recipe_named_beside_the_page_is_also_meant(index: CatalogueIndex) -> None:
    told = Told("Almost as good as your plum jam doughnuts!", page="lemon-cheesecake")
    link = link_recipe(told, index)
    assert (link.slug, link.also) == ("lemon-cheesecake", ("jam-doughnuts",))


def test_words_that_name_another_recipe_outright_move_the_link(index: CatalogueIndex) -> None:
    told = Told("The plum jam doughnuts soaked up all of the oil.", page="lemon-cheesecake")
    link = link_recipe(told, index)
    assert (link.slug, link.also) == ("jam-doughnuts", ("lemon-cheesecake",))
    assert "but its words name" in link.why


@pytest.mark.parametrize(
    "address",
    [
        "https://oddspoon.example/r/seeded-rye-loaf",
        "http://www.oddspoon.example/r/seeded-rye-loaf/?utm_source=letter#comments",
        "oddspoon.example/r/seeded-rye-loaf.",
    ],
)
def test_a_link_in_any_of_its_forms(index: CatalogueIndex, address: str) -> None:
    assert link_recipe(Told("see here", links=(address,)), index).slug == "seeded-rye-loaf"


def test_a_link_in_the_text_comes_before_words(index: CatalogueIndex) -> None:
    link = link_recipe(Told(f"The curry at {SITE}/r/chickpea-curry was bland."), index)
    assert link.slug == "chickpea-curry"


def test_an_address_on_another_site_says_nothing(index: CatalogueIndex) -> None:
    told = Told("see here", links=("https://elsewhere.example/seeded-rye-loaf",))
    assert link_recipe(told, index).slug is None


def test_a_recipe_that_moved_on_its_own_site_is_known_by_its_last_part(index: CatalogueIndex) -> None:
    told = Told("see here", links=("https://oddspoon.example/2019/seeded-rye-loaf",))
    assert link_recipe(told, index).slug == "seeded-rye-loaf"


def test_an_answer_belongs_to_the_recipe_of_its_thread(index: CatalogueIndex) -> None:
    link = link_recipe(Told("Thanks, that did it!", thread_recipe="lemon-cheesecake"), index)
    assert link.slug == "lemon-cheesecake"


def test_a_page_that_is_not_in_the_catalogue_is_passed_over(index: CatalogueIndex) -> None:
    assert link_recipe(Told("Lovely.", page="gone-since"), index).slug is None


def test_two_recipes_in_one_message(index: CatalogueIndex) -> None:
    link = link_recipe(Told("I made your seeded rye loaf and the plum jam doughnuts for the fete."), index)
    assert {link.slug, *link.also} == {"seeded-rye-loaf", "jam-doughnuts"}


def test_a_second_recipe_in_short(index: CatalogueIndex) -> None:
    link = link_recipe(
        Told("Your seeded rye loaf is our favourite. Next I did the doughnuts, lovely."), index
    )
    assert (link.slug, link.also) == ("seeded-rye-loaf", ("jam-doughnuts",))


@pytest.mark.parametrize(
    ("text", "slug"),
    [
        ("#plumjamdoughnuts for the win", "jam-doughnuts"),
        ("do i really need 150 g of yogurt and 6 chicken thighs", "tuesday-curry"),
        ("the courgete friters fell apart", "courgette-fritters"),
    ],
)
def test_hashtags_amounts_and_slips(index: CatalogueIndex, text: str, slug: str) -> None:
    assert link_recipe(Told(text), index).slug == slug


def test_the_reason_quotes_the_readers_own_words(index: CatalogueIndex) -> None:
    why = link_recipe(Told("Those courgette fritters!"), index).why
    assert why == "Its words “fritters”, “courgette” point to “Courgette Fritters”."


def test_one_index_serves_many_messages_alike(index: CatalogueIndex) -> None:
    told = Told("the rye one is my favourite")
    assert link_recipe(told, index) == link_recipe(told, CatalogueIndex(RECIPES))


def test_a_word_of_most_recipes_tells_nothing_outside_titles() -> None:
    recipes = [CatalogueRecipe(f"r{n}", f"Dish{n * 'x'}", ingredients=("butter", "sugar")) for n in range(40)]
    assert link_recipe(Told("lots of butter"), CatalogueIndex(recipes)).slug is None


def test_an_empty_catalogue_leaves_everything_open() -> None:
    assert link_recipe(Told("the rye one"), CatalogueIndex(())).slug is None
