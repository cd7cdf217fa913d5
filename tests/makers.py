"""Rows for tests, each with sensible values for whatever the test does not care about. All invented."""

from datetime import UTC, datetime
from itertools import count
from typing import Any

from sqlalchemy.orm import Session

from inbox.records.tables import Message, Reader, Recipe
from inbox.records.tables_out import Account, Theme

THEN = datetime(2026, 11, 18, 12, 0, tzinfo=UTC)
_numbers = count(1)


def _add(session: Session, row: Any) -> Any:
    session.add(row)
    session.flush()
    return row


def make_reader(session: Session, **facts: Any) -> Reader:
    number = next(_numbers)
    return _add(
        session,
        Reader(**{"email": f"reader{number}@example.org", "name": "Ada", "first_seen_at": THEN, **facts}),
    )


def make_recipe(session: Session, **facts: Any) -> Recipe:
    number = next(_numbers)
    defaults = {
        "slug": f"recipe-{number}",
        "title": f"Recipe {number}",
        "url": f"https://kitchen.example/recipe-{number}",
        "ingredients": ["250 g plain flour", "2 eggs"],
        "steps": ["Mix.", "Bake at 180 C for 30 minutes."],
        "tags": {},
        "created_at": THEN,
    }
    return _add(session, Recipe(**{**defaults, **facts}))


def make_message(session: Session, **facts: Any) -> Message:
    number = next(_numbers)
    defaults = {
        "key": f"test:{number}",
        "fingerprint": f"test:{number}",
        "door": "form",
        "channel": "form",
        "received_at": THEN,
        "stored_at": THEN,
        "text": "Made this and it worked.",
    }
    return _add(session, Message(**{**defaults, **facts}))


def make_theme(session: Session, **facts: Any) -> Theme:
    number = next(_numbers)
    return _add(session, Theme(**{"name": f"theme {number}", "facets": {}, "created_at": THEN, **facts}))


def make_account(session: Session, **facts: Any) -> Account:
    number = next(_numbers)
    return _add(
        session, Account(**{"name": f"person {number}", "role": "owner", "created_at": THEN, **facts})
    )
