"""What a person decides about themes; no regrouping undoes it.

Each function is one decision. They move rows and note the decision, and leave
counting and ranking to the next round.
"""

from collections.abc import Collection
from datetime import date, datetime

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.tables import Labels, Message, Recipe
from inbox.records.tables_out import Theme, ThemeMember, ThemeRefusal, ThemesApart
from inbox.words import SHELVES


def get_theme(session: Session, theme_id: int) -> Theme:
    """The living theme with this number, or the one that it was merged into.

    Raises
    ------
    NotFoundError
        If there never was one.
    """
    theme = session.get(Theme, theme_id)
    while theme is not None and theme.merged_into_id is not None:
        theme = session.get(Theme, theme.merged_into_id)
    if theme is None:
        raise NotFoundError(f"There is no theme {theme_id}.")
    return theme


def rename(session: Session, theme_id: int, name: str) -> None:
    """Give a theme its name for good."""
    name = " ".join(name.split())
    if not 1 <= len(name) <= 120:
        raise InputError("The name of a theme has 1 to 120 characters.")
    theme = get_theme(session, theme_id)
    theme.name, theme.named_by_hand = name, True


def merge(session: Session, kept_id: int, gone_id: int) -> None:
    """Let all members of one theme be members of another; the number of the first lives on.

    Raises
    ------
    InputError
        If both are the same theme.
    """
    kept, gone = get_theme(session, kept_id), get_theme(session, gone_id)
    if kept.id == gone.id:
        raise InputError(f"Theme {kept_id} and theme {gone_id} are one theme already.")
    moved = select(ThemeMember.message_id).where(ThemeMember.theme_id == gone.id)
    session.execute(
        delete(ThemeRefusal).where(ThemeRefusal.theme_id == kept.id, ThemeRefusal.message_id.in_(moved))
    )
    # By hand, so that the next regrouping does not take a doubtful member away again.
    session.execute(
        update(ThemeMember).where(ThemeMember.theme_id == gone.id).values(theme_id=kept.id, by_hand=True)
    )
    low, high = sorted((kept.id, gone.id))
    session.execute(delete(ThemesApart).where(ThemesApart.theme_id == low, ThemesApart.other_id == high))
    gone.merged_into_id = kept.id


def split(session: Session, theme_id: int, message_ids: Collection[int], name: str, *, now: datetime) -> int:
    """Take some requests out into a theme of their own; returns its number.

    Raises
    ------
    InputError
        If none or all members were chosen, or one is not a member.
    """
    theme = get_theme(session, theme_id)
    members = set(session.scalars(select(ThemeMember.message_id).where(ThemeMember.theme_id == theme.id)))
    chosen = set(message_ids)
    if not chosen or not chosen <= members:
        raise InputError("Choose requests of this theme to take out.")
    if chosen == members:
        raise InputError("All requests were chosen; leave at least one, or rename the theme.")
    new = Theme(name=theme.name, facets={}, created_at=now)
    session.add(new)
    session.flush()
    rename(session, new.id, name)
    for message_id in chosen:
        _pin(session, message_id, new.id, now)
        session.merge(ThemeRefusal(message_id=message_id, theme_id=theme.id))
    low, high = sorted((theme.id, new.id))
    session.merge(ThemesApart(theme_id=low, other_id=high))
    session.flush()
    return new.id


def move(session: Session, message_id: int, theme_id: int | None, *, now: datetime) -> None:
    """Put one request into a theme for good, or (None) take it out of the one it is in.

    Raises
    ------
    NotFoundError
        If there is no such message or theme.
    InputError
        If the message is no request.
    """
    if session.get(Message, message_id) is None:
        raise NotFoundError(f"There is no message {message_id}.")
    labels = session.get(Labels, message_id)
    if labels is None or not labels.is_request:
        raise InputError(f"Message {message_id} is no request; mark it as one first.")
    before = session.get(ThemeMember, message_id)
    target = get_theme(session, theme_id) if theme_id is not None else None
    if before is not None and (target is None or before.theme_id != target.id):
        session.merge(ThemeRefusal(message_id=message_id, theme_id=before.theme_id))
    if target is None:
        if before is not None:
            session.delete(before)
    else:
        session.execute(
            delete(ThemeRefusal).where(
                ThemeRefusal.message_id == message_id, ThemeRefusal.theme_id == target.id
            )
        )
        _pin(session, message_id, target.id, now)
    session.flush()


def _pin(session: Session, message_id: int, theme_id: int, now: datetime) -> None:
    session.merge(
        ThemeMember(
            message_id=message_id,
            theme_id=theme_id,
            by_hand=True,
            similarity=1.0,
            doubtful=False,
            joined_at=now,
        )
    )


def put_on_shelf(
    session: Session,
    theme_id: int,
    shelf: str,
    *,
    now: datetime,
    reason: str | None = None,
    recipe_slug: str | None = None,
    due_on: date | None = None,
) -> None:
    """Say where a theme stands.

    Parameters
    ----------
    reason : str, optional
        Needed for "passed_over", so that it is not asked again.
    recipe_slug : str, optional
        Needed for "published": the recipe that answers it.
    due_on : date, optional
        For "on_the_bench": the day it should be ready.

    Raises
    ------
    InputError
        If the shelf is not known, or what it needs is missing.
    NotFoundError
        If there is no such theme or recipe.
    """
    if shelf not in SHELVES:
        raise InputError(f"There is no shelf {shelf!r}; the shelves are {', '.join(SHELVES)}.")
    theme = get_theme(session, theme_id)
    recipe_id = None
    if shelf == "passed_over" and not (reason or "").strip():
        raise InputError("Say why it is passed over, in a few words; it will not be asked again.")
    if shelf == "published":
        recipe_id = session.scalar(select(Recipe.id).where(Recipe.slug == (recipe_slug or "")))
        if recipe_id is None:
            raise NotFoundError(f"There is no recipe {recipe_slug!r}; bring it in first, then choose it.")
    theme.shelf, theme.shelf_at = shelf, now
    theme.shelf_reason = (reason or "").strip() or None
    theme.recipe_id, theme.bench_due_on = recipe_id, due_on if shelf == "on_the_bench" else None


def estimate_effort(session: Session, theme_id: int, days: float | None) -> None:
    """Note the owner's own estimate of the work, in days; None takes it back."""
    if days is not None and not 0 < days <= 365:
        raise InputError(f"The effort is {days} days; give a number above 0 and up to 365.")
    get_theme(session, theme_id).effort = days
