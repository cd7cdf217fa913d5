"""Phrases that the owner saves, with fields in braces that are filled in from the message."""

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.tables_out import Phrase

FIELDS: Final = ("first name", "recipe", "link", "question")
"""What stands in braces: the reader's first name, the recipe, its address, the question to ask back."""

_FIELD = re.compile(r"\{([^{}\n]{1,40})\}")


def fill(body: str, values: Mapping[str, str]) -> str:
    """`body` with each known field replaced; a field without a value stays, braces and all."""
    return _FIELD.sub(lambda found: values.get(_known(found[1]), "") or found[0], body)


def unfilled(body: str) -> list[str]:
    """Fields that still stand in braces, in their order; other words in braces are the owner's own."""
    names = (_known(found) for found in _FIELD.findall(body))
    return list(dict.fromkeys(name for name in names if name in FIELDS))


def _known(written: str) -> str:
    return " ".join(written.casefold().replace("_", " ").split())


def save_phrase(session: Session, name: str, body: str, *, now: datetime) -> Phrase:
    """Keep `body` under `name`; one of that name is replaced.

    Raises
    ------
    InputError
        If the name or the text is empty, or a field is not known.
    """
    name, body = " ".join(name.split()), body.strip()
    if not name or not body:
        raise InputError("A phrase needs a name and a text.")
    unknown = [found for found in _FIELD.findall(body) if _known(found) not in FIELDS]
    if unknown:
        fields = ", ".join(f"{{{field}}}" for field in FIELDS)
        raise InputError(f"The phrase has a field {{{unknown[0]}}}; the fields are {fields}.")
    phrase = session.scalar(select(Phrase).where(Phrase.name == name))
    if phrase is None:
        phrase = Phrase(name=name)
        session.add(phrase)
    phrase.body, phrase.changed_at = body, now
    session.flush()
    return phrase


def delete_phrase(session: Session, phrase_id: int) -> None:
    """Forget a phrase."""
    phrase = session.get(Phrase, phrase_id)
    if phrase is None:
        raise NotFoundError(f"There is no phrase {phrase_id}.")
    session.delete(phrase)
    session.flush()


def all_phrases(session: Session) -> list[Phrase]:
    """Saved phrases by name."""
    return list(session.scalars(select(Phrase).order_by(Phrase.name)))


def first_name(name: str | None) -> str:
    """What the reader is called by: "Ada" of "Ada Example" and of "Example, Ada"; empty where not known."""
    words = (name or "").strip()
    if "@" in words:
        return ""
    if "," in words:
        words = words.split(",", 1)[1]
    first = words.split()[0].strip("\"'()") if words.split() else ""
    return first[:1].upper() + first[1:] if first.islower() else first
