"""The catalogue with how each recipe does."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session, joinedload

from inbox.ranking.page_places import find_place
from inbox.records.tables import Labels, Message, MessageFault, Recipe
from inbox.records.tables_out import Mended, RecipeStanding
from inbox.web.page import Page
from inbox.web.pages.entries import excerpt, name_of
from inbox.web.phrasing import said
from inbox.words import RECIPE_PAGE_FAULTS, STANDINGS

FAULTS_SHOWN, REPORTS_SHOWN, REPORTS_LOOKED_AT = 60, 4, 400


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
class PlacedReport:
    """One report of a page's fault, with the line of the recipe that it points to."""

    message_id: int
    who: str
    when: datetime
    words: str
    part: str
    line: str
    """As it stands in the recipe; empty where the words do not tell."""


@dataclass(frozen=True)
class PageFaultLine:
    """A fault of a recipe's page that readers told of and that is not mended."""

    slug: str
    title: str
    fault: str
    code: str
    count: int
    reports: list[PlacedReport]
    """The newest ones."""


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
    query = (
        select(Recipe, MessageFault.fault, func.count())
        .join(Labels, Labels.recipe_id == Recipe.id)
        .join(MessageFault, MessageFault.message_id == Labels.message_id)
        .where(*_not_mended())
        .group_by(Recipe.id, MessageFault.fault)
        .order_by(func.count().desc(), Recipe.title)
        .limit(FAULTS_SHOWN)
    )
    if recipe_id is not None:
        query = query.where(Recipe.id == recipe_id)
    rows = session.execute(query).all()
    reports = _reports(session, {recipe.id: recipe for recipe, _, _ in rows})
    return [
        PageFaultLine(recipe.slug, recipe.title, said(fault), fault, count, reports[recipe.id, fault])
        for recipe, fault, count in rows
    ]


def _not_mended() -> tuple[ColumnElement[bool], ...]:
    last_mended = (
        select(func.max(Mended.mended_at))
        .where(Mended.recipe_id == Labels.recipe_id, Mended.what == MessageFault.fault)
        .correlate(Labels, MessageFault)
        .scalar_subquery()
    )
    told_since = (last_mended.is_(None)) | (Labels.received_at > last_mended)
    return MessageFault.fault.in_(RECIPE_PAGE_FAULTS), told_since


def _reports(session: Session, recipes: Mapping[int, Recipe]) -> dict[tuple[int, str], list[PlacedReport]]:
    """The newest reports of each recipe and fault, with the place that each points to."""
    rows = session.execute(
        select(Labels.recipe_id, MessageFault.fault, Message)
        .join(MessageFault, MessageFault.message_id == Labels.message_id)
        .join(Message, Message.id == Labels.message_id)
        .where(Labels.recipe_id.in_(recipes), *_not_mended())
        .options(joinedload(Message.reader))
        .order_by(Labels.received_at.desc(), Message.id.desc())
        .limit(REPORTS_LOOKED_AT)
    )
    found: dict[tuple[int, str], list[PlacedReport]] = defaultdict(list)
    for recipe_id, fault, message in rows:
        told = found[recipe_id or 0, fault]
        if len(told) < REPORTS_SHOWN:
            told.append(_placed(recipes[recipe_id or 0], fault, message))
    return found


def _placed(recipe: Recipe, fault: str, message: Message) -> PlacedReport:
    place = find_place(fault, message.text, recipe.ingredients, recipe.steps)
    part = (
        "" if place is None else "the ingredients" if place.part == "ingredient" else f"step {place.number}"
    )
    return PlacedReport(
        message_id=message.id,
        who=name_of(message),
        when=message.received_at,
        words=excerpt(message.text),
        part=part,
        line=place.text if place else "",
    )
