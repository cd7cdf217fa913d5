"""Average linkage: groups whose members are, on average, alike enough.

Start with `average_linkage`.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial.distance import squareform


def average_linkage(
    likely: NDArray[np.floating], count: int, threshold: float, lone_threshold: float
) -> list[int]:
    """Group `count` items.

    Parameters
    ----------
    likely : ndarray of shape (count * (count - 1) / 2,)
        Likeness of each pair, in the order of `numpy.triu_indices(count, 1)`.
    threshold : float
        Two groups become one while the mean likeness between their members is at least this.
    lone_threshold : float
        An item that is left alone then joins the group of several to which its mean likeness is highest,
        from this on.

    Returns
    -------
    list of int
        Number of each item's group.

    Examples
    --------
    >>> average_linkage(np.array([0.9, 0.3, 0.1]), 3, 0.5, 0.5)
    [1, 1, 2]
    >>> average_linkage(np.array([0.9, 0.3, 0.1]), 3, 0.5, 0.2)
    [1, 1, 1]
    """
    if count < 2:
        return [1] * count
    distance = 1.0 - np.asarray(likely, dtype=np.float64)
    tree = linkage(np.clip(distance, 0.0, 1.0), "average")
    labels = np.asarray(fcluster(tree, 1.0 - threshold, "distance"))
    return [int(label) for label in _lone_joined(labels, likely, lone_threshold)]


def _lone_joined(
    labels: NDArray[np.int32], likely: NDArray[np.floating], lone_threshold: float
) -> NDArray[np.int32]:
    groups, own, sizes = np.unique(labels, return_inverse=True, return_counts=True)
    lone, several = np.flatnonzero(sizes[own] == 1), np.flatnonzero(sizes > 1)
    if not len(lone) or not len(several):
        return labels
    inside = (own == several[:, None]) / sizes[several, None]
    means = squareform(likely)[lone] @ inside.T
    best = means.argmax(axis=1)
    joins = means[np.arange(len(lone)), best] >= lone_threshold
    labels[lone[joins]] = groups[several[best[joins]]]
    return labels
