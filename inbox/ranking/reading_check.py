"""How right the reading is, from messages that a person labelled, and counts corrected by it.

Each week a small random sample is offered for labelling. Start at `check_label` and `corrected_count`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from inbox.ranking.stats import wilson


@dataclass(frozen=True, slots=True)
class LabelCheck:
    """One label on a random sample: counts of messages by what was read and what is true.

    Attributes
    ----------
    precision, recall : tuple of float or None
        Share, and its 95 % Wilson interval; None where nothing was read, or nothing is true.
    """

    right: int
    imagined: int
    missed: int
    rightly_left: int
    precision: tuple[float, float, float] | None
    recall: tuple[float, float, float] | None


def check_label(read: Sequence[bool], truth: Sequence[bool]) -> LabelCheck:
    """Compare what was read with what a person said, message by message."""
    said, true = np.asarray(read, bool), np.asarray(truth, bool)
    right, imagined, missed = int((said & true).sum()), int((said & ~true).sum()), int((~said & true).sum())
    return LabelCheck(
        right,
        imagined,
        missed,
        int((~said & ~true).sum()),
        _share(right, right + imagined),
        _share(right, right + missed),
    )


def _share(count: int, total: int) -> tuple[float, float, float] | None:
    if not total:
        return None
    low, high = wilson(count, total)
    return count / total, float(low), float(high)


@dataclass(frozen=True, slots=True)
class CorrectedCount:
    """How many messages truly have a label, with a 95 % interval."""

    count: float
    low: float
    high: float


def corrected_count(read_count: int, message_count: int, check: LabelCheck) -> CorrectedCount | None:
    """Correct a count of messages for what the reading misses and imagines.

    The hit rates may come from the samples of many weeks, while the count is of one.

    Parameters
    ----------
    read_count, message_count : int
        Messages that were read as having the label, and all messages of the span.

    Returns
    -------
    CorrectedCount or None
        None where the sample cannot tell: no message with the label, none without, or a reading that is no
        better than chance.

    References
    ----------
    Rogan W. J., Gladen B. (1978), American J. Epidemiology 107:71-76; interval by Lang Z., Reiczigel J.
    (2014), Preventive Veterinary Medicine 113:13-22.
    """
    positive, negative = check.right + check.missed, check.imagined + check.rightly_left
    if not message_count or not positive or not negative:
        return None
    z = float(ndtri(0.975))
    n, n_pos, n_neg = message_count + z * z, positive + 2, negative + 2
    apparent = (read_count + z * z / 2) / n
    sensitivity, specificity = (check.right + 1) / n_pos, (check.rightly_left + 1) / n_neg
    plain = (check.right / positive) + (check.rightly_left / negative) - 1
    youden = sensitivity + specificity - 1
    if plain <= 0 or youden <= 0:
        return None
    share = (read_count / message_count + check.rightly_left / negative - 1) / plain
    middle = (apparent + specificity - 1) / youden
    shift = (
        2
        * z
        * z
        * (
            middle * sensitivity * (1 - sensitivity) / n_pos
            - (1 - middle) * specificity * (1 - specificity) / n_neg
        )
    )
    spread = z * np.sqrt(
        (
            apparent * (1 - apparent) / n
            + middle**2 * sensitivity * (1 - sensitivity) / n_pos
            + (1 - middle) ** 2 * specificity * (1 - specificity) / n_neg
        )
        / youden**2
    )
    bounds = np.clip([share, middle + shift - spread, middle + shift + spread], 0.0, 1.0) * message_count
    return CorrectedCount(*(float(bound) for bound in bounds))
