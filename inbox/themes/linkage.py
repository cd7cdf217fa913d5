"""Average linkage: groups whose members are, on average, alike enough.

Start with `average_linkage`.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import fcluster, linkage


def average_linkage(likely: NDArray[np.floating], count: int, threshold: float) -> list[int]:
    """Group `count` items.

    Parameters
    ----------
    likely : ndarray of shape (count * (count - 1) / 2,)
        Likeness of each pair, in the order of `numpy.triu_indices(count, 1)`.
    threshold : float
        Two groups become one while the mean likeness between their members is at least this.

    Returns
    -------
    list of int
        Number of each item's group.
    """
    if count < 2:
        return [1] * count
    distance = 1.0 - np.asarray(likely, dtype=np.float64)
    tree = linkage(np.clip(distance, 0.0, 1.0), "average")
    return [int(label) for label in fcluster(tree, 1.0 - threshold, "distance")]
