"""Labelled messages and catalogues, read from files.

The format is described in DEVELOPERS.md, "Formats". Every row is checked, because a wrong label teaches
silently: the error names the file, the line and what to put there. Start with `load_labelled`.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from inbox.errors import InputError
from inbox.places import seed_folder
from inbox.reading.findings import CatalogueRecipe, Labelled, Told
from inbox.words import CHANNELS, FAULTS, HAZARDS, KINDS, OUTCOMES

_ALONE = ("comment", "junk")


def seed_messages() -> list[Labelled]:
    """All labelled messages that ship with the program, in the order of their files' names."""
    files = sorted((seed_folder() / "messages").glob("*.jsonl"))
    return [message for path in files for message in load_labelled(path)]


def load_labelled(path: Path) -> list[Labelled]:
    """Labelled messages of one JSONL file; the file's name without its ending is their site.

    Raises
    ------
    InputError
        If the file cannot be read, or a row is not what the format says; names file, line and field.
    """
    found: list[Labelled] = []
    seen: set[str] = set()
    for number, line in enumerate(_text_of(path).splitlines(), start=1):
        if not line.strip():
            continue
        place = f"{path.name}, line {number}"
        try:
            row = json.loads(line)
        except json.JSONDecodeError as error:
            raise InputError(
                f"{place} should hold one JSON object, found {error.msg}. Mend the line."
            ) from error
        message = _labelled(row, path.stem, place)
        if message.id in seen:
            raise InputError(f"{place} repeats the id {message.id!r}. Give each message an id of its own.")
        seen.add(message.id)
        found.append(message)
    if not found:
        raise InputError(f"{path.name} holds no message. Put one JSON object on each line.")
    return found


def load_catalogue(path: Path) -> list[CatalogueRecipe]:
    """Recipes of a JSON file: a list of objects with at least `slug` and `title`.

    Raises
    ------
    InputError
        If the file cannot be read or a recipe lacks its slug or title.
    """
    try:
        rows = json.loads(_text_of(path))
    except json.JSONDecodeError as error:
        raise InputError(
            f"{path.name} should be a JSON list of recipes; line {error.lineno}: {error.msg}. Mend it."
        ) from error
    if not isinstance(rows, list):
        raise InputError(f"{path.name} should be a JSON list of recipes, found {type(rows).__name__}.")
    return [_recipe(row, f"{path.name}, recipe {number}") for number, row in enumerate(rows, start=1)]


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(
            f"{path} cannot be read: {error.strerror}. Check the name and the permissions."
        ) from error
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path.name} should be UTF-8, found byte {error.start}. Save it as UTF-8."
        ) from error


def _recipe(row: Any, place: str) -> CatalogueRecipe:
    if not isinstance(row, dict):
        raise InputError(f"{place} should be an object, found {type(row).__name__}.")
    return CatalogueRecipe(
        slug=_words(row, "slug", place),
        title=_words(row, "title", place),
        url=_words_or_none(row, "url", place),
        ingredients=_list(row, "ingredients", place),
        steps=_list(row, "steps", place),
        tags=row["tags"] if isinstance(row.get("tags"), dict) else {},
    )


def _labelled(row: Any, site: str, place: str) -> Labelled:
    if not isinstance(row, dict):
        raise InputError(f"{place} should hold one JSON object, found {type(row).__name__}.")
    kinds = frozenset(_known(_list(row, "kinds", place), KINDS, "kinds", place))
    outcome = _words_or_none(row, "outcome", place)
    hazard = _words_or_none(row, "hazard", place)
    _known([outcome] if outcome else [], OUTCOMES, "outcome", place)
    _known([hazard] if hazard else [], HAZARDS, "hazard", place)
    if not kinds:
        raise InputError(f"{place}: field kinds is empty. Name at least one of {', '.join(KINDS)}.")
    if len(kinds) > 1 and kinds.intersection(_ALONE):
        raise InputError(
            f"{place}: field kinds has {', '.join(sorted(kinds))}. Comment and junk stand alone."
        )
    if outcome and "made_it" not in kinds:
        raise InputError(f"{place}: an outcome needs the kind made_it. Add it, or set outcome to null.")
    return Labelled(
        id=_words(row, "id", place),
        told=_told(row, place),
        kinds=kinds,
        outcome=outcome,
        faults=frozenset(_known(_list(row, "faults", place), FAULTS, "faults", place)),
        hazard=hazard,
        recipe=_words_or_none(row, "recipe", place),
        wants=_words_or_none(row, "wants", place),
        theme=_words_or_none(row, "theme", place),
        site=site,
    )


def _told(row: Mapping[str, Any], place: str) -> Told:
    channel = _words_or_none(row, "channel", place) or "comment"
    _known([channel], CHANNELS, "channel", place)
    stars = row.get("stars")
    if stars is not None and (not isinstance(stars, int | float) or not 1 <= stars <= 5):
        raise InputError(f"{place}: field stars should be a number from 1 to 5, found {stars!r}.")
    return Told(
        text=_words(row, "text", place),
        subject=_words_or_none(row, "subject", place),
        channel=channel,
        page=_words_or_none(row, "page", place),
        stars=stars,
    )


def _words(row: Mapping[str, Any], field: str, place: str) -> str:
    value = row.get(field)
    if not isinstance(value, str) or not value.strip():
        raise InputError(f"{place}: field {field} should be text, found {value!r}.")
    return value


def _words_or_none(row: Mapping[str, Any], field: str, place: str) -> str | None:
    return None if row.get(field) is None else _words(row, field, place)


def _list(row: Mapping[str, Any], field: str, place: str) -> tuple[str, ...]:
    value = row.get(field) or []
    if not isinstance(value, list) or not all(isinstance(entry, str) for entry in value):
        raise InputError(f"{place}: field {field} should be a list of texts, found {value!r}.")
    return tuple(value)


def _known(
    values: list[str] | tuple[str, ...], known: tuple[str, ...], field: str, place: str
) -> list[str] | tuple[str, ...]:
    for value in values:
        if value not in known:
            raise InputError(f"{place}: field {field} has {value!r}. Use one of {', '.join(known)}.")
    return values
