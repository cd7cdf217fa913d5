"""Whether hostile input costs in step with its size: each shape is doubled, and so may be the time, no more.

    python -m tests.bench.growth

For each step that strangers' words pass and each shape, prints the processor time at the full size and its
ratio to the time at half of it. Linear work gives about 2, quadratic about 4. Exit code 1 if one is above
the bound, or takes longer than five seconds (the limit that no input may pass).
"""

import io
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime

from inbox.intake.html_text import read_html
from inbox.intake.mbox import split_mbox
from inbox.intake.mime import MailOptions, read_mail
from inbox.intake.own_words import own_words
from inbox.ranking.changes import find_changes
from inbox.reading.findings import Told
from inbox.reading.hazards import hazard_signs
from inbox.reading.language import detect_language
from inbox.reading.text import clauses, plain_text, words
from inbox.themes.requests import Request, asked_for

BOUND = 3.0
LIMIT_SECONDS = 5.0
FULL = 1_000_000
"""Characters at the full size."""

PIECES = {
    "one word": "x",
    "links": "https://a.example/b ",
    "quotations": "> a line that was quoted\n",
    "attributions": "On Mon, 2 Nov 2026, somebody\n",
    "From lines": "From the oven\n\n",
    "open tags": "<div><span>",
    "comments": "<!-- <!--",
    "entities": "&amp;&#x200b;",
    "encoded words": "=?utf-8?q?=C3?= ",
    "zero-width": "a\u200b\u202e\ufeff",
    "combining": "e\u0301\u0302",
    "homoglyphs": "\u0440\u0430ssword ",
    "brackets": "([{",
    "negations": "not too never ",
    "amounts": "1 1/2 cups of 200 g ",
    "blank lines": "\n \n\t\n",
    "dividers": "-----Original Message-----\nFrom: a\n",
    "bare dividers": "-----Original Message-----\n \n",
    "dashes": "-- \n",
    "signs and notices": "!!!\n\nThis e-mail is confidential.\n\n",
    "please": "please could you make ",
}


def _mail(text: str) -> None:
    body = text.encode("utf-8", "replace")
    read_mail(b"From: a@example.org\nSubject: s\nMIME-Version: 1.0\n\n" + body, _OPTIONS)


def _head(text: str) -> None:
    line = text.replace("\n", " ").encode("utf-8", "replace")
    read_mail(b"From: " + line + b"\nSubject: " + line + b"\nReferences: " + line + b"\n\nhello\n", _OPTIONS)


def _parts(text: str) -> None:
    body = text.replace("\n", "\n--b\n").encode("utf-8", "replace")
    read_mail(b"From: a@b.example\nContent-Type: multipart/mixed; boundary=b\n\n--b\n\n" + body, _OPTIONS)


def _signs(text: str) -> None:
    hazard_signs().find(clauses(plain_text(Told(text))))


_OPTIONS = MailOptions(datetime(2026, 11, 23, tzinfo=UTC))
STEPS: dict[str, Callable[[str], object]] = {
    "mbox": lambda text: sum(1 for _ in split_mbox(io.BytesIO(text.encode("utf-8", "replace")))),
    "mail body": _mail,
    "mail head": _head,
    "mail parts": _parts,
    "html": read_html,
    "own words": lambda text: own_words(text, is_answer=True),
    "language": detect_language,
    "clauses": lambda text: [words(clause) for clause in clauses(text)],
    "hazards": _signs,
    "wants": lambda text: asked_for(Request("1", text)),
    "changes": find_changes,
}


def _seconds(step: Callable[[str], object], text: str) -> float:
    """Processor time of one run; the quicker of two, as the first one may load things."""
    taken = []
    for _ in range(2):
        start = time.process_time()
        step(text)
        taken.append(time.process_time() - start)
        if taken[-1] > LIMIT_SECONDS:
            break
    return min(taken)


def main() -> int:
    """Print the table; tell whether all stay within the bounds."""
    broken = []
    print(f"{'step':12} {'shape':14} {'seconds':>8} {'ratio':>6}   bound {BOUND}, {LIMIT_SECONDS:.0f} s")
    for name, step in STEPS.items():
        for shape, piece in PIECES.items():
            text = piece * (FULL // len(piece))
            half, full = _seconds(step, text[: len(text) // 2]), _seconds(step, text)
            # Below a hundredth of a second the clock's own grain decides.
            ratio = full / half if full > 0.01 and half > 0 else 0.0
            bad = ratio > BOUND or full > LIMIT_SECONDS
            if bad:
                broken.append(f"{name}, {shape}")
            print(
                f"{name:12} {shape:14} {full:8.3f} {ratio:6.2f}{'   <- too much' if bad else ''}", flush=True
            )
    print(
        f"{len(broken)} of {len(STEPS) * len(PIECES)} above the bound"
        + "".join(f"\n  {one}" for one in broken)
    )
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
