"""Taking words out: the ways, and the sheet of quotations."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from sqlalchemy.orm import Session

from inbox.records.revisions import get_recipe
from inbox.records.search import Search, find, messages_of
from inbox.replies.phrases import first_name
from inbox.web.page import Page
from inbox.web.pages.choices import recipe_choices
from inbox.web.phrasing import Choice

QUOTATIONS_SHOWN = 100


@dataclass(frozen=True)
class TakeOutPage(Page):
    """The ways out."""

    template: ClassVar[str] = "readers/take_out.html"
    recipes: list[Choice]


def load_take_out(session: Session) -> TakeOutPage:
    """The page of the ways out."""
    return TakeOutPage(recipe_choices(session, "all recipes"))


@dataclass(frozen=True)
class Quotation:
    """Words that a reader allowed to be quoted."""

    message_id: int
    words: str
    name: str
    when: datetime
    recipe: str


@dataclass(frozen=True)
class QuotationsPage(Page):
    """A sheet of quotations, to print or to copy from."""

    template: ClassVar[str] = "readers/quotations.html"
    recipe: str
    slug: str
    quotations: list[Quotation]


def load_quotations(session: Session, slug: str) -> QuotationsPage:
    """Only messages whose reader allowed it; made-it reports that worked come by themselves first."""
    recipe = get_recipe(session, slug) if slug else None
    search = Search(recipe_id=recipe.id if recipe else None, quotable=True)
    found = messages_of(session, find(session, search, limit=QUOTATIONS_SHOWN).ids)
    ordered = sorted(found, key=lambda row: not (row.labels and row.labels.outcome == "worked"))
    return QuotationsPage(
        recipe=recipe.title if recipe else "",
        slug=slug,
        quotations=[
            Quotation(
                message_id=row.id,
                words=row.text,
                name=first_name(row.reader.name if row.reader else None) or "A reader",
                when=row.received_at,
                recipe=row.labels.recipe.title if row.labels and row.labels.recipe else "",
            )
            for row in ordered
        ],
    )
