"""How long an import of mail takes beside the standard library's bare parse of the same file, and its memory.

    python -m tests.bench.intake            # 10,000 mails
    python -m tests.bench.intake 100000     # the size that the bound is stated for

Each import runs in a process of its own, so that its peak memory is its own; all is processor time. By words
alone (words and cues, with the encoder's rows left empty) all mails are read; whole the first 1,000, and
reckoned up. `second-batch import` brings in and stores in one process while others read
(`inbox/pipeline/read_along.py`), so on two cores it takes half of the sum, or the one process's part if that
is longer. Not counted: that the others take some two seconds each to start. The bound is for the whole.
"""

import json
import mailbox
import pickle
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from functools import partial
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from inbox.pipeline.processes import ReadBatch
from inbox.pipeline.read import read_messages
from inbox.reading.catalogue_index import index_of
from inbox.reading.contextual import encode_sentences
from inbox.reading.findings import CatalogueRecipe, Reading, Told
from inbox.reading.prepared import prepare
from inbox.reading.recipe_link import link_recipe
from inbox.reading.saved import load_or_train
from inbox.sparing import spare_collection

RATIO_BOUND = 4.0
MEMORY_BOUND_MB = 150
WORDS = (
    "loaf oven flour butter sugar lemon middle sank rose crumb golden Sunday family again tin minutes baked "
    "added little more less salt recipe page thank you could please make version without dairy eggs my the "
    "it and a with for was but so we they children loved tried twice dough sticky wet dry batter whisk cold"
).split()


def make_mbox(path: Path, count: int, seed: int = 7) -> None:
    """Write an mbox of invented mails: plain ones, answers with quotations, some with HTML as well."""
    rng = random.Random(seed)
    first = datetime(2021, 1, 1, tzinfo=UTC)
    with path.open("w", encoding="utf-8", newline="\n") as file:
        for number in range(count):
            moment = first + timedelta(minutes=13 * number)
            file.write(_mail(rng, number, moment, count))


def _sentences(rng: random.Random, count: int) -> str:
    made = []
    for _ in range(count):
        made.append(" ".join(rng.choices(WORDS, k=rng.randint(5, 14))).capitalize() + ".")
    return " ".join(made)


def _wrapped(text: str) -> str:
    lines, line = [], ""
    for word in text.split():
        if len(line) + len(word) > 72:
            lines.append(line)
            line = ""
        line = f"{line} {word}".strip()
    return "\n".join([*lines, line])


def _mail(rng: random.Random, number: int, moment: datetime, count: int) -> str:
    reader = rng.randint(0, max(count // 3, 1))
    body = _wrapped(_sentences(rng, rng.randint(1, 6)))
    answers = rng.random() < 0.4
    head = (
        f"From reader{reader}@example.org {moment:%a %b %d %H:%M:%S %Y}\n"
        f"Return-Path: <reader{reader}@example.org>\n"
        f"Received: from mail.example.org (mail.example.org [192.0.2.{number % 250}])\n"
        f" by mx.kitchen.example with ESMTPS id a{number:x} for <hello@kitchen.example>;\n"
        f" {format_datetime(moment)}\n"
        f"DKIM-Signature: v=1; a=rsa-sha256; c=relaxed/relaxed; d=example.org; s=mail;\n h=from:to:date;\n"
        f" bh={rng.getrandbits(256):x}; b={rng.getrandbits(512):x}\n"
        f"Date: {format_datetime(moment)}\n"
        f"From: Reader {reader} <reader{reader}@example.org>\n"
        f"To: hello@kitchen.example\n"
        f"Message-ID: <{number}.{reader}@example.org>\n"
        f"Subject: {'Re: ' if answers else ''}{' '.join(rng.choices(WORDS, k=4))}\n"
        f"MIME-Version: 1.0\n"
    )
    if answers:
        letter = f"<letter{number // 50}@kitchen.example>"
        head += f"In-Reply-To: {letter}\nReferences: {letter}\n"
        quoted = "\n".join("> " + line for line in _wrapped(_sentences(rng, 6)).split("\n"))
        body += f"\n\nOn {moment:%d %b %Y, at %H:%M}, Kitchen <hello@kitchen.example> wrote:\n{quoted}\n"
    body += f"\n\n-- \nReader {reader}\n"
    if rng.random() < 0.3:
        html = "".join(f"<p>{part}</p>" for part in body.split("\n\n"))
        return (
            f'{head}Content-Type: multipart/alternative; boundary="b{number}"\n\n'
            f"--b{number}\nContent-Type: text/plain; charset=utf-8\n\n{body}\n"
            f"--b{number}\nContent-Type: text/html; charset=utf-8\n\n<html><body>{html}</body></html>\n"
            f"--b{number}--\n\n"
        )
    return f"{head}Content-Type: text/plain; charset=utf-8\nContent-Transfer-Encoding: 8bit\n\n{body}\n"


def bare_parse_seconds(path: Path) -> float:
    """Seconds that the standard library takes to parse all mails of the file with policy.compat32."""
    started = time.process_time()
    box = mailbox.mbox(path)
    for _ in box:
        pass
    box.close()
    return time.process_time() - started


def run_import(path: Path, folder: Path, how: str) -> dict[str, float]:
    """Import the file into a fresh SQLite ledger and read it, if at all, by words or whole.

    Seconds, and the peak memory of this process in MB.
    """
    from inbox.intake.run import import_path
    from inbox.intake.sources import ImportOptions
    from inbox.records import migrate
    from inbox.records.engine import make_sessions, open_engine

    engine = open_engine(f"sqlite:///{folder}/ledger.sqlite3")
    migrate.upgrade(engine)
    reads = {"words": by_words, "whole": whole}[how](folder) if how != "import" else None
    spare_collection()
    started = time.process_time()
    result = import_path(make_sessions(engine), path, options=ImportOptions(now=datetime.now(UTC)))
    found = {"seconds": time.process_time() - started, "stored": result.stored, "total": result.total}
    if reads is not None:
        started = time.process_time()
        read_messages(make_sessions(engine), reads, now=datetime.now(UTC))
        found["ledger_seconds"] = time.process_time() - started - reads.seconds
        found["reading_seconds"] = reads.seconds - reads.handing_seconds
        found["handing_seconds"] = reads.handing_seconds
    engine.dispose()
    found["peak_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return found


class _Timed:
    """A way to read as a model, and what it takes, with what handing over to other processes takes."""

    def __init__(self, version: str, read: ReadBatch) -> None:
        self.version = version
        self._read = read
        self.seconds = 0.0
        self.handing_seconds = 0.0

    def read(self, told: Sequence[Told], catalogue: Sequence[CatalogueRecipe]) -> list[Reading]:
        started = time.process_time()
        readings = self._read(list(told))
        read = time.process_time()
        pickle.loads(pickle.dumps(told)), pickle.loads(pickle.dumps(readings))
        self.seconds += time.process_time() - started
        self.handing_seconds += time.process_time() - read
        return readings


def by_words(folder: Path) -> _Timed:
    """The model with the encoder's rows left empty; training is not counted."""
    model = load_or_train(folder / "model")
    whole_width, part_width = (rows.shape[1] for rows in encode_sentences([["It sank."]]))

    def blank(cut: Sequence[Sequence[str]]) -> tuple[np.ndarray, np.ndarray]:
        parts = sum(map(len, cut))
        return np.zeros((len(cut), whole_width), np.float32), np.zeros((parts, part_width), np.float32)

    def read(told: list[Told]) -> list[Reading]:
        index = index_of([])
        links = [link_recipe(one, index) for one in told]
        with threadpool_limits(limits=1):
            return model.read_prepared(prepare(told, encoder=blank), links)

    return _Timed("words", read)


def whole(folder: Path) -> _Timed:
    """The model as it is."""
    model = load_or_train(folder / "model")
    return _Timed(model.version, partial(model.read, catalogue=[]))


def _in_own_process(path: Path, folder: Path, how: str = "import") -> dict[str, float]:
    folder.mkdir()
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.intake", how, str(path), str(folder)],
        check=True,
        capture_output=True,
        text=True,
    )
    return dict(json.loads(done.stdout))


def main(arguments: list[str]) -> int:
    """Print the figures; 1 if a bound is not held."""
    if arguments and arguments[0] in ("import", "words", "whole"):
        print(json.dumps(run_import(Path(arguments[1]), Path(arguments[2]), arguments[0])))
        return 0
    count = int(arguments[0]) if arguments else 10_000
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        small, large = place / "small.mbox", place / "large.mbox"
        make_mbox(small, 1_000)
        make_mbox(large, count)
        bare = bare_parse_seconds(large)
        little = _in_own_process(small, place / "one")
        brought = _in_own_process(large, place / "two")
        words = _in_own_process(large, place / "three", "words")
        closely = _in_own_process(small, place / "four", "whole")
    ratio, ledger, handing, by_words_alone = (
        seconds / bare
        for seconds in (
            brought["seconds"],
            words["ledger_seconds"],
            words["handing_seconds"],
            words["reading_seconds"],
        )
    )
    read_whole = closely["reading_seconds"] / closely["stored"] * count / bare
    one_process = ratio + ledger + handing

    def on_two(reading: float) -> float:
        return max(one_process, (one_process + reading) / 2)

    more_mb = brought["peak_mb"] - little["peak_mb"]
    print(f"mails                      {count:,} ({brought['stored']:,.0f} stored)")
    print(f"bare parse, compat32       {bare:.1f} s ({count / bare:,.0f} a second)")
    print(
        f"import without reading     {brought['seconds']:.1f} s ({count / brought['seconds']:,.0f} a second)"
    )
    print(f"ratio without reading      {ratio:.2f}")
    print(f"  to store readings        {ledger:.2f} more")
    print(f"  to hand over             {handing:.2f} more")
    print(f"  to read by words alone   {by_words_alone:.2f} more on one core")
    print(f"  to read whole            {read_whole:.2f} more on one core")
    print(f"ratio, words alone read    {on_two(by_words_alone):.2f} on two cores")
    print(f"ratio with reading         {on_two(read_whole):.2f} on two cores (bound {RATIO_BOUND})")
    print(f"reading, mails a second    {closely['stored'] / closely['reading_seconds']:,.0f} on one core")
    print(f"peak memory                {brought['peak_mb']:.0f} MB")
    print(f"more than for 1,000 mails  {more_mb:.0f} MB (bound {MEMORY_BOUND_MB})")
    return int(on_two(read_whole) > RATIO_BOUND or more_mb > MEMORY_BOUND_MB)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
