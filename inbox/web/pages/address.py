"""A search as it stands in a page's address, so that it can be kept, sent, and gone back to."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from inbox.records.search import Position, Search
from inbox.records.tables import DOORS, Recipe
from inbox.web.row_numbers import row_number, row_numbers
from inbox.words import FAULTS, HAZARDS, KINDS, OUTCOMES

FIELDS = (
    "words", "kind", "outcome", "fault", "hazard", "recipe", "reader", "door", "language",
    "since", "until", "quotable", "apart", "run", "theme", "only",
)  # fmt: skip
MOST_ONLY = 2_000
_OF_SLUG = select(Recipe.id).where(Recipe.slug == bindparam("slug"))


@dataclass(frozen=True)
class Address:
    """What was asked for, as typed, and as a search.

    Attributes
    ----------
    asked : dict of str to str
        Only the fields that are set and known.
    troubles : list of (field, words)
        What could not be understood, and was left out of the search.
    """

    asked: dict[str, str]
    search: Search
    troubles: list[tuple[str, str]]
    older_than: Position | None = None
    newer_than: Position | None = None

    def link(self, **changed: str) -> str:
        """Address of the same search with something changed."""
        fields = {**self.asked, **changed}
        kept = {name: value for name, value in fields.items() if value}
        return "/messages" + ("?" + urlencode(kept) if kept else "")


def read_address(session: Session, given: Mapping[str, str], zone: ZoneInfo) -> Address:
    """Understand the query of a messages page; what is not understood is said and left out."""
    asked = {name: given[name].strip() for name in FIELDS if given.get(name, "").strip()}
    troubles: list[tuple[str, str]] = []
    search = Search(words=asked.get("words", "")[:500])
    known = {"kind": KINDS, "outcome": OUTCOMES, "fault": FAULTS, "hazard": ("any", *HAZARDS), "door": DOORS}
    for name, words in known.items():
        if name in asked:
            if asked[name] in words:
                search = replace(search, **{name: asked[name]})  # type: ignore[arg-type]
            else:
                troubles.append((name, f"There is no {name} {asked.pop(name)!r}."))
    search = replace(
        search,
        language=asked.get("language", "")[:8],
        quotable="quotable" in asked,
        apart="apart" in asked,
        recipe_id=_recipe(session, asked, troubles),
        reader_id=_number("reader", asked, troubles),
        run_id=_number("run", asked, troubles),
        theme_id=_number("theme", asked, troubles),
        only=_numbers(asked, troubles),
        since=_moment("since", asked, troubles, zone),
        until=_moment("until", asked, troubles, zone),
    )
    older, newer = as_position(given.get("older", "")), as_position(given.get("newer", ""))
    return Address(asked, search, troubles, older_than=older, newer_than=None if older else newer)


def _recipe(session: Session, asked: dict[str, str], troubles: list[tuple[str, str]]) -> int | None:
    if "recipe" not in asked:
        return None
    wanted = asked["recipe"]
    found = session.scalar(_OF_SLUG, {"slug": wanted}) or session.scalar(
        select(Recipe.id)
        .where(func.lower(Recipe.title).contains(wanted.lower(), autoescape=True))
        .order_by(func.lower(Recipe.title) != wanted.lower(), Recipe.id)
        .limit(1)
    )
    if found is None:
        troubles.append(("recipe", f"There is no recipe {asked.pop('recipe')!r}."))
    return found


def _number(name: str, asked: dict[str, str], troubles: list[tuple[str, str]]) -> int | None:
    text = asked.get(name, "")
    if not text:
        return None
    number = row_number(text)
    if number is not None:
        return number
    troubles.append((name, f"{name.capitalize()} {asked.pop(name)!r} is not a number."))
    return None


def _numbers(asked: dict[str, str], troubles: list[tuple[str, str]]) -> tuple[int, ...]:
    pieces = asked.get("only", "").split(",") if "only" in asked else []
    numbers = row_numbers(pieces)
    if len(numbers) == len(pieces) <= MOST_ONLY:
        return tuple(numbers)
    troubles.append(("only", "The list of messages in this address cannot be read."))
    asked.pop("only")
    return ()


def _moment(
    name: str, asked: dict[str, str], troubles: list[tuple[str, str]], zone: ZoneInfo
) -> datetime | None:
    """Start of the day `since`; the end of the day `until`."""
    if name not in asked:
        return None
    try:
        day = date.fromisoformat(asked[name])
        if name == "until":
            day += timedelta(days=1)
        return datetime.combine(day, time(), zone).astimezone(UTC)
    except (ValueError, OverflowError):
        troubles.append((name, f"{asked.pop(name)!r} is no day; write it as 2026-11-23."))
        return None


def as_position(text: str) -> Position | None:
    """Position from an address; None where it is missing or spoilt."""
    moment, _, number = text.partition("~")
    try:
        at = datetime.fromisoformat(moment)
        at = at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)
    except (ValueError, OverflowError):
        return None
    row = row_number(number)
    return None if row is None else Position(at, row)


def position_text(place: Position) -> str:
    """Position as it stands in an address."""
    return f"{place.received_at.astimezone(UTC).replace(tzinfo=None).isoformat()}~{place.message_id}"
