"""Which of the arrivals are in the ledger already, by key or by the same person's same words."""

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import ColumnElement, or_, select, true
from sqlalchemy.orm import Session

from inbox.intake import same
from inbox.intake.arrival import Arrival
from inbox.intake.incoming import plain_words, short_hash
from inbox.intake.readers import Person, find_readers
from inbox.records.one_reader import forgotten_key
from inbox.records.tables import DOORS, Message, Reader

ALIKE_LIMIT = 5000
"""Most stored messages that a batch is compared with; beyond it, as where one handle wrote a hundred
thousand comments, a double may stay two."""

Found = int | Arrival | None
"""A stored message by its number, an arrival that stands before, or nothing."""


def compare(
    session: Session, arrivals: Sequence[tuple[int, Arrival]]
) -> Iterable[tuple[int, Arrival, Found]]:
    """For each arrival the message that it is: a number, an arrival before it, or None for a new one."""
    known = stored_by_key(session, [arrival.key for _, arrival in arrivals])
    unknown = [arrival for _, arrival in arrivals if arrival.key not in known]
    alike = _stored_alike(session, unknown)
    by_key: dict[str, Arrival] = {}
    by_likeness: dict[str, list[Arrival]] = {}
    for place, arrival in arrivals:
        own_key = arrival.key
        found = _same_key(session, arrival, known, by_key)
        if found is None:
            # A key that the source gave to two tells nothing; then the words must, as for an unknown one.
            near = alike if arrival.key == own_key else _stored_alike(session, [arrival])
            candidates: list[tuple[int | Arrival, same.Sighting]] = [
                candidate for sign in _signs(arrival) for candidate in near.get(sign, ())
            ]
            candidates += [
                (other, other.sighting) for sign in _signs(arrival) for other in by_likeness.get(sign, ())
            ]
            found = _same_words(arrival, candidates)
        if found is None:
            by_key[arrival.key] = arrival
            for sign in _signs(arrival):
                by_likeness.setdefault(sign, []).append(arrival)
        yield place, arrival, found


def _signs(arrival: Arrival) -> tuple[str, ...]:
    """Under what an arrival is looked for: its words, and its person where one is known for sure."""
    person = arrival.person.key
    return (arrival.fingerprint, person) if person else (arrival.fingerprint,)


def _same_key(
    session: Session,
    arrival: Arrival,
    known: dict[str, tuple[int, same.Sighting]],
    by_key: dict[str, Arrival],
) -> Found:
    """The message with the key of `arrival`; where the key was given to two, `arrival` gets a longer one."""
    for _ in range(2):
        if arrival.key in known:
            number, sighting = known[arrival.key]
            if same.same_under_key(arrival.sighting, sighting):
                return number
        elif arrival.key in by_key:
            if same.same_under_key(arrival.sighting, by_key[arrival.key].sighting):
                return by_key[arrival.key]
        else:
            return None
        arrival.key = f"{arrival.key}#{short_hash(arrival.sighting.words, arrival.person.key)[:16]}"
        known = {**known, **stored_by_key(session, [arrival.key])}
    return None


def _same_words(arrival: Arrival, candidates: Iterable[tuple[int | Arrival, same.Sighting]]) -> Found:
    """The candidate that says the same; a perhaps-same one is remembered as the arrival's doubtful twin."""
    for candidate, sighting in candidates:
        verdict = same.judge(arrival.sighting, sighting)
        if verdict == "same":
            return candidate
        if verdict == "doubtful" and arrival.doubtful_twin is None:
            arrival.doubtful_twin = candidate
    return None


_SEEN_COLUMNS = (
    Message.id,
    Message.key,
    Message.fingerprint,
    Message.door,
    Message.received_at,
    Message.page_recipe_id,
    Message.text,
    Reader.email,
    Reader.channel,
    Reader.handle,
    Reader.name,
)


def _sighting(row: Any) -> same.Sighting:
    return same.Sighting(
        door=row.door,
        has_own_id=":sha256:" not in row.key,
        email=row.email,
        handle=row.handle,
        name=row.name,
        received_at=row.received_at,
        time_known=True,
        page_id=row.page_recipe_id,
        words=plain_words(row.text),
    )


def stored_by_key(session: Session, keys: Sequence[str]) -> dict[str, tuple[int, same.Sighting]]:
    """Stored messages with these keys: number, and what they are compared by.

    A message whose reader was forgotten is known by a hash of its key, and stays forgotten.
    """
    wanted = {key: key for key in keys} | {forgotten_key(key): key for key in keys}
    rows = session.execute(
        select(*_SEEN_COLUMNS)
        .outerjoin(Reader, Message.reader_id == Reader.id)
        .where(Message.key.in_(wanted))
    )
    return {wanted[row.key]: (row.id, _sighting(row)) for row in rows}


def _stored_alike(
    session: Session, arrivals: Sequence[Arrival]
) -> dict[str, list[tuple[int | Arrival, same.Sighting]]]:
    """Stored messages that may be one of `arrivals`, by sign: same words in a month, same person in days."""
    if not arrivals:
        return {}
    moments = [arrival.sighting.received_at for arrival in arrivals]
    first, last = min(moments), max(moments)
    far = Message.received_at.between(first - same.FAR_TIME, last + same.FAR_TIME)
    conditions = [Message.fingerprint.in_({arrival.fingerprint for arrival in arrivals}) & far]
    readers = find_readers(session, [arrival.person for arrival in arrivals])
    if readers:
        near = Message.received_at.between(first - same.NEAR_TIME, last + same.NEAR_TIME)
        conditions.append(Message.reader_id.in_(set(readers.values())) & near & _elsewhere(arrivals))
    found: dict[str, list[tuple[int | Arrival, same.Sighting]]] = {}
    for condition in conditions:
        rows = session.execute(
            select(*_SEEN_COLUMNS)
            .outerjoin(Reader, Message.reader_id == Reader.id)
            .where(condition)
            .order_by(Message.id.desc())
            .limit(ALIKE_LIMIT)
        )
        for row in rows:
            sighting = _sighting(row)
            person = Person(row.email, row.channel, row.handle, row.name)
            for sign in {row.fingerprint, person.key}:
                if sign:
                    found.setdefault(sign, []).append((row.id, sighting))
    return found


def _elsewhere(arrivals: Sequence[Arrival]) -> ColumnElement[bool]:
    """Where other words of the same persons can be the same message: another door, unless ids are missing.

    What one source itself tells apart is two messages; its exact repetitions are found by their words.
    """
    if not all(arrival.sighting.has_own_id for arrival in arrivals):
        return true()
    families = {same.family(arrival.sighting.door) for arrival in arrivals}
    doors = [door for door in DOORS if {same.family(door)} == families]
    return or_(Message.door.not_in(doors), Message.key.like("%:sha256:%"))
