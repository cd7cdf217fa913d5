"""An incoming item made ready: cleaned, with its key, its person, and what it is compared by."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Self

from inbox.intake import same
from inbox.intake.catalogue import Catalogue
from inbox.intake.incoming import (
    TEXT_LIMIT,
    Incoming,
    clean,
    clean_address,
    clean_line,
    fit_key,
    plain_words,
    short_hash,
)
from inbox.intake.readers import Person

EARLIEST = datetime(1990, 1, 1, tzinfo=UTC)
"""A date before this is a clock that was never set."""


@dataclass(slots=True, eq=False)
class Arrival:
    """One incoming item, cleaned, with what tells it from others."""

    incoming: Incoming
    key: str
    text: str
    person: Person
    sighting: same.Sighting
    fingerprint: str
    doubtful_twin: "int | Self | None" = None
    message_id: int | None = None
    is_new: bool = True


def arrive(item: Incoming, catalogue: Catalogue, now: datetime) -> Arrival:
    """Clean an item and work out what tells it from others."""
    email = clean_address(item.email)
    if item.door == "form" and not (item.reply_wanted or item.tell_me):
        email = None
    handle = clean_line(item.handle, 200)
    person = Person(
        email=email,
        channel=item.channel if handle and not email else None,
        handle=handle if not email else None,
        name=clean_line(item.name, 200),
    )
    text = clean(item.text).strip()[:TEXT_LIMIT]
    words = plain_words(text)
    key = fit_key(item.key) if item.key else f"{item.door}:sha256:{short_hash(item.raw or text)}"
    received_at = usable_moment(item.received_at, now)
    sighting = same.Sighting(
        door=item.door,
        has_own_id=item.key is not None and ":sha256:" not in key,
        email=person.email,
        handle=person.handle,
        name=person.name,
        received_at=received_at or now,
        time_known=received_at is not None,
        page_id=catalogue.find(item.page_slug, item.page_url),
        words=words,
    )
    return Arrival(item, key, text, person, sighting, same.fingerprint(words, person.key, key))


def usable_moment(moment: datetime | None, now: datetime) -> datetime | None:
    """`moment` in UTC if a reader can have written then: not before there was mail, not in the future."""
    if moment is None or moment.tzinfo is None:
        return None
    try:
        moment = moment.astimezone(UTC)
    except (OverflowError, ValueError):
        return None
    return moment if EARLIEST <= moment <= now + timedelta(days=2) else None
