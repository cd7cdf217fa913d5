"""Bringing the owner's recipes in; a recipe that changed since the last import gets a noticed revision."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.intake.catalogue import link_pages
from inbox.intake.recipe_ld import FoundRecipe, read_recipes
from inbox.records.tables import Recipe, Revision

FILE_LIMIT_BYTES = 200_000_000
_ENDINGS = (".html", ".htm", ".json", ".jsonld")


@dataclass(frozen=True, slots=True)
class RecipesResult:
    """How a catalogue import ended, and which sources held no recipe and why."""

    added: int
    changed: int
    unchanged: int
    passed_over: tuple[str, ...] = ()

    @property
    def in_words(self) -> str:
        """The numbers as one line."""
        return f"{self.added} recipes added, {self.changed} changed, {self.unchanged} as they were"


def import_recipes(
    session: Session, source: str, *, now: datetime, fetch: Callable[[str], bytes] | None = None
) -> RecipesResult:
    """Bring recipes in from a file, a folder of files, or a web address.

    Parameters
    ----------
    source : str
        Path, or address beginning with http.
    fetch : callable, optional
        Gives the page at an address; needed for addresses only.

    Raises
    ------
    InputError
        If the source cannot be read or holds no recipe at all.
    """
    if source.startswith(("http://", "https://")):
        if fetch is None:
            raise InputError(f"{source} is an address, and nothing was given to fetch it with.")
        return add_recipes(session, read_recipes(fetch(source), name=source, url=source), now=now)
    path = Path(source)
    if not path.exists():
        raise InputError(f"There is no file {path}.")
    files = [path]
    if path.is_dir():
        files = sorted(file for file in path.rglob("*") if file.suffix.lower() in _ENDINGS and file.is_file())
        if not files:
            raise InputError(f"The folder {path} holds no web pages (.html) and no JSON files.")
    found: list[FoundRecipe] = []
    passed_over: list[str] = []
    for file in files:
        try:
            if file.stat().st_size > FILE_LIMIT_BYTES:
                raise InputError(f"{file.name} is larger than {FILE_LIMIT_BYTES:,} bytes.")
            found += read_recipes(file.read_bytes(), name=file.name)
        except PermissionError as error:
            raise InputError(f"{file} cannot be read: permission denied.") from error
        except InputError as error:
            if len(files) == 1:
                raise
            passed_over.append(str(error))
    if not found:
        raise InputError(f"None of the {len(files)} files in {path} holds a recipe.")
    return add_recipes(session, found, now=now, passed_over=tuple(passed_over))


def add_recipes(
    session: Session, found: Sequence[FoundRecipe], *, now: datetime, passed_over: tuple[str, ...] = ()
) -> RecipesResult:
    """Add recipes or note how they changed; those known by slug or address are the same recipe."""
    rows = session.scalars(select(Recipe)).all()
    by_slug = {row.slug: row for row in rows}
    by_url = {row.url: row for row in rows if row.url}
    added = changed = unchanged = 0
    for recipe in found:
        row = by_slug.get(recipe.slug) or (by_url.get(recipe.url) if recipe.url else None)
        if row is None:
            row = Recipe(slug=recipe.slug, created_at=now, **_facts(recipe))
            session.add(row)
            by_slug[row.slug] = row
            added += 1
        elif _note_change(row, recipe, now):
            changed += 1
        else:
            unchanged += 1
    session.flush()
    link_pages(session)
    return RecipesResult(added, changed, unchanged, passed_over)


def _facts(recipe: FoundRecipe) -> dict[str, Any]:
    return {
        "title": recipe.title,
        "url": recipe.url,
        "published_on": recipe.published_on,
        "ingredients": list(recipe.ingredients),
        "steps": list(recipe.steps),
        "tags": dict(recipe.tags),
    }


def _note_change(row: Recipe, recipe: FoundRecipe, now: datetime) -> bool:
    """Bring a known recipe up to date; what readers cook by (title, ingredients, steps) makes a revision."""
    facts = _facts(recipe)
    if not facts["ingredients"]:
        facts["ingredients"] = row.ingredients
    if not facts["steps"]:
        facts["steps"] = row.steps
    before = {name: getattr(row, name) for name in ("title", "ingredients", "steps")}
    notes = describe_change(before, facts)
    if notes:
        session_row = Revision(made_at=now, note="; ".join(notes)[:1000], noticed=True, before=before)
        row.revisions.append(session_row)
    for name, value in facts.items():
        if value or name in ("ingredients", "steps"):
            setattr(row, name, value)
    return bool(notes)


def describe_change(before: dict[str, Any], after: dict[str, Any]) -> list[str]:
    """What changed between two states of a recipe, in a few words each."""
    notes = []
    if before["title"] != after["title"]:
        notes.append(f"title was “{before['title']}”")
    for name, word in (("ingredients", "ingredient"), ("steps", "step")):
        old, new = before[name], after[name]
        gone = [line for line in old if line not in new]
        come = [line for line in new if line not in old]
        notes += [f"{word} “{was}” is now “{becomes}”" for was, becomes in zip(gone, come, strict=False)]
        notes += [f"{word} “{line}” was taken out" for line in gone[len(come) :]]
        notes += [f"{word} “{line}” was added" for line in come[len(gone) :]]
        if not gone and not come and old != new:
            notes.append(f"{word}s stand in another order")
    return notes
