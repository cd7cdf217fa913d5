"""A fuzzer that is led by coverage, on what strangers send, through the real doors.

    python -m tests.trust.fuzz mail --seconds 60

Needs `pip install second-batch[fuzz]` (atheris, which is libFuzzer). Each input may take 5 seconds and the
process 500 MB; what takes more, what raises, and what a database could not hold is a finding and ends the
search. It is written to `tests/trust/found/DOOR/`, and `test_found.py` tries it ever after. Prints how many
inputs were tried, how many a second, and what was found.
"""

import argparse
import hashlib
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.trust.doors import DOORS, SEEDS

FOUND = Path(__file__).parent / "found"
LONGEST_SECONDS = 5
MEMORY_MB = 500
LONGEST_BYTES = 65_536
"""Of one input; what grows with longer ones is seen by `tests/bench/growth.py`."""


def main() -> int:
    """Fuzz one door for a while; exit code 1 if something was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("door", choices=sorted(DOORS))
    parser.add_argument("--seconds", type=int, default=60)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        return search(asked.door, asked.seconds, Path(folder))


def search(door: str, seconds: int, folder: Path) -> int:
    """Run libFuzzer in a process of its own until the time is over or something is found."""
    corpus = folder / "corpus"
    corpus.mkdir()
    for number, seed in enumerate(SEEDS[door]):
        (corpus / f"seed-{number}").write_bytes(seed)
    limits = [
        f"-max_total_time={seconds}",
        f"-timeout={LONGEST_SECONDS}",
        f"-rss_limit_mb={MEMORY_MB}",
        f"-max_len={LONGEST_BYTES}",
        f"-artifact_prefix={folder}/",
        "-print_final_stats=1",
    ]
    command = [sys.executable, "-m", "tests.trust.fuzzed", door, str(corpus), *limits]
    done = subprocess.run(command, capture_output=True, check=False)
    said = (done.stdout + done.stderr).decode("utf-8", "replace")
    stats = dict(re.findall(r"^stat::(\w+):\s+(\d+)", said, re.MULTILINE))
    count, speed = (int(stats.get(name, 0)) for name in ("number_of_executed_units", "average_exec_per_sec"))
    found = keep(door, folder)
    print(f"{door}: {count:,} inputs, {speed:,} a second, {len(found)} found")
    if found or done.returncode:
        print(said[-3000:], f"ended with {done.returncode}", *found, sep="\n")
    return 1 if found else done.returncode


def keep(door: str, folder: Path) -> list[Path]:
    """Move what libFuzzer wrote down as a finding to where the tests replay it."""
    kept = []
    for path in folder.glob("*-*"):
        content = path.read_bytes()
        place = FOUND / door / f"{path.name.partition('-')[0]}-{hashlib.sha256(content).hexdigest()[:12]}"
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content)
        path.unlink()
        kept.append(place)
    return kept


if __name__ == "__main__":
    sys.exit(main())
