import json

import pytest

from inbox.errors import InputError
from inbox.places import seed_folder
from inbox.ranking.causes import (
    Words,
    advise,
    fault_table,
    questions_to_ask,
    read_fault_table,
    to_explain,
)
from inbox.ranking.recipe_measures import MEASURES, take_apart
from inbox.reading.findings import CatalogueRecipe
from inbox.words import FAULTS, RECIPE_PAGE_FAULTS

CUSTARD = CatalogueRecipe(
    "custard-tart",
    "Custard Tart",
    ingredients=(
        "320 g shortcrust pastry",
        "500 ml whole milk",
        "4 egg yolks",
        "80 g caster sugar",
        "20 g cornflour",
    ),
    steps=(
        "Line a 20 cm tin with the pastry.",
        "Heat the custard until it bubbles, pour it in and bake at 180 C.",
    ),
)
SPONGE = CatalogueRecipe(
    "sponge",
    "Sponge",
    ingredients=("200 g plain flour", "3 tbsp baking powder", "200 g soft butter", "200 g sugar", "4 eggs"),
    steps=("Fold in the flour.", "Bake in a lined tin for 25 minutes until a skewer comes out clean."),
)


def measured(name: str, recipe: CatalogueRecipe) -> tuple[str, str] | None:
    finding = MEASURES[name](take_apart(recipe))
    return None if finding is None else (finding.state, finding.text)


def test_every_fault_has_a_row_and_every_cause_a_source() -> None:
    table = fault_table()
    assert tuple(table) == FAULTS
    for code, row in table.items():
        assert row.name
        assert row.ask
        assert bool(row.causes) == (code not in RECIPE_PAGE_FAULTS)
        assert all(cause.source and cause.why.endswith(".") for cause in row.causes)
        assert all("no source" in cause.source or len(cause.source) > 20 for cause in row.causes)


def test_a_row_that_names_something_unknown_is_refused() -> None:
    raw = json.loads((seed_folder() / "faults.json").read_text(encoding="utf-8"))
    raw["faults"][0]["causes"][0]["measure"] = "phase_of_the_moon"
    with pytest.raises(InputError, match=r"'dense'.*phase_of_the_moon"):
        read_fault_table(json.dumps(raw))
    raw["faults"] = raw["faults"][1:]
    with pytest.raises(InputError, match="no row for dense"):
        read_fault_table(json.dumps(raw))


def test_what_the_recipe_leaves_open_comes_first() -> None:
    first, *rest = advise("did_not_set", take_apart(CUSTARD))
    assert first.finding is not None
    assert first.finding.text == "No step gives a temperature to check by."
    assert first.in_words.endswith("No step gives a temperature to check by.")
    assert all("pineapple" not in cause.why for cause in rest), (
        "no gelatine, so its enzymes are no cause here"
    )


def test_readers_words_are_counted_by_reader_and_open_to_messages() -> None:
    words = [
        Words(11, "a", "Took it off the heat at the first bubble, as the step says, and it stayed runny."),
        Words(12, "a", "Again: off the heat as soon as it bubbled."),
        Words(13, "b", "It never set. I took it off as soon as I saw a bubble"),
        Words(14, "c", "Soup."),
    ]
    first, *_ = advise("did_not_set", take_apart(CUSTARD), words)
    assert (first.said_by, first.reader_count, first.of_readers) == ((11, 12, 13), 2, 3)
    assert first.in_words.endswith("Two of three with this fault speak of it.")


def test_raising_agent_is_weighed_against_the_flour() -> None:
    state, text = measured("raising_agent", SPONGE) or ("", "")
    assert state == "unusual"
    assert text.startswith("9 tsp baking powder to 200 g of flour, as strong as 5.6 tsp powder to 125 g")
    usual = CatalogueRecipe("s", "S", ingredients=("250 g flour", "2 tsp baking powder", "2 eggs"))
    assert (measured("raising_agent", usual) or ("",))[0] == "fine"
    none = CatalogueRecipe("s", "S", ingredients=("250 g flour", "2 eggs"))
    assert measured("raising_agent", none) == ("missing", "No raising agent is listed for 250 g of flour.")
    assert measured("raising_agent", CUSTARD) is None


def test_tin_oven_and_fan() -> None:
    assert measured("tin_size", SPONGE) == ("missing", "No step gives the size of the tin.")
    assert measured("tin_size", CUSTARD) == ("fine", "The size of the tin is given (20 cm).")
    assert measured("oven_temperature", SPONGE) == ("missing", "No step gives an oven temperature.")
    assert measured("fan_said", CUSTARD) == (
        "missing",
        "180 °C is given, but not whether with or without fan.",
    )
    fan = CatalogueRecipe("f", "F", steps=("Bake at 180 C / 160 C fan.",))
    assert (measured("fan_said", fan) or ("",))[0] == "fine"


def test_amounts_that_decide() -> None:
    assert measured("setting_agent", CUSTARD) == (
        "fine", "20 g of cornflour to 501 g of liquid: 20 g to 500 ml; usual is 12 to 60 g."
    )  # fmt: skip
    jelly = CatalogueRecipe("j", "J", ingredients=("2 leaves gelatine", "500 ml juice", "1 pineapple"))
    assert (measured("setting_agent", jelly) or ("",))[0] == "unusual"
    assert (measured("enzyme_fruit", jelly) or ("",))[0] == "unusual"
    loaf = CatalogueRecipe(
        "l", "L", ingredients=("500 g flour", "18 g salt", "7 g dried yeast", "320 ml water")
    )
    assert (measured("salt_to_flour", loaf) or ("",))[0] == "unusual"
    assert (measured("hydration", loaf) or ("",))[0] == "fine"
    assert (measured("yeast", loaf) or ("",))[0] == "missing"
    cups = CatalogueRecipe("c", "C", ingredients=("2 cups flour",))
    assert measured("weights_given", cups) == ("unusual", "“2 cups flour” gives cups and no weight.")


def test_measures_stand_an_empty_recipe() -> None:
    for name in MEASURES:
        measured(name, CatalogueRecipe("e", "E"))
    for fault in FAULTS:
        advise(fault, take_apart(CatalogueRecipe("e", "E")))


def test_what_the_reader_has_said_is_not_asked_again() -> None:
    asked = questions_to_ask(["did_not_set"], "It never set.")
    assert asked[0] == "What did a thermometer say in the middle when you took it off or out?"
    later = questions_to_ask(
        ["did_not_set"], "The thermometer said 80 when I took it off, and it chilled overnight."
    )
    assert later == ["Which milk, cream or yoghurt did you use, and how fat is it?"]


def test_two_faults_take_turns() -> None:
    asked = questions_to_ask(["did_not_set", "stuck"], "A mess.", most=2)
    assert asked == [
        "What did a thermometer say in the middle when you took it off or out?",
        "How was the tin lined or greased?",
    ]
    assert questions_to_ask([], "A mess.") == []


def test_faults_that_several_tell_of_are_explained_before_a_single_one() -> None:
    one = {"fault": "crumbly", "stands_out": False, "reader_count": 1}
    two = {"fault": "too_thick", "stands_out": False, "reader_count": 2}
    rare = {"fault": "did_not_set", "stands_out": True, "reader_count": 1}

    assert to_explain([rare, two, one]) == ["did_not_set", "too_thick"]
    assert to_explain([one]) == ["crumbly"]


def test_no_fault_of_flour_is_looked_for_where_there_is_none() -> None:
    pots = take_apart(
        CatalogueRecipe(
            "pots", "Lemon Pots", ingredients=("600 ml double cream", "2 lemons"), steps=("Warm the cream.",)
        )
    )

    assert [cause.why for cause in advise("crumbly", pots) if "flour" in cause.why] == []
    assert "No step boils the cream." in " ".join(cause.in_words for cause in advise("did_not_set", pots))
