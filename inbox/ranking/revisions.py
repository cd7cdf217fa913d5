"""Did the change help: reports before and after a revision of a recipe.

Start at `compare`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from inbox.ranking import wording
from inbox.ranking.health import BASE_SHARE, FEWEST_READERS, Report, gather
from inbox.ranking.shares import Posterior, Spread, evidence, posterior, probability_less
from inbox.ranking.stats import Floats, newcombe

SURE = 0.995
"""Probability from which a share is said to have fallen or risen. Somebody looks every week, and a claim that
would be made at one look in twenty is made at some look in one case of four; this one is made in at most one
of twenty in half a year of looks (`tests.bench.rises --choose`)."""

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
    before_failed, after_failed : int
        Of them, those whose report was read, or labelled, as failed.
    before_share, after_share : float
        Means of the two posteriors.
    difference_low, difference_high : float
        95 % interval of the share after less the share before, by Newcombe's method on these counts.
    fell_probability : float
        Posterior probability that the share fell.
    """

    verdict: Verdict
    before_readers: int
    before_failed: int
    before_share: float
    after_readers: int
    after_failed: int
    after_share: float
    difference_low: float
    difference_high: float
    fell_probability: float
    faults: tuple[FaultChange, ...]
    in_words: str


def compare(
    before: Sequence[Report], after: Sequence[Report], *, base_share: float = BASE_SHARE
) -> RevisionEffect:
    """Compare the reports on both sides of a revision.

    Both shares start from the share of all reports together, so that nothing changed until readers say so.

    Parameters
    ----------
    before, after : sequence of Report
        Those between the revision before and this one, and those since.
    base_share : float
        Share against which the reading's probabilities are taken.
    """
    voices = gather([before, after])
    (before_readers, after_readers), (before_failed, after_failed) = (
        (int(first), int(second)) for first, second in (voices.readers, voices.failed_readers)
    )
    shares = _both_sides(voices.evidence(base_share))
    fell = float(probability_less(shares.row(1), shares.row(0))[0])
    low, high = newcombe(after_failed, after_readers, before_failed, before_readers)
    verdict = _verdict(fell, before_readers, after_readers)
    return RevisionEffect(
        verdict=verdict,
        before_readers=before_readers,
        before_failed=before_failed,
        before_share=float(shares.mean[0]),
        after_readers=after_readers,
        after_failed=after_failed,
        after_share=float(shares.mean[1]),
        difference_low=low,
        difference_high=high,
        fell_probability=fell,
        faults=_fault_changes(before, after, before_readers, after_readers),
        in_words=_in_words(verdict, (before_failed, before_readers), (after_failed, after_readers), fell),
    )


def _both_sides(log_likelihood: Floats) -> Posterior:
    """Posteriors of the share before and after, from a prior about the share of both together."""
    pooled = float(posterior(log_likelihood.sum(axis=0, keepdims=True), Spread(0.5, 0.5)).mean[0])
    return posterior(log_likelihood, Spread(pooled * _PRIOR_REPORTS, (1 - pooled) * _PRIOR_REPORTS))


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
        shares = _both_sides(_certain((was, before_readers), (is_now, after_readers)))
        fell = float(probability_less(shares.row(1), shares.row(0))[0])
        changes.append(FaultChange(fault, was, is_now, fell))
    return tuple(changes)


def _certain(*sides: tuple[int, int]) -> Floats:
    """Log-likelihoods of counts of readers with and of all readers, a row a side."""
    told = np.concatenate([np.arange(readers) < count for count, readers in sides]).astype(float)
    rows = np.repeat(np.arange(len(sides)), [readers for _, readers in sides])
    return evidence(told, np.ones(len(told)), rows, len(sides), base_share=0.5)


def _in_words(verdict: Verdict, before: tuple[int, int], after: tuple[int, int], fell: float) -> str:
    counts = f"Before the change {wording.of(*before)} readers failed, since then {wording.of(*after)}."
    chance = wording.chance(fell)
    return {
        "better": f"{counts} It helped: the share fell with a probability of {chance}.",
        "worse": f"{counts} It got worse: the share rose with a probability of {wording.chance(1 - fell)}.",
        "about_the_same": f"{counts} No clear difference: it fell with a probability of {chance}.",
        "too_few": f"{counts} Still too few to tell.",
    }[verdict]
