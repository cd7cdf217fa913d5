"""Did it pay: who of those that asked for a recipe cooked it once it was there, and how it turned out.

Start at `did_it_pay`.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from scipy.stats import fisher_exact

from inbox.ranking import wording

OUTCOMES = ("worked", "mixed", "failed", "not_said")

FEWEST_TO_COMPARE = 5
"""Readers on each side who say how it turned out, from which the sides are compared. Chosen."""

SURE = 0.05
"""Level of the test whether it fails more, or less, often for those who asked."""


@dataclass(frozen=True, slots=True)
class Made:
    """One made-it report of the recipe; `reader` is None where nobody knows who wrote it."""

    message_id: int
    reader: int | None
    received_at: datetime
    outcome: str | None


@dataclass(frozen=True, slots=True)
class Side:
    """Readers who made it, by how it turned out, each with the messages that say so.

    Attributes
    ----------
    readers : dict of outcome to int
        By `OUTCOMES`; a reader counts once, by the newest report that says how it turned out.
    message_ids : dict of outcome to list of int
    """

    readers: dict[str, int]
    message_ids: dict[str, list[int]]

    @property
    def count(self) -> int:
        """Readers who made it."""
        return sum(self.readers.values())

    @property
    def every_id(self) -> list[int]:
        """All their reports."""
        return sorted(number for ids in self.message_ids.values() for number in ids)


@dataclass(frozen=True, slots=True)
class Paid:
    """What became of one theme that was published.

    Attributes
    ----------
    asked_count : int
        Readers who asked, each once; of them `unmatched_count` left nothing to be found again by.
    in_words, compared : str
        One sentence on those who asked, one that sets them beside the others.
    """

    asked_count: int
    unmatched_count: int
    askers: Side
    others: Side
    in_words: str
    compared: str


def published_since(
    shelved_at: datetime, published_at: datetime | None, first_asked_at: datetime | None
) -> datetime:
    """When reports begin to count.

    That is the day of the recipe where it lies between the first request and the moment in which the owner
    put the theme on the shelf; a recipe that is older than the wish counts from that moment.
    """
    if published_at is None or first_asked_at is None:
        return shelved_at
    return published_at if first_asked_at <= published_at < shelved_at else shelved_at


def did_it_pay(
    asked: Collection[int], without_address: Collection[int], unknown_count: int, made: Sequence[Made]
) -> Paid:
    """Set those who asked beside the others who made the recipe.

    Parameters
    ----------
    asked : collection of int
        Readers who asked.
    without_address : collection of int
        Those of them who are known by a handle only, and so only where they wrote before.
    unknown_count : int
        Further requests by nobody knows whom.
    made : sequence of Made
        Reports of the linked recipe since it was published.
    """
    askers = _side([one for one in made if one.reader in asked])
    others = _side([one for one in made if one.reader not in asked])
    unmatched = unknown_count + len(set(without_address) - {one.reader for one in made})
    total = len(asked) + unknown_count
    return Paid(
        total, unmatched, askers, others, _in_words(total, unmatched, askers), _compared(askers, others)
    )


def _side(made: Sequence[Made]) -> Side:
    by_reader: dict[int, list[Made]] = {}
    for one in sorted(made, key=lambda one: (one.received_at, one.message_id)):
        by_reader.setdefault(-one.message_id if one.reader is None else one.reader, []).append(one)
    readers = dict.fromkeys(OUTCOMES, 0)
    ids: dict[str, list[int]] = {outcome: [] for outcome in OUTCOMES}
    for reports in by_reader.values():
        said = [one.outcome for one in reports if one.outcome]
        outcome = said[-1] if said else "not_said"
        readers[outcome] += 1
        ids[outcome] += [one.message_id for one in reports]
    return Side(readers, ids)


def _in_words(total: int, unmatched: int, askers: Side) -> str:
    if not total:
        return "Nobody is known to have asked for it."
    if total == 1:
        words = f"The one reader who asked {'made it' if askers.count else 'has not told of making it'}"
    else:
        made = wording.number(askers.count) if askers.count else "none"
        words = f"Of {wording.number(total)} readers who asked, {made} told of making it"
    turned_out = _turned_out(askers)
    words += f": {turned_out}." if turned_out else "."
    if unmatched:
        who = "That reader" if total == 1 else f"{wording.number(unmatched).capitalize()} of them"
        words += f" {who} left no address to be known again by, so what they cooked may be missing here."
    return words


def _turned_out(side: Side) -> str:
    parts = [
        f"{wording.number(side.readers[outcome])} {words}"
        for outcome, words in (("worked", "worked"), ("mixed", "so-so"), ("failed", "failed"))
        if side.readers[outcome]
    ]
    if side.readers["not_said"]:
        parts.append(f"{wording.number(side.readers['not_said'])} did not say how it turned out")
    return wording.listed(parts)


def _compared(askers: Side, others: Side) -> str:
    if not others.count:
        return "Nobody else has told of making it."
    beside = f"Of {wording.people(others.count)} besides: {_turned_out(others)}."
    told = [
        [side.readers["failed"], side.readers["worked"] + side.readers["mixed"]] for side in (askers, others)
    ]
    if min(sum(side) for side in told) < FEWEST_TO_COMPARE:
        return f"{beside} Too few to set the two beside each other."
    if float(fisher_exact(told).pvalue) > SURE:
        return f"{beside} No clear difference between the two."
    more = told[0][0] * sum(told[1]) > told[1][0] * sum(told[0])
    return f"{beside} It fails {'more' if more else 'less'} often for those who asked."
