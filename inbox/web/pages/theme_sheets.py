"""Pages beside a theme: taking requests out, the sheet for the kitchen, telling those who asked."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.pipeline.hand_themes import get_theme
from inbox.records.tables import Labels, MessageFault, Recipe
from inbox.records.tables_out import Reply, Telling, Theme, ThemeRank
from inbox.replies.telling import who_asked
from inbox.web.page import Page
from inbox.web.pages.choices import theme_choices
from inbox.web.pages.entries import excerpt
from inbox.web.pages.themes import Asked, facet_words, load_asked
from inbox.web.phrasing import Choice, said

SPLIT_AT_MOST = 300
NEAR = 0.3
"""Coverage from which a published recipe is named on the sheet; as in `ranking.reasons`."""


@dataclass(frozen=True)
class SplitPage(Page):
    """Requests of a theme to choose from, to make a theme of their own or to move."""

    template: ClassVar[str] = "requests/split.html"
    id: int
    name: str
    words: list[Asked]
    themes: list[Choice]
    chosen: frozenset[int] = frozenset()
    typed_name: str = ""
    trouble: str = ""


def load_split(session: Session, theme_id: int) -> SplitPage:
    """The page on which requests are taken out."""
    theme = get_theme(session, theme_id)
    return SplitPage(
        id=theme.id,
        name=theme.name,
        words=load_asked(session, theme.id, SPLIT_AT_MOST),
        themes=[choice for choice in theme_choices(session, "choose a theme") if choice[0] != str(theme.id)],
    )


@dataclass(frozen=True)
class BriefPage(Page):
    """One sheet to take into the kitchen."""

    template: ClassVar[str] = "requests/brief.html"
    id: int
    name: str
    in_words: str
    facets: list[tuple[str, str]]
    covered_by: str
    due_on: date | None
    words: list[Asked]
    fears: list[str]


def load_brief(session: Session, theme_id: int) -> BriefPage:
    """What people want, for whom, what they fear, in their words."""
    theme = get_theme(session, theme_id)
    rank = session.get(ThemeRank, theme.id)
    return BriefPage(
        id=theme.id,
        name=theme.name,
        in_words=rank.in_words if rank else "",
        facets=facet_words(theme.facets),
        covered_by=theme.covered_by.title if theme.covered_by and theme.coverage >= NEAR else "",
        due_on=theme.bench_due_on,
        words=load_asked(session, theme.id, 8),
        fears=_fears(session, theme),
    )


def _fears(session: Session, theme: Theme) -> list[str]:
    """Faults that readers report of the nearest recipe, commonest first."""
    if theme.covered_by_id is None:
        return []
    rows = session.execute(
        select(MessageFault.fault, func.count())
        .join(Labels, Labels.message_id == MessageFault.message_id)
        .where(Labels.recipe_id == theme.covered_by_id)
        .group_by(MessageFault.fault)
        .order_by(func.count().desc())
        .limit(4)
    ).all()
    return [f"{said(fault)} ({count})" for fault, count in rows]


@dataclass(frozen=True)
class TellPage(Page):
    """Those who asked to be told, and the note to them."""

    template: ClassVar[str] = "requests/tell.html"
    id: int
    name: str
    recipe: str
    askers: list[tuple[int, str, datetime, str]]
    told_count: int
    body: str = ""
    trouble: str = ""


def load_tell(session: Session, theme_id: int) -> TellPage:
    """The page from which those who asked are told."""
    theme = get_theme(session, theme_id)
    recipe = session.get(Recipe, theme.recipe_id) if theme.recipe_id else None
    telling = session.scalar(select(Telling).where(Telling.theme_id == theme.id))
    told = select(func.count(Reply.id)).join(Telling, Telling.id == Reply.telling_id)
    told = told.where(Telling.theme_id == theme.id)
    return TellPage(
        id=theme.id,
        name=theme.name,
        recipe=recipe.title if recipe else "",
        askers=[
            (asker.message_id, asker.name or asker.address, asker.asked_at, excerpt(asker.words, 160))
            for asker in who_asked(session, theme.id)
        ],
        told_count=session.scalar(told) or 0,
        body=telling.body if telling else "",
    )
