"""Codes of the second step against the test values of RFC 4226 and RFC 6238.

Sources: RFC 4226 (M'Raihi et al., 2005), Appendix D, and RFC 6238 (M'Raihi et al., 2011), Appendix B,
column SHA1. There the codes have eight digits; ours are the last six of them, by the same truncation
(RFC 4226, section 5.3: modulo 10 to the number of digits). Written down from memory, then found the same in
copies of both appendices in public test suites, among them tests/data/rfc4226.ts of farshidbeheshti/xotp.
"""

import base64
from datetime import UTC, datetime, timedelta

import pytest

from inbox.records.second_step import code_at, find_step, step_of

SECRET = base64.b32encode(b"12345678901234567890").decode()


@pytest.mark.parametrize(
    ("counter", "code"),
    list(
        enumerate(
            (
                "755224",
                "287082",
                "359152",
                "969429",
                "338314",
                "254676",
                "287922",
                "162583",
                "399871",
                "520489",
            )
        )
    ),
)
def test_rfc_4226_appendix_d(counter: int, code: str) -> None:
    assert code_at(SECRET, counter) == code


@pytest.mark.parametrize(
    ("seconds", "step", "code"),
    [
        (59, 0x1, "94287082"),
        (1111111109, 0x23523EC, "07081804"),
        (1111111111, 0x23523ED, "14050471"),
        (1234567890, 0x273EF07, "89005924"),
        (2000000000, 0x3F940AA, "69279037"),
        (20000000000, 0x27BC86AA, "65353130"),
    ],
)
def test_rfc_6238_appendix_b(seconds: int, step: int, code: str) -> None:
    moment = datetime.fromtimestamp(seconds, UTC)

    assert step_of(moment) == step
    assert find_step(SECRET, code[-6:], now=moment) == step


def test_one_step_of_drift_and_no_more() -> None:
    """RFC 6238, section 5.2: at most one step for the delay of the network; section 6 for drift."""
    moment = datetime.fromtimestamp(1234567890, UTC)
    code = code_at(SECRET, step_of(moment))

    for seconds, fits in ((-60, False), (-30, True), (30, True), (60, False)):
        found = find_step(SECRET, code, now=moment + timedelta(seconds=seconds))
        assert (found is not None) is fits, seconds
