"""The catalogue with how each recipe does."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.ranking.page_places import find_place
from inbox.records.lines import lines_of
from inbox.records.page_faults import ToldOf, most_told
from inbox.records.tables import Recipe
from inbox.records.tables_out import RecipeStanding
from inbox.web.page import Page
from inbox.web.pages.entries import excerpt, name_of
from inbox.web.phrasing import said
from inbox.words import STANDINGS

FAULTS_SHOWN = 60


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
        select(
            Recipe.slug,
            Recipe.title,
            RecipeStanding.standing,
            RecipeStanding.reader_count,
            RecipeStanding.share,
            RecipeStanding.low,
            RecipeStanding.high,
        )
        .outerjoin(RecipeStanding, RecipeStanding.recipe_id == Recipe.id)
        .order_by(RecipeStanding.share.desc(), Recipe.title)
    ).all()
    groups: dict[str, list[RecipeLine]] = {standing: [] for standing in STANDINGS}
    for row in rows:
        standing = row.standing or "too_few_reports"
        groups[standing].append(
            RecipeLine(
                slug=row.slug,
                title=row.title,
                standing=standing,
                reader_count=row.reader_count or 0,
                share=row.share,
                low=row.low,
                high=row.high,
            )
        )
    details = session.scalar(select(RecipeStanding.details).limit(1)) or {}
    return RecipesPage(
        groups=[(said(standing), lines) for standing, lines in groups.items() if lines],
        usual=details.get("catalogue_share"),
        page_faults=page_fault_lines(session, most_told(session, FAULTS_SHOWN)),
    )


def page_fault_lines(session: Session, told: Sequence[ToldOf]) -> list[PageFaultLine]:
    """These faults with their newest reports, and the place that each report points to."""
    ids = [number for one in told for number in one.newest]
    messages = {line.id: line for line in lines_of(session, ids)}
    return [
        PageFaultLine(
            slug=one.recipe.slug,
            title=one.recipe.title,
            fault=said(one.fault),
            code=one.fault,
            count=one.told_count,
            reports=[_placed(one.recipe, one.fault, messages[number]) for number in one.newest],
        )
        for one in told
    ]


def _placed(recipe: Recipe, fault: str, message: Any) -> PlacedReport:
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
