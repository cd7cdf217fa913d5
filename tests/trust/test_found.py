"""What the fuzzer once found is tried again: no exception, within 5 seconds and 500 MB."""

import json
import subprocess
import sys

import pytest

from tests.trust.doors import DOORS, SEEDS
from tests.trust.fuzz import FOUND, LONGEST_SECONDS, MEMORY_MB

REPLAY = """
import json, re, sys, time
from pathlib import Path
from tests.trust.doors import DOORS
for name in sys.argv[2:]:
    start = time.process_time()
    DOORS[sys.argv[1]](Path(name).read_bytes())
    most_kb = re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]
    print(json.dumps([name, time.process_time() - start, int(most_kb) / 1024]))
"""
"""Not ru_maxrss: a process begins with that of the one that started it."""


@pytest.mark.parametrize("door", DOORS)
def test_beginnings_of_the_search_are_taken(door: str) -> None:
    for seed in SEEDS[door]:
        DOORS[door](seed)


@pytest.mark.parametrize("door", sorted(path.name for path in FOUND.iterdir()))
def test_found_cases_do_no_harm_any_more(door: str) -> None:
    paths = sorted(map(str, (FOUND / door).iterdir()))
    done = subprocess.run(
        [sys.executable, "-c", REPLAY, door, *paths], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    measured = [json.loads(line) for line in done.stdout.splitlines()]
    assert [name for name, _, _ in measured] == paths
    for name, seconds, memory_mb in measured:
        assert seconds < LONGEST_SECONDS, name
        assert memory_mb < MEMORY_MB, name
