"""What the model makes of sentences, and that it does not get worse on a site it was not trained on."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from inbox.errors import InputError
from inbox.reading.evaluate import compare
from inbox.reading.findings import CatalogueRecipe, Labelled, RecipeLink, Told
from inbox.reading.kept_rows import encode_known
from inbox.reading.model import ReadingModel
from inbox.reading.outcomes import ENDINGS
from inbox.reading.prepared import cut_clauses, prepare
from inbox.reading.saved import load_or_train
from inbox.reading.text import words
from inbox.reading.training import seed_messages
from inbox.words import FAULTS, KINDS, OUTCOMES

HELD_OUT = "world"
FLOOR = {"kinds": 0.88, "outcome": 0.77, "faults": 0.72, "hazard recall": 0.96, "hazard precision": 0.75}
"""Recorded on this site 2026-11-28, less a margin of about three points for another machine's last digits."""


@pytest.fixture(scope="module")
def model(trained_folder: Path) -> ReadingModel:
    return load_or_train(trained_folder)


@pytest.fixture(scope="module")
def read(model: ReadingModel):
    return lambda text, **more: model.read([Told(text, **more)], [])[0]


def test_a_site_that_was_not_trained_on_is_read_no_worse_than_recorded() -> None:
    messages = seed_messages()
    ready = prepare([message.told for message in messages], encoder=encode_known)
    site = np.array([message.site for message in messages])
    train, test = np.flatnonzero(site != HELD_OUT), np.flatnonzero(site == HELD_OUT)
    model = ReadingModel.train([messages[row] for row in train], prepared=ready.take(train))
    readings = model.read_prepared(ready.take(test), [RecipeLink(None)] * len(test))
    figures = compare([messages[row] for row in test], readings)
    reached = {
        "kinds": figures["kinds"]["macro_f1"],
        "outcome": figures["outcome"]["macro_f1"],
        "faults": figures["faults"]["micro_f1"],
        "hazard recall": figures["hazards"]["recall"],
        "hazard precision": figures["hazards"]["precision"],
    }
    assert {key: value for key, value in reached.items() if value < FLOOR[key]} == {}


@pytest.mark.parametrize(
    ("text", "kinds"),
    [
        ("Made this last night, delicious, the kids loved it.", {"made_it"}),
        ("This killer loaf was gone in minutes. Baking it again tomorrow!", {"made_it"}),
        ("Could you please do a dairy-free version of the lemon tart?", {"request"}),
        ("Can I freeze the dough before the second rise?", {"question"}),
        ("The print button doesn't work on my phone.", {"problem"}),
        ("Looks amazing, can't wait to try it!", {"comment"}),
        ("Boost your site's ranking with our SEO backlinks, click https://seo.example now", {"junk"}),
    ],
)
def test_plain_messages_have_plain_kinds(read, text: str, kinds: set[str]) -> None:
    assert set(read(text).kinds) == kinds


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("The cake sank in the middle when I took it out of the oven.", "sank"),
        ("I made it yesterday and it was far too salty for us.", "too_salty"),
        ("It never set, even after a night in the fridge. Complete soup.", "did_not_set"),
        ("The whole thing stuck to the tin and came out in pieces.", "stuck"),
        ("Made this and it was really bland, needed a lot more seasoning.", "bland"),
        ("Came out dense and heavy as a brick.", "dense"),
    ],
)
def test_a_plain_fault_is_found(read, text: str, fault: str) -> None:
    reading = read(text)
    assert "problem" in reading.kinds
    assert fault in reading.faults


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("Made it on Sunday and it did not sink at all, perfect!", "sank"),
        ("Lovely and moist, not dry in the slightest. Everyone had seconds.", "dry"),
        ("It wasn't too sweet, just right for us. Will make again.", "too_sweet"),
        ("Will the cookies spread if I skip the chilling?", "spread"),
    ],
)
def test_a_fault_that_did_not_happen_is_none(read, text: str, fault: str) -> None:
    assert fault not in read(text).faults


@pytest.mark.parametrize(
    ("text", "outcome"),
    [
        ("Absolutely delicious, came out perfectly, will make it again and again.", "worked"),
        ("Total disaster. It never set and the whole thing went in the bin.", "failed"),
        ("Lovely flavour but it was very dry and crumbled when I cut it.", "mixed"),
    ],
)
def test_a_plain_verdict_is_read(read, text: str, outcome: str) -> None:
    assert read(text).outcome == outcome


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("Three of us were violently sick all night after eating this chicken.", "illness"),
        ("My son came out in hives. You label it nut-free but the pesto has cashews in it!", "allergen"),
        ("The glass dish exploded in the oven and I cut my hand badly.", "injury"),
        ("I keep jars of garlic in oil on the kitchen counter for months, is that fine?", "preserving_risk"),
        ("My dog ate half the tray of chocolate brownies, should I worry?", "pet"),
        ("I bit down on a piece of metal in the stew.", "foreign_object"),
        ("The chicken was still pink at the bone but we ate it anyway.", "undercooked_risk"),
    ],
)
def test_a_hazard_is_found_with_the_words_that_say_so(read, text: str, code: str) -> None:
    hazard = read(text).hazard
    assert hazard is not None
    assert hazard.code == code
    assert hazard.words
    assert all(words in text for words in hazard.words)


@pytest.mark.parametrize(
    "text",
    [
        "This is a killer loaf, thank you!",
        "Sick dish! Dangerously good, I could eat the whole tray.",
        "To die for. My husband nearly killed me for the last slice.",
        "Made this for tea and everyone loved it.",
        "Lovely crisp crust and a soft crumb.",
    ],
)
def test_words_that_only_sound_dangerous_raise_no_alarm(read, text: str) -> None:
    assert read(text).hazard is None


def test_a_reading_is_whole(model: ReadingModel) -> None:
    catalogue = [CatalogueRecipe("rye", "Seeded Rye Loaf")]
    [reading] = model.read([Told("Made it, it sank.", page="rye", stars=1.0)], catalogue)
    assert set(reading.kind_probabilities) == set(KINDS)
    assert set(reading.outcome_probabilities) == set(ENDINGS)
    assert sum(reading.outcome_probabilities.values()) == pytest.approx(1)
    assert reading.recipe.slug == "rye"
    assert min(reading.fault_probabilities.values()) >= 0.05
    assert model.read([], catalogue) == []


def test_odd_messages_are_read_too(model: ReadingModel) -> None:
    odd = ["", " ", "👍", "?", "1", "ß" * 50, "word " * 9000, "\x00\u200b"]
    assert len(model.read([Told(text) for text in odd], [])) == len(odd)


def test_another_language_is_told(read) -> None:
    assert read("Bonjour, la pâte n'a pas levé du tout, que dois-je faire ?").language == "fr"


def _words_of(told: Told) -> set[str]:
    return {word for clause in cut_clauses([told])[0] for word in words(clause)}


def test_the_words_that_weighed_are_the_readers_own(model: ReadingModel) -> None:
    told = Told("Please could you do a vegan version? I would love one.", stars=2)
    weighed = model.explain(told)
    assert set(weighed) == {*KINDS, *OUTCOMES, *FAULTS}
    assert {"version", "vegan", "please"} < {name for name, weight in weighed["request"].words if weight > 0}
    for one in [told, *(message.told for message in seed_messages()[::41])]:
        own = _words_of(one)
        for found in model.explain(one).values():
            assert 0 <= found.share_in_words <= 1
            for name, _ in found.words:
                assert set(words(name.replace("(not) ", ""))) <= own


def test_without_the_strongest_words_it_is_less_sure(model: ReadingModel) -> None:
    """Of shipped messages with each kind they were read as; the sense of the whole may outweigh a word."""
    lower = tried = 0
    for message in seed_messages()[::23]:
        told = message.told
        [reading] = model.read([told], [])
        for kind in reading.kinds:
            names = [name for name, weight in model.explain(told)[kind].words if weight > 0][:2]
            without = told.text
            for name in names:
                pattern = r"\W+".join(map(re.escape, name.replace("(not) ", "").split()))
                without = re.sub(rf"\b{pattern}", "", without, flags=re.IGNORECASE)
            if without != told.text:
                [again] = model.read([replace(told, text=without)], [])
                tried += 1
                lower += again.kind_probabilities[kind] < reading.kind_probabilities[kind]
    assert tried > 100
    assert lower / tried > 0.85


def test_faults_are_explained_by_their_signs(model: ReadingModel) -> None:
    assert "raw" in model.explain(Told("Followed it exactly, it came out raw."))["undercooked"].words[0][0]
    denied = model.explain(Told("It was not raw at all"))["undercooked"].words
    assert all(weight < 1 for _, weight in denied)


def test_stars_are_named_where_they_weigh() -> None:
    """No shipped message has stars; an owner's readers give them, and the model learns what they mean."""
    rated = [
        replace(one, told=replace(one.told, stars=1.0 if "problem" in one.kinds else 5.0))
        for one in seed_messages()[::8]
    ]
    weighed = ReadingModel.train(rated).explain(Told("Followed it, here is how it was.", stars=1))
    assert "the one star" in [name for name, weight in weighed["problem"].signs if weight > 0]
    assert "the one star" in [name for name, weight in weighed["worked"].signs if weight < 0]


def test_the_same_messages_give_the_same_model() -> None:
    some = seed_messages()[::6]
    told = [message.told for message in some[:40]]
    ready = prepare([message.told for message in some], encoder=encode_known)
    first, second = (ReadingModel.train(some, prepared=ready) for _ in range(2))
    assert first.version == second.version
    assert first.read(told, []) == second.read(told, [])
    assert ReadingModel.train(some, seed=1, prepared=ready).version != first.version


def test_too_few_messages_are_refused() -> None:
    one = Labelled("1", Told("Lovely."), frozenset({"comment"}))
    with pytest.raises(InputError, match="at least 20"):
        ReadingModel.train([one])


def test_messages_that_all_are_of_one_kind_can_be_trained_on() -> None:
    alike = [
        Labelled(str(n), Told(f"Lovely bake number {n}."), frozenset({"made_it"}), "worked")
        for n in range(24)
    ]
    [reading] = ReadingModel.train(alike).read([Told("Lovely bake.")], [])
    assert (reading.kinds, reading.faults, reading.hazard) == (("made_it",), (), None)
