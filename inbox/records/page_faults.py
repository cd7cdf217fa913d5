"""Faults of recipes' pages that readers told of: how often since each was last mended, and where.

Counting all of them is a walk over the archive, so the counts are kept: all are made anew when
recipes are judged, a recipe's own when a person mends something or labels a message. Start with
`most_told`.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from sqlalchemy import Select, delete, func, insert, select, true
from sqlalchemy.orm import Session

from inbox.records.tables import MessageFault, Recipe
from inbox.records.tables_out import Mended, PageFault
from inbox.words import RECIPE_PAGE_FAULTS


@dataclass(frozen=True, slots=True)
class ToldOf:
    """One fault of one recipe's page.

    Attributes
    ----------
    told_count : int
        Messages that told of it since it was last mended.
    newest : sequence of int
        Numbers of the newest of them, newest first.
    """

    recipe: Recipe
    fault: str
    told_count: int
    newest: Sequence[int]


def recount(session: Session, recipe_ids: Collection[int] | None = None) -> None:
    """Count anew how often each fault was told of since it was mended; of these recipes, or of all."""
    these = true() if recipe_ids is None else PageFault.recipe_id.in_(recipe_ids)
    session.execute(delete(PageFault).where(these))
    told = _told_since_mended(recipe_ids).with_only_columns(
        MessageFault.recipe_id, MessageFault.fault, func.count()
    )
    session.execute(
        insert(PageFault).from_select(
            ["recipe_id", "fault", "told_count"], told.group_by(MessageFault.recipe_id, MessageFault.fault)
        )
    )


def recipes_told_of(session: Session, message_ids: Collection[int]) -> set[int]:
    """Recipes of whose pages these messages tell a fault."""
    rows = select(MessageFault.recipe_id).where(
        MessageFault.message_id.in_(message_ids),
        MessageFault.fault.in_(RECIPE_PAGE_FAULTS),
        MessageFault.recipe_id.is_not(None),
    )
    return {number for number in session.scalars(rows) if number}


def most_told(session: Session, limit: int) -> list[ToldOf]:
    """Faults of all pages by their kept counts, the most told first, each with its newest message."""
    newest = (
        select(MessageFault.message_id)
        .where(MessageFault.fault == PageFault.fault, MessageFault.recipe_id == PageFault.recipe_id)
        .order_by(MessageFault.received_at.desc(), MessageFault.message_id.desc())
        .limit(1)
        .scalar_subquery()
    )
    rows = session.execute(
        select(Recipe, PageFault.fault, PageFault.told_count, newest)
        .join(PageFault, PageFault.recipe_id == Recipe.id)
        .order_by(PageFault.told_count.desc(), Recipe.title, PageFault.fault)
        .limit(limit)
    )
    return [ToldOf(recipe, fault, count, [number] if number else []) for recipe, fault, count, number in rows]


def told_of(session: Session, recipe: Recipe, newest_count: int) -> list[ToldOf]:
    """Faults of one recipe's page as they stand now, the most told first, each with its newest messages."""
    rows = session.execute(
        _told_since_mended([recipe.id])
        .with_only_columns(MessageFault.fault, MessageFault.message_id)
        .order_by(MessageFault.received_at.desc(), MessageFault.message_id.desc())
    )
    found: dict[str, list[int]] = {}
    for fault, message_id in rows:
        found.setdefault(fault, []).append(message_id)
    return [
        ToldOf(recipe, fault, len(ids), ids[:newest_count])
        for fault, ids in sorted(found.items(), key=lambda item: (-len(item[1]), item[0]))
    ]


def _told_since_mended(recipe_ids: Collection[int] | None) -> Select[int]:
    """Faults of pages, of these recipes or of all, that are not mended; one index answers it."""
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
    return query if recipe_ids is None else query.where(MessageFault.recipe_id.in_(recipe_ids))
