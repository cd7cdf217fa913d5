"""How well a grouping agrees with the true one, judged message by message.

V-measure and the adjusted Rand index come from scikit-learn; B-cubed is not
there. Start with `bcubed`.
"""

from collections import Counter
from collections.abc import Hashable, Sequence
from typing import NamedTuple

from sklearn.metrics import adjusted_rand_score, v_measure_score


class BCubed(NamedTuple):
    """Shares from 0 to 1; `f1` is the harmonic mean of the other two."""

    precision: float
    recall: float
    f1: float


def bcubed(truth: Sequence[Hashable], found: Sequence[Hashable]) -> BCubed:
    """B-cubed precision, recall and F1 of a grouping.

    Each message asks: of those grouped with me, how many belong with me (precision), and of those that
    belong with me, how many are here (recall). Averaging over messages makes a large muddled group cost
    what its members suffer.

    Parameters
    ----------
    truth, found : sequence
        The true and the found group of each message, in the same order.

    Raises
    ------
    ValueError
        If the two differ in length, or are empty.

    References
    ----------
    Bagga A, Baldwin B, Algorithms for scoring coreference chains, LREC 1998 workshop on linguistic
    coreference, 563-566.

    Examples
    --------
    >>> bcubed("aabb", "aabc")
    BCubed(precision=1.0, recall=0.75, f1=0.8571428571428571)
    """
    if len(truth) != len(found) or not truth:
        raise ValueError(f"Two groupings of the same messages are needed, got {len(truth)} and {len(found)}.")
    both = Counter(zip(truth, found, strict=True))
    in_truth, in_found = Counter(truth), Counter(found)
    total = len(truth)
    precision = sum(count * count / in_found[group] for (_, group), count in both.items()) / total
    recall = sum(count * count / in_truth[group] for (group, _), count in both.items()) / total
    return BCubed(precision, recall, 2 * precision * recall / (precision + recall))


def agreement(truth: Sequence[Hashable], found: Sequence[Hashable]) -> float:
    """Mean of B-cubed F1, V-measure and adjusted Rand index: what a threshold is chosen by."""
    keys = {key: number for number, key in enumerate(dict.fromkeys(truth))}
    numbers = [keys[key] for key in truth]
    rest = v_measure_score(numbers, found) + adjusted_rand_score(numbers, found)
    return float((bcubed(truth, found).f1 + rest) / 3)
