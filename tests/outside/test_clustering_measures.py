"""The measures of a grouping against published examples.

B-cubed is ours (`inbox.themes.measures`); V-measure and the adjusted Rand index come from scikit-learn, and
are checked because the figures in our benchmarks rest on them. A value "from memory" was not read in the
source itself when this was written; all of them were recomputed.
"""

from collections import Counter

import pytest
from sklearn.metrics import adjusted_rand_score, pair_confusion_matrix, rand_score, v_measure_score

from inbox.themes.measures import bcubed

IIR_TRUTH = "xxxxxo" + "xooood" + "xxddd"
IIR_FOUND = [1] * 6 + [2] * 6 + [3] * 5


def test_manning_raghavan_schuetze_figure_16_4() -> None:
    """Introduction to Information Retrieval (2008), section 16.3, figure 16.4.

    Pair counts, Rand index 0.68, precision 0.5, recall 0.455: read second-hand. Purity 0.71: from memory.
    """
    (tn, fp), (fn, tp) = pair_confusion_matrix(list(IIR_TRUTH), IIR_FOUND) // 2
    assert (tp, fp, fn, tn) == (20, 20, 24, 72)
    assert round(rand_score(list(IIR_TRUTH), IIR_FOUND), 2) == 0.68
    assert round(tp / (tp + fp), 3) == 0.5
    assert round(tp / (tp + fn), 3) == 0.455
    assert round(purity(IIR_TRUTH, IIR_FOUND), 2) == 0.71


def test_bagga_and_baldwin_two_answers() -> None:
    """Algorithms for scoring coreference chains, LREC 1998: precision 76 % and 58 %, recall 100 %.

    Numbers from memory, recomputed: 16/21 and 7/12.
    """
    truth = [1] * 5 + [2] * 2 + [3] * 5
    first = bcubed(truth, [1] * 5 + [2] * 7)
    second = bcubed(truth, [1] * 5 + [2] * 2 + [1] * 5)
    assert (round(first.precision, 2), first.recall) == (0.76, 1.0)
    assert (round(second.precision, 2), second.recall) == (0.58, 1.0)
    assert first.precision == pytest.approx(16 / 21)
    assert second.precision == pytest.approx(7 / 12)


def test_bcubed_agrees_with_its_definition_item_by_item() -> None:
    """Each item asks for the share of its group that belongs with it; figure 16.4's data again."""
    precision = recall = 0.0
    for truth, found in zip(IIR_TRUTH, IIR_FOUND, strict=True):
        group = [other for other, where in zip(IIR_TRUTH, IIR_FOUND, strict=True) if where == found]
        kin = [where for other, where in zip(IIR_TRUTH, IIR_FOUND, strict=True) if other == truth]
        precision += group.count(truth) / len(group)
        recall += kin.count(found) / len(kin)
    ours = bcubed(IIR_TRUTH, IIR_FOUND)
    assert ours.precision == pytest.approx(precision / 17)
    assert ours.recall == pytest.approx(recall / 17)


def test_rosenberg_and_hirschberg_figure_2() -> None:
    """V-measure, EMNLP-CoNLL 2007, figure 2: solutions A and B, V 0.14 and 0.39; from memory."""
    found = [1] * 5 + [2] * 5 + [3] * 5
    better = [1, 1, 1, 2, 2, 3, 3, 3, 1, 1, 2, 2, 2, 3, 3]
    worse = [1, 1, 1, 2, 3, 2, 2, 2, 1, 3, 3, 3, 3, 1, 2]
    assert round(v_measure_score(better, found), 2) == 0.39
    assert round(v_measure_score(worse, found), 2) == 0.14


@pytest.mark.parametrize(
    ("truth", "found", "v"),
    [("0011", "0012", 0.8), ("0000", "0123", 0.0), ("000111", "001122", 0.52)],
)
def test_v_measure_of_the_scikit_learn_guide(truth: str, found: str, v: float) -> None:
    """Examples of scikit-learn's user guide, "Clustering performance evaluation"; from memory."""
    assert round(v_measure_score(list(truth), list(found)), 2) == v


@pytest.mark.parametrize(
    ("truth", "found", "index"),
    [("0012", "0011", 0.57), ("0011", "0101", -0.5), ("0000", "0123", 0.0), ("000111", "001122", 0.24)],
)
def test_adjusted_rand_index_of_the_scikit_learn_pages(truth: str, found: str, index: float) -> None:
    """The index of Hubert and Arabie (1985), examples of scikit-learn's pages; from memory."""
    assert round(adjusted_rand_score(list(truth), list(found)), 2) == index


def test_bcubed_needs_two_groupings_of_the_same() -> None:
    with pytest.raises(ValueError, match="got 2 and 1"):
        bcubed("ab", "a")
    with pytest.raises(ValueError, match="got 0 and 0"):
        bcubed("", "")


def purity(truth: str, found: list[int]) -> float:
    """Share of items that are of the commonest class of their cluster."""
    classes: dict[int, Counter[str]] = {}
    for one, where in zip(truth, found, strict=True):
        classes.setdefault(where, Counter())[one] += 1
    return sum(counts.most_common(1)[0][1] for counts in classes.values()) / len(truth)
