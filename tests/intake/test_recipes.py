import json
from datetime import datetime
from pathlib import Path

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.intake.recipe_ld import read_recipes
from inbox.intake.recipes import import_recipes
from inbox.records.tables import Message, Recipe, Revision
from tests.makers import make_message

LD = {
    "@context": "https://schema.org",
    "@graph": [
        {"@type": "WebPage", "name": "A page"},
        {
            "@type": ["Recipe", "NewsArticle"],
            "name": "Lemon &amp; thyme loaf",
            "url": "https://kitchen.example/lemon-thyme-loaf/",
            "datePublished": "2026-03-01T08:00:00+00:00",
            "recipeIngredient": ["250 g flour", "2 lemons"],
            "recipeInstructions": [
                {
                    "@type": "HowToSection",
                    "name": "Batter",
                    "itemListElement": [
                        {"@type": "HowToStep", "text": "Mix."},
                        {"@type": "HowToStep", "name": "Fold", "text": "<p>Fold gently.</p>"},
                    ],
                },
                "Bake for 40 minutes.",
            ],
            "recipeYield": ["1 loaf"],
            "keywords": "lemon, loaf",
        },
    ],
}


def page(document: object) -> bytes:
    return (
        f'<html><head><script type="application/ld+json">{json.dumps(document)}</script></head></html>'
    ).encode()


def test_recipe_in_a_graph_with_sections_is_read() -> None:
    (recipe,) = read_recipes(page(LD), name="loaf.html")
    assert recipe.slug == "lemon-thyme-loaf"
    assert recipe.title == "Lemon & thyme loaf"
    assert recipe.steps == ("Mix.", "Fold gently.", "Bake for 40 minutes.")
    assert recipe.ingredients == ("250 g flour", "2 lemons")
    assert str(recipe.published_on) == "2026-03-01"


def test_instructions_as_one_text_become_steps() -> None:
    record = {"@type": "Recipe", "name": "Soup", "recipeInstructions": "Chop.\nBoil.\n\nServe."}
    (recipe,) = read_recipes(json.dumps(record).encode(), name="soup.json")
    assert recipe.steps == ("Chop.", "Boil.", "Serve.")
    assert recipe.slug == "soup"


def test_changed_recipe_gets_a_noticed_revision(session: Session, now: datetime, tmp_path: Path) -> None:
    own = [{"slug": "loaf", "title": "Loaf", "ingredients": ["250 g flour"], "steps": ["Bake at 180 C."]}]
    path = tmp_path / "recipes.json"
    path.write_text(json.dumps(own))
    assert import_recipes(session, str(path), now=now).added == 1
    assert import_recipes(session, str(path), now=now).unchanged == 1
    own[0]["ingredients"] = ["200 g flour"]
    path.write_text(json.dumps(own))
    assert import_recipes(session, str(path), now=now).changed == 1
    revision = session.scalars(select(Revision)).one()
    assert revision.noticed
    assert revision.note == "ingredient “250 g flour” is now “200 g flour”"
    assert revision.before is not None
    assert revision.before["ingredients"] == ["250 g flour"]


def test_messages_that_came_before_the_catalogue_are_linked(
    session: Session, now: datetime, tmp_path: Path
) -> None:
    message = make_message(session, page_url="https://kitchen.example/lemon-thyme-loaf/#comments")
    path = tmp_path / "loaf.html"
    path.write_bytes(page(LD))
    import_recipes(session, str(path), now=now)
    session.refresh(message)
    assert message.page_recipe_id == session.scalar(select(Recipe.id))
    assert session.get_one(Message, message.id).page_recipe_id is not None


@pytest.mark.parametrize("content", [b"", b"<html>no recipe</html>", b"{broken", b"[]", b"plain words"])
def test_source_without_a_recipe_is_refused(
    session: Session, now: datetime, tmp_path: Path, content: bytes
) -> None:
    path = tmp_path / "source.html"
    path.write_bytes(content)
    with pytest.raises(InputError):
        import_recipes(session, str(path), now=now)
