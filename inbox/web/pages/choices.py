"""What a person can choose from on several pages: kinds, faults, recipes, themes."""

from functools import cache

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.records.tables import Recipe
from inbox.records.tables_out import Theme
from inbox.web.phrasing import Choice, said


def recipe_choices(session: Session, empty: str = "") -> list[Choice]:
    """Slug and title of every recipe, in order of title; first the empty choice in these words."""
    rows = session.execute(select(Recipe.slug, Recipe.title).order_by(Recipe.title)).all()
    return [("", empty), *((slug, title) for slug, title in rows)]


def theme_choices(session: Session, empty: str = "") -> list[Choice]:
    """Number and name of every living theme, in order of name."""
    rows = session.execute(
        select(Theme.id, Theme.name).where(Theme.merged_into_id.is_(None)).order_by(Theme.name)
    ).all()
    return [("", empty), *((str(number), name) for number, name in rows)]


@cache
def word_choices(words: tuple[str, ...], empty: str = "") -> tuple[Choice, ...]:
    """Codes of a closed list and how people say them."""
    return (("", empty), *((word, said(word)) for word in words))
