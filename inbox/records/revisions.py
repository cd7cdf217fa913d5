"""What the owner writes down about a recipe: a change made to it, a fault of its page that is mended."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.tables import Recipe, Revision
from inbox.records.tables_out import Mended
from inbox.words import RECIPE_PAGE_FAULTS


def get_recipe(session: Session, slug: str) -> Recipe:
    """The recipe of that short name, or NotFoundError."""
    recipe = session.scalar(select(Recipe).where(Recipe.slug == slug))
    if recipe is None:
        raise NotFoundError(f"There is no recipe {slug!r} in the catalogue.")
    return recipe


def note_revision(
    session: Session, slug: str, note: str, on: date, zone: ZoneInfo, *, now: datetime
) -> Revision:
    """Record what was changed in a recipe, and on which day; reports count as after it from noon on.

    Raises
    ------
    InputError
        If the note is empty or the day lies ahead.
    """
    recipe = get_recipe(session, slug)
    note = " ".join(note.split())
    if not 1 <= len(note) <= 500:
        raise InputError("Say in 1 to 500 characters what you changed.")
    made_at = datetime.combine(on, time(12), zone).astimezone(UTC)
    if on > now.astimezone(zone).date():
        raise InputError(f"The change is dated {on}, which lies ahead; note it once it is made.")
    revision = Revision(recipe_id=recipe.id, made_at=min(made_at, now), note=note, noticed=False, before=None)
    session.add(revision)
    session.flush()
    return revision


def mend(session: Session, slug: str, what: str, note: str | None, *, now: datetime) -> Mended:
    """Record that a fault of a recipe's page is mended, or a question answered on it.

    Raises
    ------
    InputError
        If `what` is neither a fault of a page nor "question:" and its key.
    """
    if what not in RECIPE_PAGE_FAULTS and not what.startswith("question:"):
        raise InputError(f"{what!r} is no fault of a recipe's page.")
    recipe = get_recipe(session, slug)
    row = Mended(recipe_id=recipe.id, what=what, note=(note or "").strip() or None, mended_at=now)
    session.add(row)
    session.flush()
    return row
