"""The tabular CUSUM against published tables."""

import numpy as np
import pytest

from inbox.ranking.cusum import upper_sums

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3: target 325, k 0.3175, h 4.1959.
NIST = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625,
    325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]  # fmt: skip

# Montgomery D. C., Runger G. C., Applied Statistics and Probability for Engineers, 3rd ed. (2003), Example
# 16-6, Table 16-8: target 99, K 1, H 10.
MONTGOMERY = [
    102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4, 97.0, 96.7,
    100.3, 101.4, 97.2, 101.0,
]  # fmt: skip
UPPER = [2.0, 0, 0, 0, 2.0, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0]
LOWER = [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0]


def test_nist_handbook() -> None:
    sums = upper_sums(NIST, target=325, allowance=0.3175)
    assert sums[12:].tolist() == pytest.approx(
        [3.0075, 4.9400, 7.4475, 10.6300, 11.9875, 14.4450, 16.0025, 19.0350], abs=5e-5
    )
    assert sums[4] == pytest.approx(0.0325, abs=5e-5)
    assert (np.flatnonzero(sums > 4.1959) + 1).tolist() == [14, 15, 16, 17, 18, 19, 20]


def test_montgomery_table_16_8() -> None:
    assert upper_sums(MONTGOMERY, target=99, allowance=1).tolist() == pytest.approx(UPPER, abs=5e-2)
    mirrored = upper_sums(-np.array(MONTGOMERY), target=-99, allowance=1)
    assert mirrored.tolist() == pytest.approx(LOWER, abs=5e-2)
