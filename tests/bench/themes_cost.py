"""What grouping costs: 100,000 requests from nothing, and a week's 200 new ones joining them.

    python -m tests.bench.themes_cost [--count N]

Requests are invented: wishes put together from the vocabulary (a dish, mostly with a diet or a method),
asked for as unevenly as real ones are (the n-th wish 1/n as often as the first), in sentences of several
forms. Printed apart, since a message goes through it once, when it is read: the cost of the sentence encoder,
measured on a sample. The grouping itself gets vectors of the wishes with noise added in place of 100,000 runs
of the encoder. Time of the processor is counted, of all threads together, so that other work on the machine
changes nothing; on a quiet one a clock shows no more. Exits 1 if a bound is broken.
"""

import argparse
import random
import resource
import sys
import time
from collections.abc import Callable, Sequence
from functools import cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from inbox.reading.encoder import encode
from inbox.reading.training import seed_messages
from inbox.themes.grouping import TYPICAL, SettledTheme, group
from inbox.themes.likeness import Likeness
from inbox.themes.requests import Request, asked_for
from inbox.themes.sketches import Sketch
from inbox.themes.trained import seed_likeness
from inbox.themes.vocabulary import vocabulary

T = TypeVar("T")
SECONDS_BOUND, BYTES_BOUND, GROWTH_BOUND, JOIN_SECONDS_BOUND = 120.0, 2 * 1024**3, 2.3, 2.0
WISHES = 2000
NEW_IN_A_WEEK = 200
NOISE = 0.5
"""Length of the noise beside a unit vector: messages for one wish then have a cosine of about 0.8."""

FORMS = (
    "Any chance of a {wish}, please?",
    "I would love to see a {wish} on here. We make your recipes every week.",
    "Please do a {wish}! My family keeps asking.",
    "Have you thought about a {wish}? There is nothing like it anywhere.",
    "Looking for a {wish} for {day}.",
    "Could you develop a {wish} by {day}? Thank you for all you do.",
)
DAYS = ("Monday", "the weekend", "next month", "the summer", "Friday", "my mother")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--count", type=int, default=100_000)
    count = options.parse_args().count
    likeness = seed_likeness(seed_messages())
    texts = [request.text for request, _ in _requests(500, seed=3)]
    encoder_seconds, _ = _timed(lambda: encode(texts))
    print(f"encoder, apart: {encoder_seconds / len(texts) * 1000:.1f} ms a message", flush=True)
    half_seconds = _grouped(likeness, count // 2)[0]
    seconds, reading_seconds, settled = _grouped(likeness, count)
    peak_bytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    week = _sketches(_requests(NEW_IN_A_WEEK, seed=9))
    join_seconds, _ = _timed(lambda: group(week, likeness, settled=settled))
    print(f"finding the wish in {count} messages, apart: {reading_seconds:.1f} s")
    held = [
        _line(f"group {count}", seconds, SECONDS_BOUND, "s"),
        _line(f"{count} against {count // 2}", seconds / half_seconds, GROWTH_BOUND, "times"),
        _line("peak memory", peak_bytes / 1024**2, BYTES_BOUND / 1024**2, "MiB"),
        _line(f"{NEW_IN_A_WEEK} join {len(settled)} themes", join_seconds, JOIN_SECONDS_BOUND, "s"),
    ]
    sys.exit(0 if all(held) else 1)


def _grouped(likeness: Likeness, count: int) -> tuple[float, float, list[SettledTheme]]:
    requests = _requests(count, seed=1)
    reading_seconds, sketches = _timed(lambda: _sketches(requests))
    seconds, found = _timed(lambda: group(sketches, likeness))
    print(f"{count} requests: {len(found.new)} themes in {seconds:.1f} s", flush=True)
    by_id = {one.id: one for one in sketches}
    settled = [
        SettledTheme(number, theme.name, tuple(by_id[id] for id in theme.members[:TYPICAL]))
        for number, theme in enumerate(found.new)
    ]
    return seconds, reading_seconds, settled


def _requests(count: int, *, seed: int) -> list[tuple[Request, str]]:
    """Invented requests, each with the wish in it."""
    chance = random.Random(seed)
    wishes = _wishes()
    picked = chance.choices(wishes, weights=[1 / rank for rank in range(1, len(wishes) + 1)], k=count)
    texts = [chance.choice(FORMS).format(wish=wish, day=chance.choice(DAYS)) for wish in picked]
    return [(Request(f"{seed}-{at}", texts[at]), wish) for at, wish in enumerate(picked)]


@cache
def _wishes() -> list[str]:
    chance = random.Random(0)
    by_facet: dict[str, list[str]] = {}
    for entry in vocabulary().entries.values():
        by_facet.setdefault(entry.facet, []).append(entry.shown)
    wishes: set[str] = set()
    while len(wishes) < WISHES:
        change = chance.choice(by_facet[chance.choice(("diet", "method"))])
        wishes.add(f"{change} {chance.choice(by_facet['dish'])}")
    return sorted(sorted(wishes), key=lambda _: chance.random())


@cache
def _wish_vectors() -> dict[str, NDArray[np.float32]]:
    return dict(zip(_wishes(), encode(_wishes()), strict=True))


def _sketches(requests: Sequence[tuple[Request, str]]) -> list[Sketch]:
    """Sketches with the vector of the wish, and noise, in place of the encoded message."""
    noise = np.random.default_rng(5)
    made = []
    for request, wish in requests:
        stray = NOISE * noise.standard_normal(512).astype(np.float32) / np.sqrt(512)
        vector = _wish_vectors()[wish] + stray
        vector = (vector / np.linalg.norm(vector)).astype(np.float32)
        made.append(Sketch(request.id, asked_for(request), request.text, vector))
    return made


def _timed(work: Callable[[], T]) -> tuple[float, T]:
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


def _line(what: str, value: float, bound: float, unit: str) -> bool:
    held = value <= bound
    print(f"{what}: {value:.2f} {unit}, bound {bound:g} {unit} ({'holds' if held else 'BROKEN'})", flush=True)
    return held


if __name__ == "__main__":
    main()
