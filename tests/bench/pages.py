"""How quick the pages are: `python -m tests.bench.pages [--large 1000000] [--keep FOLDER]`.

Prints each page's p95 over some requests for a small and a large ledger, the ratio of the
two, and how the messages page compares with a bare Flask page that runs one indexed query
on the same ledger in the same run. Bounds (issue of the pages): 300 ms, 1.5, and 3.
Each figure stands twice: as a clock on the wall shows it, and as time that the processor
spent on it, which other programs on the machine change little.
"""

import argparse
import json
import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

from flask import Flask
from sqlalchemy import Connection, Engine, func, insert, select
from sqlalchemy.orm import Session

from inbox.places import seed_folder
from inbox.records import accounts, migrate
from inbox.records.base import Row
from inbox.records.engine import make_sessions, open_engine, reading_sessions
from inbox.records.page_faults import recount
from inbox.records.tables import Labels, Message, MessageFault, MessageReading, Reader, Recipe
from inbox.records.tables_out import RecipeStanding, Theme, ThemeMember, ThemeRank
from inbox.settings import Settings
from inbox.sparing import spare_collection
from inbox.web.application import create_app
from inbox.words import KINDS

NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)
RECIPES, THEMES = 300, 500
BATCH = 5_000
PAGES = {
    "messages": "/messages",
    "messages, 1,000th stretch": "/messages?older={middle}",
    "messages, a kind": "/messages?kind=problem",
    "messages, a recipe": "/messages?recipe=recipe-7",
    "messages, a common word": "/messages?words=bread",
    "messages, a rare word": "/messages?words=halloumi",
    "messages, words and a recipe": "/messages?words=bread&recipe=recipe-7",
    "one message": "/messages/{one}",
    "what to develop next": "/requests",
    "one theme": "/requests/7",
    "recipes": "/recipes",
    "one recipe": "/recipes/recipe-7",
    "hazards": "/hazards",
    "replies to write": "/replies",
    "a few to check": "/check",
    "bring in": "/bring-in",
    "readers": "/readers",
    "one reader": "/readers/7",
    "contents": "/contents",
}


def fill(engine: Engine, message_count: int) -> None:
    """A ledger of `message_count` messages over five years, 30 messages a reader; invented, from the seed.

    Without statistics for the planner (ANALYZE), as the program never asks SQLite for any.
    """
    source = random.Random(7)
    lines = [
        json.loads(line)
        for path in sorted((seed_folder() / "messages").glob("*.jsonl"))
        for line in path.read_text(encoding="utf-8").splitlines()
    ]
    readers = max(message_count // 33, 10)
    step = timedelta(days=5 * 365) / message_count
    with engine.begin() as connection:
        _add(connection, Recipe, (_recipe(number) for number in range(1, RECIPES + 1)))
        _add(
            connection,
            Reader,
            (
                {"email": f"reader{number}@example.org", "name": f"Reader {number}", "first_seen_at": NOW}
                for number in range(1, readers + 1)
            ),
        )
        _add(
            connection,
            Theme,
            ({"name": f"theme {n}", "facets": {}, "created_at": NOW} for n in range(THEMES)),
        )
        _add(connection, ThemeRank, (_rank(number) for number in range(1, THEMES + 1)))
        _add(connection, RecipeStanding, (_standing(number) for number in range(1, RECIPES + 1)))
    for start in range(0, message_count, BATCH):
        numbers = range(start + 1, min(start + BATCH, message_count) + 1)
        chosen = [(number, source.choice(lines), NOW - step * (message_count - number)) for number in numbers]
        recipes = {number: source.randint(1, RECIPES) for number in numbers}
        with engine.begin() as connection:
            _add(connection, Message, (_message(*one, source.randint(1, readers)) for one in chosen))
            _add(connection, MessageReading, (_reading(*one, recipes[one[0]]) for one in chosen))
            _add(connection, Labels, (_labels(*one, recipes[one[0]]) for one in chosen))
            _add(
                connection,
                MessageFault,
                (
                    {
                        "message_id": number,
                        "fault": fault,
                        "probability": 0.8,
                        "recipe_id": recipes[number],
                        "received_at": at,
                    }
                    for number, line, at in chosen
                    for fault in line.get("faults", [])
                ),
            )
            _add(
                connection,
                ThemeMember,
                (
                    {
                        "message_id": number,
                        "theme_id": source.randint(1, THEMES),
                        "similarity": 0.8,
                        "joined_at": at,
                    }
                    for number, line, at in chosen
                    if "request" in line["kinds"]
                ),
            )
    with make_sessions(engine).begin() as session:
        recount(session)


def _add(connection: Connection, table: type[Row], rows: Iterator[dict[str, Any]]) -> None:
    listed = list(rows)
    if listed:
        connection.execute(insert(table), listed)


def _recipe(number: int) -> dict[str, Any]:
    return {
        "slug": f"recipe-{number}", "title": f"Recipe {number}", "ingredients": ["250 g flour"],
        "steps": ["Mix.", "Bake."], "tags": {}, "created_at": NOW,
    }  # fmt: skip


def _rank(number: int) -> dict[str, Any]:
    return {
        "theme_id": number, "ranked_at": NOW, "place": number, "score": -number / 100, "reader_count": 20,
        "in_words": "twenty people in eight weeks; nothing of yours comes near",
        "details": {"parts": {"rate": 1.0, "season": 0.0, "gap": 0.0, "effort": 0.0}},
    }  # fmt: skip


def _standing(number: int) -> dict[str, Any]:
    return {
        "recipe_id": number, "judged_at": NOW, "standing": "holding_up", "share": 0.1, "low": 0.05,
        "high": 0.2, "reader_count": 40, "failed_count": 4.0, "in_words": "About four of forty.",
        "details": {},
    }  # fmt: skip


def _message(number: int, line: dict[str, Any], at: datetime, reader: int) -> dict[str, Any]:
    return {
        "id": number, "key": f"bench:{number}", "fingerprint": f"bench:{number}", "door": "table",
        "channel": line["channel"], "reader_id": reader, "received_at": at, "stored_at": at,
        "subject": line.get("subject"), "text": line["text"], "may_quote": number % 3 == 0,
        "reply_wanted": number % 5 == 0, "tell_me": False, "links": [], "references": [], "attachments": [],
    }  # fmt: skip


def _reading(number: int, line: dict[str, Any], at: datetime, recipe: int) -> dict[str, Any]:
    return {
        "message_id": number, "model_version": "bench", "read_at": at,
        "kind_probabilities": {kind: 0.9 if kind in line["kinds"] else 0.04 for kind in KINDS},
        "kinds": line["kinds"], "outcome_probabilities": {}, "outcome": line.get("outcome"),
        "fault_probabilities": {}, "faults": line.get("faults", []), "hazard": line.get("hazard"),
        "hazard_words": [], "recipe_id": recipe, "recipe_confidence": 0.9, "recipe_also": [],
        "recipe_why": "", "language": "en",
    }  # fmt: skip


def _labels(number: int, line: dict[str, Any], at: datetime, recipe: int) -> dict[str, Any]:
    return {
        "message_id": number, "received_at": at, "outcome": line.get("outcome"),
        "failed_probability": float(line.get("outcome") == "failed"),
        "problem_probability": float("problem" in line["kinds"]), "hazard": line.get("hazard"),
        "recipe_id": recipe, "language": "en", "least_sure": (number % 997) / 2000, "by_hand": False,
        **{f"is_{kind}": kind in line["kinds"] for kind in KINDS},
    }  # fmt: skip


class Took(NamedTuple):
    """Milliseconds within which 95 of 100 requests are answered: by the clock, and of the processor."""

    wall: float
    processor: float


def p95(ask: Callable[[], object], count: int) -> Took:
    """How long `count` requests take; two before them warm up and do not count."""
    for _ in range(2):
        ask()
    wall, processor = [], []
    for _ in range(count):
        start, spent = time.perf_counter(), time.process_time()
        ask()
        processor.append(1000 * (time.process_time() - spent))
        wall.append(1000 * (time.perf_counter() - start))
    place = min(int(0.95 * count), count - 1)
    return Took(sorted(wall)[place], sorted(processor)[place])


def bare_page(engine: Engine) -> Flask:
    """The least that a page of thirty messages can be: Flask and one indexed query."""
    app = Flask("bare")
    sessions = reading_sessions(engine)

    @app.get("/")
    def newest() -> str:
        with sessions() as session:
            rows = session.execute(
                select(Message.id, Message.text)
                .order_by(Message.received_at.desc(), Message.id.desc())
                .limit(30)
            ).all()
        return "".join(f"<p>{number}: {text}</p>" for number, text in rows)

    return app


def measure(message_count: int, requests: int, folder: Path, only: str) -> dict[str, Took]:
    """p95 of each page whose name holds `only`, and of the bare one."""
    settings = Settings(folder=folder, timezone="Europe/London")
    engine = open_engine(settings.engine_url)
    migrate.upgrade(engine)
    _fill_once(engine, message_count)
    with make_sessions(engine).begin() as session:
        name = f"Ines {accounts.hash_token(str(time.time_ns()))[:8]}"
        owner = accounts.create_account(session, name, "owner", None, now=NOW)
        link = accounts.make_link(session, owner.id, now=NOW)
        middle = _middle(session, message_count)
    client = create_app(settings, engine, clock=lambda: NOW).test_client()
    client.get(f"/enter/{link}")
    bare = bare_page(engine).test_client()
    spare_collection()
    found = {"bare page": p95(lambda: bare.get("/"), requests)}
    for name, path in PAGES.items():
        if only not in name:
            continue
        address = path.format(middle=middle, one=message_count // 2)
        answer = client.get(address)
        if answer.status_code != 200 or len(answer.data) > 150_000:
            raise SystemExit(f"{address}: {answer.status}, {len(answer.data):,} bytes")
        found[name] = p95(lambda address=address: client.get(address), requests)
    engine.dispose()
    return found


def _fill_once(engine: Engine, message_count: int) -> None:
    """Fill the ledger, unless it was filled by an earlier run."""
    with engine.connect() as connection:
        held = connection.scalar(select(func.count()).select_from(Message)) or 0
    if held == message_count:
        return
    if held:
        raise SystemExit(f"The ledger holds {held:,} messages instead of {message_count:,}; delete it.")
    start = time.perf_counter()
    fill(engine, message_count)
    print(f"filled {message_count:,} messages in {time.perf_counter() - start:.0f} s", file=sys.stderr)


def _middle(session: Session, message_count: int) -> str:
    at = session.scalars(select(Message.received_at).where(Message.id == message_count // 2)).one()
    return f"{at.replace(tzinfo=None).isoformat()}~{message_count // 2}"


def main() -> None:
    """Measure one or two ledgers and print the table."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--messages", type=int, default=10_000)
    asked.add_argument("--large", type=int, default=0, help="messages of a second, large ledger")
    asked.add_argument("--requests", type=int, default=40)
    asked.add_argument("--keep", type=Path, help="folder for the ledgers, to be used again")
    asked.add_argument("--only", default="", help="measure only pages whose name holds this")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="second-batch-bench-") as passing:
        folder = given.keep or Path(passing)
        counts = [given.messages, *([given.large] if given.large else [])]
        measured = [measure(count, given.requests, folder / str(count), given.only) for count in counts]
    print(f"{'p95 in ms: clock, processor':34}" + "".join(f"{count:>20,}" for count in counts))
    for name in measured[0]:
        took = [found[name] for found in measured]
        figures = "".join(f"{one.wall:12.1f}{one.processor:8.1f}" for one in took)
        ratio = f"{took[1].processor / took[0].processor:8.2f}" if len(took) > 1 else ""
        print(f"{name:34}{figures}{ratio}")
    for count, found in zip(counts, measured, strict=True):
        if "messages" in found:
            times = found["messages"].processor / found["bare page"].processor
            print(f"messages page / bare page at {count:,}, processor: {times:.2f} (bound 3)")


if __name__ == "__main__":
    main()
