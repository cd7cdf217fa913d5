"""What a digest holds: plain frozen values, in the order in which they are read, kept as JSON.

Every figure says where the messages lie that it counts. Words of readers stand only
in `Quote`, beside the number of their message, so that they can be struck out.
"""

import types
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, dataclass, fields, is_dataclass
from datetime import date, datetime
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

from inbox.records.documents import plain


@dataclass(frozen=True, slots=True)
class Figure:
    """A count, and where the messages are that it counts.

    Attributes
    ----------
    address : str
        Page of this service, such as "/messages?kind=problem&since=2026-11-16".
    message_ids : tuple of int
        The very messages, where they are few enough to be kept; else empty.
    """

    count: int
    address: str = ""
    message_ids: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Quote:
    """Words of a reader, as they were written."""

    message_id: int
    words: str
    name: str = ""
    on: date | None = None


@dataclass(frozen=True, slots=True)
class HazardNote:
    """Somebody could be or was hurt: the reader's words, the usual caution and who publishes it."""

    quote: Quote
    hazard: str
    recipe_slug: str | None
    recipe_title: str | None
    caution: str
    source: str
    answered: bool


@dataclass(frozen=True, slots=True)
class UsualCause:
    """What often lies behind a fault, with its source; a hint, never a finding."""

    words: str
    source: str


@dataclass(frozen=True, slots=True)
class FaultNote:
    """A fault of one recipe: how many readers told of it, and what usually lies behind it."""

    fault: str
    readers: Figure
    stands_out: bool
    causes: tuple[UsualCause, ...] = ()


@dataclass(frozen=True, slots=True)
class OutcomeCount:
    """Made-it reports of one week by how they ended."""

    week: str
    worked: int
    mixed: int
    failed: int


@dataclass(frozen=True, slots=True)
class ChangeNote:
    """A revision of the recipe, and what is known of its effect."""

    on: date
    note: str
    in_words: str


@dataclass(frozen=True, slots=True)
class TroubledRecipe:
    """A recipe that fails or is to be watched. The share is one of reports, not of makes."""

    recipe_id: int
    slug: str
    title: str
    standing: str
    in_words: str
    share: float
    low: float
    high: float
    catalogue_share: float | None
    limit: float | None
    readers: Figure
    failed: Figure
    rises: tuple[str, ...]
    faults: tuple[FaultNote, ...]
    changes: tuple[ChangeNote, ...]
    questions: tuple[str, ...]
    quotes: tuple[Quote, ...]
    weeks: tuple[OutcomeCount, ...]


@dataclass(frozen=True, slots=True)
class WishedTheme:
    """Something to develop: its place, why, and the readers' own words."""

    theme_id: int
    name: str
    place: int
    reason: str
    trend: str
    readers: Figure
    this_week: Figure
    rate_a_week: float | None
    rate_low: float | None
    rate_high: float | None
    first_five_share: float | None
    parts: Mapping[str, float]
    covered_by_title: str | None
    covered_by_slug: str | None
    quotes: tuple[Quote, ...]


@dataclass(frozen=True, slots=True)
class OwedNote:
    """A reader who waits for an answer."""

    group: str
    reason: str
    quote: Quote
    message_ids: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class ComingOccasion:
    """An occasion whose window is open, and what readers ask for it."""

    name: str
    on: date
    days_left: int
    wishes: tuple[tuple[int, str, int], ...]
    """Number of the theme, its name, and how many readers asked."""


@dataclass(frozen=True, slots=True)
class WeekNumbers:
    """Counts of one week, by the names of `numbers.COUNTED`."""

    week: str
    counts: Mapping[str, Figure]


@dataclass(frozen=True, slots=True)
class DoorCount:
    """Messages that came by one door this week, and on average in the weeks before."""

    door: str
    messages: Figure
    usual: float


@dataclass(frozen=True, slots=True)
class Line:
    """One sentence with the figure that it rests on."""

    words: str
    figure: Figure | None = None
    quotes: tuple[Quote, ...] = ()


@dataclass(frozen=True, slots=True)
class Digest:
    """One week's findings.

    Attributes
    ----------
    week : str
        Such as "2026-W47".
    is_first : bool
        Whether there was none before; it then explains itself.
    is_quiet : bool
        Whether there is nothing to do; it is then three lines.
    opening : tuple of str
        The lines at its head.
    owed_counts : mapping of str to int
        Messages that wait for an answer, by group of `replies.whom.GROUPS`.
    numbers : tuple of WeekNumbers
        This week last, the weeks before it first.
    done : tuple of Line
        What was done since the last digest.
    """

    week: str
    begins_on: date
    ends_on: date
    built_at: datetime
    site_name: str
    timezone: str
    is_first: bool
    is_quiet: bool
    opening: tuple[str, ...]
    hazards: tuple[HazardNote, ...]
    troubled: tuple[TroubledRecipe, ...]
    wishes: tuple[WishedTheme, ...]
    owed: tuple[OwedNote, ...]
    owed_counts: Mapping[str, int]
    praise: tuple[Quote, ...]
    season: tuple[ComingOccasion, ...]
    numbers: tuple[WeekNumbers, ...]
    unsure: tuple[Line, ...]
    done: tuple[Line, ...]
    arrivals: tuple[DoorCount, ...] = ()
    """What came by which door, the most first; empty in digests that were frozen before it was counted."""

    @property
    def hazards_by_kind(self) -> Mapping[str, Sequence[HazardNote]]:
        """Hazards that share a caution together, in the order in which the first of each stands."""
        kinds: dict[str, list[HazardNote]] = {}
        for note in self.hazards:
            kinds.setdefault(note.hazard, []).append(note)
        return kinds

    @property
    def now(self) -> WeekNumbers:
        """Numbers of this week."""
        return self.numbers[-1]


def to_json(digest: Digest) -> dict[str, Any]:
    """Digest as plain values that JSON can hold."""
    return dict(plain(_as_dict(digest)))


def _as_dict(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {item.name: _as_dict(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, Mapping):
        return {key: _as_dict(inner) for key, inner in value.items()}
    return [_as_dict(inner) for inner in value] if isinstance(value, tuple) else value


def from_json(document: Mapping[str, Any]) -> Digest:
    """Digest from what `to_json` made.

    Raises
    ------
    ValueError
        If a part is missing or of another kind; it says which.
    """
    return _read(Digest, document, "digest")


_Kind = TypeVar("_Kind")


def _read(kind: type[_Kind], value: Any, place: str) -> _Kind:
    if not isinstance(value, Mapping):
        raise ValueError(f"{place} is {value!r}, not a {kind.__name__}")
    hints = get_type_hints(kind)
    try:
        names = [one.name for one in fields(kind) if one.name in value or one.default is MISSING]  # type: ignore[arg-type]
        return kind(**{name: _value(hints[name], value[name], f"{place}.{name}") for name in names})
    except KeyError as error:
        raise ValueError(f"{place} has no {error.args[0]}") from error


def _value(hint: Any, value: Any, place: str) -> Any:
    origin, inner = get_origin(hint), get_args(hint)
    if origin is types.UnionType:
        if value is None:
            return None
        return _value(next(one for one in inner if one is not types.NoneType), value, place)
    if origin is tuple:
        kinds = [inner[0]] * len(value) if inner[-1] is Ellipsis else inner
        return tuple(_value(one, item, place) for one, item in zip(kinds, value, strict=True))
    if origin is Mapping:
        return {key: _value(inner[1], item, f"{place}.{key}") for key, item in value.items()}
    if is_dataclass(hint):
        return _read(hint, value, place)  # type: ignore[arg-type]
    if hint in (date, datetime):
        return hint.fromisoformat(value)
    return value
