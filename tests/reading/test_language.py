"""The language of a message: what must be told apart, and what must stay English."""

from collections import Counter
from pathlib import Path

import pytest

from inbox.reading.language import detect_language

SENTENCES = Path(__file__).parent / "language_sentences.tsv"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("J'ai fait cette recette dimanche, c'était délicieux.", "fr"),
        ("Sehr lecker, danke für das Rezept!", "de"),
        ("¿Se puede hacer con nata vegetal?", "es"),
        ("Non è lievitato per niente.", "it"),
        ("Het deeg was veel te nat.", "nl"),
        ("Ficou uma delícia, obrigada!", "pt"),
        ("Ciasto mi nie wyrosło.", "pl"),
        ("Jättegott, tack för receptet!", "sv"),
        ("Virkelig lækker opskrift, tak!", "da"),
        ("Kjempegodt, takk for oppskriften!", "no"),
        ("Todella hyvää, kiitos reseptistä!", "fi"),
        ("Výborné, děkuji za recept!", "cs"),
        ("Очень вкусно, спасибо за рецепт!", "ru"),
        ("Дуже смачно, дякую за рецепт, діти у захваті.", "uk"),
        ("とても美味しかったです。", "ja"),
        ("很好吃，谢谢分享。", "zh"),
    ],
)
def test_another_language_is_told(text: str, code: str) -> None:
    assert detect_language(text) == code


@pytest.mark.parametrize(
    "text",
    [
        "The crème brûlée set beautifully.",
        "dulce de leche was great",
        "Pot au feu, coq au vin, all good",
        "Spaghetti aglio e olio, penne alla vodka, what next?",
        "Merci!",
        "Danke, it was lovely.",
        "moin moin no get egg, no get fish and e still sweet like this??",
        "Выпечка! I mean, the word is on the tin. It rose well and we ate it all.",
        "10/10",
        "🍩🍩🍩",
        "",
    ],
)
def test_a_foreign_dish_or_word_leaves_a_message_english(text: str) -> None:
    assert detect_language(text) == "en"


def test_capitals_and_curly_apostrophes_change_nothing() -> None:
    assert detect_language("C’ÉTAIT TRÈS BON, MERCI BEAUCOUP") == "fr"


def test_the_invented_sentences_are_read_as_well_as_when_they_were_first_measured() -> None:
    rows = [line.split("\t") for line in SENTENCES.read_text(encoding="utf-8").splitlines()]
    right = Counter((code == "en", detect_language(text) == code) for code, text in rows)
    assert right[False, True] / (right[False, True] + right[False, False]) >= 0.80
    assert right[True, True] / (right[True, True] + right[True, False]) >= 0.95
