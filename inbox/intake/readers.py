"""Who wrote: readers found by address, else by handle in one channel; a name alone joins nobody."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select, tuple_, update
from sqlalchemy.dialects.postgresql import insert as postgresql_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert
from sqlalchemy.orm import Session

from inbox.records.engine import is_postgresql
from inbox.records.tables import Reader


@dataclass(frozen=True, slots=True)
class Person:
    """What an item says of who wrote it; address and handle cleaned."""

    email: str | None
    channel: str | None
    handle: str | None
    name: str | None

    @property
    def key(self) -> str:
        """What makes two persons the same reader; empty where nothing does."""
        if self.email:
            return f"email:{self.email}"
        return f"handle:{self.channel}:{self.handle}" if self.handle else ""


def find_readers(session: Session, people: Sequence[Person]) -> dict[str, int]:
    """Numbers of the readers already known among `people`, by `Person.key`."""
    emails = {person.email for person in people if person.email}
    handles = {(person.channel, person.handle) for person in people if person.handle and not person.email}
    found: dict[str, int] = {}
    if emails:
        for number, email in session.execute(select(Reader.id, Reader.email).where(Reader.email.in_(emails))):
            found[Person(email, None, None, None).key] = number
    if handles:
        rows = session.execute(
            select(Reader.id, Reader.channel, Reader.handle).where(
                tuple_(Reader.channel, Reader.handle).in_(handles)
            )
        )
        for number, channel, handle in rows:
            found[Person(None, channel, handle, None).key] = number
    return found


def add_readers(session: Session, people: Sequence[tuple[Person, datetime]]) -> list[int | None]:
    """Reader of each person, made where there is none yet.

    A person with only a name gets a row of its own each time; one with nothing gets none.
    """
    found = find_readers(session, [person for person, _ in people])
    missing: dict[str, dict[str, Any]] = {}
    names: dict[int, str] = {}
    for person, seen_at in people:
        if not person.key:
            continue
        if person.key in found:
            if person.name:
                names.setdefault(found[person.key], person.name)
            continue
        row = missing.setdefault(person.key, _row(person, seen_at))
        row["name"] = row["name"] or person.name
        row["first_seen_at"] = min(row["first_seen_at"], seen_at)
    if missing:
        found |= _make_readers(session, missing)
    if names:
        _name_the_nameless(session, names)
    nameless = [(person, seen_at) for person, seen_at in people if person.name and not person.key]
    numbers = iter(_add_named(session, nameless))
    return [
        found[person.key] if person.key else next(numbers) if person.name else None for person, _ in people
    ]


def _make_readers(session: Session, rows: Mapping[str, dict[str, Any]]) -> dict[str, int]:
    """Make readers by `Person.key`; their numbers, also of those that another worker made a moment ago."""
    make = postgresql_insert if is_postgresql(session) else sqlite_insert
    table = Reader.__table__
    statement = make(table).on_conflict_do_nothing()  # type: ignore[arg-type]
    made = session.execute(
        statement.returning(table.c.id, table.c.email, table.c.channel, table.c.handle), list(rows.values())
    )
    numbers = {Person(row.email, row.channel, row.handle, None).key: row.id for row in made}
    others = [
        Person(row["email"], row["channel"], row["handle"], None)
        for key, row in rows.items()
        if key not in numbers
    ]
    return numbers | (find_readers(session, others) if others else {})


def _row(person: Person, seen_at: datetime) -> dict[str, Any]:
    return {
        "email": person.email,
        "channel": person.channel,
        "handle": person.handle,
        "name": person.name,
        "first_seen_at": seen_at,
    }


def _add_named(session: Session, people: Sequence[tuple[Person, datetime]]) -> list[int]:
    if not people:
        return []
    table = Reader.__table__
    statement = insert(table).returning(table.c.id, sort_by_parameter_order=True)  # type: ignore[arg-type]
    return list(session.scalars(statement, [_row(person, seen_at) for person, seen_at in people]))


def _name_the_nameless(session: Session, names: dict[int, str]) -> None:
    """Give known readers the name that they now signed with, where they had none."""
    nameless = session.scalars(
        select(Reader.id).where(Reader.id.in_(names), Reader.name.is_(None), Reader.forgotten_at.is_(None))
    ).all()
    if nameless:
        session.execute(update(Reader), [{"id": number, "name": names[number]} for number in nameless])
