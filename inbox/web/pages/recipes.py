"""The catalogue with how each recipe does."""

from dataclasses import dataclass
from typing import ClassVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.records.tables import Labels, MessageFault, Recipe
from inbox.records.tables_out import Mended, RecipeStanding
from inbox.web.page import Page
from inbox.web.phrasing import said
from inbox.words import RECIPE_PAGE_FAULTS, STANDINGS


@dataclass(frozen=True)
class RecipeLine:
    """One recipe in the catalogue."""

    slug: str
    title: str
    standing: str
    reader_count: int
    share: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class PageFaultLine:
    """A fault of a recipe's page that readers told of and that is not mended."""

    slug: str
    title: str
    fault: str
    code: str
    count: int


@dataclass(frozen=True)
class RecipesPage(Page):
    """All recipes, those in trouble first."""

    template: ClassVar[str] = "recipes/list.html"
    groups: list[tuple[str, list[RecipeLine]]]
    usual: float | None
    page_faults: list[PageFaultLine]


def load_recipes(session: Session) -> RecipesPage:
    """The catalogue by standing, surest first."""
    rows = session.execute(
        select(Recipe.slug, Recipe.title, RecipeStanding)
        .outerjoin(RecipeStanding, RecipeStanding.recipe_id == Recipe.id)
        .order_by(RecipeStanding.share.desc(), Recipe.title)
    ).all()
    groups: dict[str, list[RecipeLine]] = {standing: [] for standing in STANDINGS}
    for slug, title, row in rows:
        standing = row.standing if row else "too_few_reports"
        groups[standing].append(
            RecipeLine(
                slug=slug,
                title=title,
                standing=standing,
                reader_count=row.reader_count if row else 0,
                share=row.share if row else None,
                low=row.low if row else None,
                high=row.high if row else None,
            )
        )
    usual = next((row.details.get("catalogue_share") for _, _, row in rows if row), None)
    return RecipesPage(
        groups=[(said(standing), lines) for standing, lines in groups.items() if lines],
        usual=usual,
        page_faults=open_page_faults(session),
    )


def open_page_faults(session: Session, recipe_id: int | None = None) -> list[PageFaultLine]:
    """Faults of recipes' pages told of since they were last mended; one report is enough."""
    last_mended = (
        select(func.max(Mended.mended_at))
        .where(Mended.recipe_id == Recipe.id, Mended.what == MessageFault.fault)
        .correlate(Recipe, MessageFault)
        .scalar_subquery()
    )
    query = (
        select(Recipe.slug, Recipe.title, MessageFault.fault, func.count())
        .join(Labels, Labels.recipe_id == Recipe.id)
        .join(MessageFault, MessageFault.message_id == Labels.message_id)
        .where(
            MessageFault.fault.in_(RECIPE_PAGE_FAULTS),
            (last_mended.is_(None)) | (Labels.received_at > last_mended),
        )
        .group_by(Recipe.id, Recipe.slug, Recipe.title, MessageFault.fault)
        .order_by(func.count().desc(), Recipe.title)
        .limit(60)
    )
    if recipe_id is not None:
        query = query.where(Recipe.id == recipe_id)
    return [
        PageFaultLine(slug, title, said(fault), fault, count)
        for slug, title, fault, count in session.execute(query)
    ]
