"""How long an import of mail takes beside the standard library's bare parse of the same file, and its memory.

    python -m tests.bench.intake            # 10,000 mails
    python -m tests.bench.intake 100000     # the size that the bound is stated for

Each import runs in a process of its own, so that its peak memory is its own. The reading model is not part
of this figure; `Bound` is for the whole import, so that what is left is what reading may take.
"""

import json
import mailbox
import random
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path

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


def run_import(path: Path, folder: Path) -> dict[str, float]:
    """Import the file into a fresh SQLite ledger; seconds, and peak memory of this process in MB."""
    from inbox.intake.run import import_path
    from inbox.intake.sources import ImportOptions
    from inbox.records import migrate
    from inbox.records.engine import make_sessions, open_engine

    engine = open_engine(f"sqlite:///{folder}/ledger.sqlite3")
    migrate.upgrade(engine)
    started = time.process_time()
    result = import_path(make_sessions(engine), path, options=ImportOptions(now=datetime.now(UTC)))
    seconds = time.process_time() - started
    engine.dispose()
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"seconds": seconds, "peak_mb": peak_mb, "stored": result.stored, "total": result.total}


def _in_own_process(path: Path, folder: Path) -> dict[str, float]:
    folder.mkdir()
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.intake", "--one", str(path), str(folder)],
        check=True,
        capture_output=True,
        text=True,
    )
    return dict(json.loads(done.stdout))


def main(arguments: list[str]) -> int:
    """Print the figures; 1 if a bound is not held."""
    if arguments[:1] == ["--one"]:
        print(json.dumps(run_import(Path(arguments[1]), Path(arguments[2]))))
        return 0
    count = int(arguments[0]) if arguments else 10_000
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        small, large = place / "small.mbox", place / "large.mbox"
        make_mbox(small, 1_000)
        make_mbox(large, count)
        bare = bare_parse_seconds(large)
        little = _in_own_process(small, place / "one")
        whole = _in_own_process(large, place / "two")
    ratio = whole["seconds"] / bare
    more_mb = whole["peak_mb"] - little["peak_mb"]
    print(f"mails                      {count:,} ({whole['stored']:,.0f} stored)")
    print(f"bare parse, compat32       {bare:.1f} s ({count / bare:,.0f} a second)")
    print(f"import without reading     {whole['seconds']:.1f} s ({count / whole['seconds']:,.0f} a second)")
    print(f"ratio                      {ratio:.2f} (bound, reading included: {RATIO_BOUND})")
    print(f"peak memory                {whole['peak_mb']:.0f} MB")
    print(f"more than for 1,000 mails  {more_mb:.0f} MB (bound {MEMORY_BOUND_MB})")
    return int(ratio > RATIO_BOUND or more_mb > MEMORY_BOUND_MB)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
