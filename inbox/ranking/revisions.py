"""Did the change help: reports before and after a revision of a recipe.

Start at `compare`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import betainc, betaincinv

from inbox.ranking import wording
from inbox.ranking.fits import BetaSpread
from inbox.ranking.health import FEWEST_READERS, Report, reader_outcomes
from inbox.ranking.stats import newcombe

SURE = 0.95
"""Probability from which a share is said to have fallen or risen (chosen)."""

ENOUGH_READERS = 10
"""Readers on both sides from which "about the same" can be said (chosen: fewer would hide a real change)."""

_PRIOR_REPORTS = 4.0
"""How many reports the belief that the change did nothing is worth (chosen). The catalogue's spread would not
do: after a change to a bad recipe it would call the new share an ordinary one before anybody has written."""

Verdict = Literal["better", "worse", "about_the_same", "too_few"]


@dataclass(frozen=True, slots=True)
class FaultChange:
    """One fault before and after; readers who told of it, and the probability that its share fell."""

    fault: str
    before_count: int
    after_count: int
    fell_probability: float


@dataclass(frozen=True, slots=True)
class RevisionEffect:
    """What a revision did.

    Attributes
    ----------
    before_readers, after_readers : int
        Distinct readers who reported.
    before_failed, after_failed : float
        Of them, those who failed; fractional where a report counts with its probability.
    before_share, after_share : float
        Means of the two posteriors.
    difference_low, difference_high : float
        95 % interval of the share after less the share before.
    fell_probability : float
        Posterior probability that the share fell.
    """

    verdict: Verdict
    before_readers: int
    before_failed: float
    before_share: float
    after_readers: int
    after_failed: float
    after_share: float
    difference_low: float
    difference_high: float
    fell_probability: float
    faults: tuple[FaultChange, ...]
    in_words: str


def compare(before: Sequence[Report], after: Sequence[Report]) -> RevisionEffect:
    """Compare the reports on both sides of a revision.

    Both shares start from the share of all reports together, so that nothing changed until readers say so.

    Parameters
    ----------
    before, after : sequence of Report
        Those between the revision before and this one, and those since.
    """
    before_readers, before_failed = reader_outcomes(before)
    after_readers, after_failed = reader_outcomes(after)
    old, new = _both_sides((before_failed, before_readers), (after_failed, after_readers))
    fell = probability_less(new, old)
    low, high = newcombe(after_failed, after_readers, before_failed, before_readers)
    verdict = _verdict(fell, before_readers, after_readers)
    return RevisionEffect(
        verdict=verdict,
        before_readers=before_readers,
        before_failed=before_failed,
        before_share=old.mean,
        after_readers=after_readers,
        after_failed=after_failed,
        after_share=new.mean,
        difference_low=low,
        difference_high=high,
        fell_probability=fell,
        faults=_fault_changes(before, after, before_readers, after_readers),
        in_words=_in_words(verdict, (before_failed, before_readers), (after_failed, after_readers), fell),
    )


def _both_sides(before: tuple[float, int], after: tuple[float, int]) -> tuple[BetaSpread, BetaSpread]:
    """Posteriors of the share before and after, each from counts of events and of readers."""
    pooled = (before[0] + after[0] + 0.5) / (before[1] + after[1] + 1)
    prior = BetaSpread(pooled * _PRIOR_REPORTS, (1 - pooled) * _PRIOR_REPORTS)
    return prior.after(*before), prior.after(*after)


def probability_less(one: BetaSpread, other: BetaSpread) -> float:
    """Probability that a share drawn from `one` is less than one drawn from `other`, to about 1e-3."""
    points = betaincinv(other.a, other.b, (np.arange(512) + 0.5) / 512)
    return float(betainc(one.a, one.b, points).mean())


def _verdict(fell: float, before_readers: int, after_readers: int) -> Verdict:
    fewer = min(before_readers, after_readers)
    if fewer >= FEWEST_READERS and fell >= SURE:
        return "better"
    if fewer >= FEWEST_READERS and fell <= 1 - SURE:
        return "worse"
    return "about_the_same" if fewer >= ENOUGH_READERS else "too_few"


def readers_by_fault(reports: Sequence[Report]) -> dict[str, int]:
    """How many distinct readers told of each fault."""
    pairs = {(report.reader, fault) for report in reports for fault in report.faults}
    counts: dict[str, int] = {}
    for _, fault in sorted(pairs):
        counts[fault] = counts.get(fault, 0) + 1
    return counts


def _fault_changes(
    before: Sequence[Report], after: Sequence[Report], before_readers: int, after_readers: int
) -> tuple[FaultChange, ...]:
    old, new = readers_by_fault(before), readers_by_fault(after)
    changes = []
    for fault in sorted({*old, *new}, key=lambda code: (-old.get(code, 0), -new.get(code, 0), code)):
        was, is_now = old.get(fault, 0), new.get(fault, 0)
        earlier, later = _both_sides((was, before_readers), (is_now, after_readers))
        fell = probability_less(later, earlier)
        changes.append(FaultChange(fault, was, is_now, fell))
    return tuple(changes)


def _in_words(verdict: Verdict, before: tuple[float, int], after: tuple[float, int], fell: float) -> str:
    counts = (
        f"Before the change {wording.of(round(before[0]), before[1])} readers failed, "
        f"since then {wording.of(round(after[0]), after[1])}."
    )
    chance = wording.per_cent(fell)
    return {
        "better": f"{counts} It helped: the share fell with a probability of {chance}.",
        "worse": f"{counts} It got worse: the share rose with a probability of {wording.per_cent(1 - fell)}.",
        "about_the_same": f"{counts} No clear difference.",
        "too_few": f"{counts} Still too few to tell.",
    }[verdict]
