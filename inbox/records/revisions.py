"""What the owner writes down about a recipe: a change made to it, a fault of its page that is mended."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.page_faults import recount
from inbox.records.tables import Labels, Recipe, Revision
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


def answer_question(
    session: Session,
    slug: str,
    question: str,
    note: str,
    message_ids: Sequence[int],
    on: date,
    zone: ZoneInfo,
    *,
    now: datetime,
) -> Mended:
    """Record that a repeated question is answered on the recipe's page, and since which day.

    Parameters
    ----------
    question : str
        In the owner's own words; a reader's would outlast the reader's wish to be forgotten.
    note : str
        What was added to the page; it is offered when the question comes again.
    message_ids : sequence of int
        Messages that asked it; those that are not about this recipe are left out.

    Raises
    ------
    InputError
        If a word is missing, no message is known, or the day lies ahead.
    """
    question, note = " ".join(question.split()), " ".join(note.split())
    if not 1 <= len(question) <= 120:
        raise InputError("Say in 1 to 120 characters what is asked.")
    if not 1 <= len(note) <= 1000:
        raise InputError("Say in 1 to 1,000 characters what you added to the page.")
    if on > now.astimezone(zone).date():
        raise InputError(f"The note is dated {on}, which lies ahead; write it down once it is on the page.")
    recipe = get_recipe(session, slug)
    known = select(Labels.message_id).where(Labels.message_id.in_(message_ids), Labels.recipe_id == recipe.id)
    ids = sorted(session.scalars(known))
    if not ids:
        raise InputError("These questions are not about this recipe any more; look at its page again.")
    at = min(datetime.combine(on, time(12), zone).astimezone(UTC), now)
    row = Mended(recipe_id=recipe.id, what=f"question:{question}", note=note, mended_at=at, message_ids=ids)
    session.add(row)
    session.flush()
    return row


def unmend(session: Session, slug: str, mended_id: int) -> Mended:
    """Take back that something is mended or answered; it is open again."""
    recipe = get_recipe(session, slug)
    row = session.get(Mended, mended_id)
    if row is None or row.recipe_id != recipe.id:
        raise NotFoundError("That was taken back already.")
    session.delete(row)
    session.flush()
    recount(session, [recipe.id])
    return row


def mend(session: Session, slug: str, what: str, note: str | None, *, now: datetime) -> Mended:
    """Record that a fault of a recipe's page is mended.

    Raises
    ------
    InputError
        If `what` is no fault of a page.
    """
    if what not in RECIPE_PAGE_FAULTS:
        raise InputError(f"{what!r} is no fault of a recipe's page.")
    recipe = get_recipe(session, slug)
    row = Mended(
        recipe_id=recipe.id, what=what, note=(note or "").strip() or None, mended_at=now, message_ids=None
    )
    session.add(row)
    session.flush()
    recount(session, [recipe.id])
    return row
