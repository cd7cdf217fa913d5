"""The catalogue with how each recipe does."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, joinedload

from inbox.ranking.page_places import find_place
from inbox.records.tables import Message, MessageFault, Recipe
from inbox.records.tables_out import Mended, RecipeStanding
from inbox.web.page import Page
from inbox.web.pages.entries import excerpt, name_of
from inbox.web.phrasing import said
from inbox.words import RECIPE_PAGE_FAULTS, STANDINGS

FAULTS_SHOWN, REPORTS_SHOWN = 60, 4


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
        page_faults=open_page_faults(session, reports_shown=1),
    )


def open_page_faults(
    session: Session, recipe_id: int | None = None, *, reports_shown: int = REPORTS_SHOWN
) -> list[PageFaultLine]:
    """Faults of recipes' pages told of since they were last mended; one report is enough."""
    told = _told_since_mended(recipe_id)
    counted = (
        told.with_only_columns(MessageFault.recipe_id, MessageFault.fault, func.count().label("told_count"))
        .group_by(MessageFault.fault, MessageFault.recipe_id)
        .subquery()
    )
    rows = session.execute(
        select(Recipe, counted.c.fault, counted.c.told_count)
        .join(counted, counted.c.recipe_id == Recipe.id)
        .order_by(counted.c.told_count.desc(), Recipe.title, counted.c.fault)
        .limit(FAULTS_SHOWN)
    ).all()
    recipes = {recipe.id: recipe for recipe, _, _ in rows}
    reports = _reports(session, told, recipes, reports_shown)
    return [
        PageFaultLine(recipe.slug, recipe.title, said(fault), fault, count, reports[recipe.id, fault])
        for recipe, fault, count in rows
    ]


def _told_since_mended(recipe_id: int | None) -> Select[int]:
    """Faults of pages, of one recipe or of all, that are not mended; one index answers it."""
    mended = (
        select(Mended.recipe_id, Mended.what, func.max(Mended.mended_at).label("at"))
        .where(Mended.what.in_(RECIPE_PAGE_FAULTS))
        .group_by(Mended.recipe_id, Mended.what)
        .subquery()
    )
    is_mended = (mended.c.recipe_id == MessageFault.recipe_id) & (mended.c.what == MessageFault.fault)
    query = (
        select(MessageFault.message_id)
        .outerjoin(mended, is_mended)
        .where(
            MessageFault.fault.in_(RECIPE_PAGE_FAULTS),
            MessageFault.recipe_id.is_not(None),
            mended.c.at.is_(None) | (MessageFault.received_at > mended.c.at),
        )
    )
    return query if recipe_id is None else query.where(MessageFault.recipe_id == recipe_id)


def _reports(
    session: Session, told: Select[int], recipes: Mapping[int, Recipe], shown: int
) -> dict[tuple[int, str], list[PlacedReport]]:
    """The newest reports of each recipe and fault, with the place that each points to."""
    place = func.row_number().over(
        partition_by=(MessageFault.fault, MessageFault.recipe_id),
        order_by=(MessageFault.received_at.desc(), MessageFault.message_id.desc()),
    )
    newest = (
        told.with_only_columns(
            MessageFault.message_id, MessageFault.recipe_id, MessageFault.fault, place.label("place")
        )
        .where(MessageFault.recipe_id.in_(recipes))
        .subquery()
    )
    rows = session.execute(
        select(newest.c.recipe_id, newest.c.fault, Message)
        .join(Message, Message.id == newest.c.message_id)
        .where(newest.c.place <= shown)
        .options(joinedload(Message.reader))
        .order_by(newest.c.place)
    )
    found: dict[tuple[int, str], list[PlacedReport]] = defaultdict(list)
    for recipe_id, fault, message in rows:
        found[recipe_id, fault].append(_placed(recipes[recipe_id], fault, message))
    return found


def _placed(recipe: Recipe, fault: str, message: Message) -> PlacedReport:
    place = find_place(fault, message.text, recipe.ingredients, recipe.steps)
    part = (
        "" if place is None else "the ingredients" if place.part == "ingredient" else f"step {place.number}"
    )
    return PlacedReport(
        message_id=message.id,
        who=name_of(message.reader),
        when=message.received_at,
        words=excerpt(message.text),
        part=part,
        line=place.text if place else "",
    )
