from inbox.reading.findings import CatalogueRecipe
from inbox.themes.coverage import coverage
from inbox.themes.facets import read_facets
from inbox.themes.grouping import SettledTheme, group
from inbox.themes.likeness import fit_likeness
from inbox.themes.requests import Request
from inbox.themes.sketches import Sketch, sketch

TEXTS = {
    "a": "Any chance of a gluten-free sandwich loaf, please?",
    "b": "My wife is coeliac and misses toast. Could you do a sandwich bread for her?",
    "c": "Please make a dairy-free lasagne!",
    "d": "A lasagne without milk or butter would be lovely.",
    "e": "I'd love to see a slow cooker beef stew.",
}
KEYS = ["bread", "bread", "lasagne", "lasagne", "stew"]


def sketches() -> list[Sketch]:
    return sketch([Request(id, text) for id, text in TEXTS.items()])


def test_like_requests_form_a_theme_and_settled_ones_attract() -> None:
    made = sketches()
    likeness = fit_likeness(made, KEYS)
    first = group(made[:3], likeness)
    assert len(first.placed) == 3
    theme = SettledTheme(7, "dairy-free lasagne", (made[2],))
    later = group(made[3:], likeness, settled=[theme], apart=[("d", 7)])
    assert later.placed[0].theme is None
    assert group(made[3:], likeness, settled=[theme], pinned={"e": 7}).placed[1].theme == 7


def test_sketch_survives_packing() -> None:
    one = sketches()[1]
    again = Sketch.unpack(one.pack())
    assert again.wanted == one.wanted
    assert again.vector @ one.vector > 0.999


def test_recipe_that_answers_covers_and_one_against_the_diet_does_not() -> None:
    theme = read_facets("gluten-free banana bread")
    oat = CatalogueRecipe("oat", "Oat Flour Banana Bread", tags={"diet": ["gluten-free"]})
    plain = CatalogueRecipe("plain", "Banana Bread")
    assert coverage(theme, [plain, oat]).slug == "oat"
    assert coverage(theme, [plain]).share == 0.0
