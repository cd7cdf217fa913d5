"""Fills a ledger with the labelled messages of an invented site, as if they had been read."""

import json
from datetime import datetime, timedelta
from pathlib import Path

from sqlalchemy import insert
from sqlalchemy.orm import Session

from inbox.places import seed_folder
from inbox.records.settle import settle
from inbox.records.tables import Message, MessageReading, Reader, Recipe
from inbox.words import KINDS

NAMES = (
    "Ada",
    "Bram",
    "Chiara",
    "Dilys",
    "Emeka",
    "Fatima",
    "Goran",
    "Hanne",
    "Idris",
    "Jo",
    "Keiko",
    "Lars",
)


def _lines(path: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines() if line.strip()]


def fill(session: Session, *, now: datetime, site: str = "bread", limit: int = 150) -> None:
    """Recipes, readers, messages and readings of one site; moments go back from `now`."""
    recipes = json.loads((seed_folder() / "messages" / f"{site}_recipes.json").read_text(encoding="utf-8"))
    recipes = recipes if isinstance(recipes, list) else recipes["recipes"]
    ids = {}
    for facts in recipes:
        row = Recipe(
            slug=facts["slug"],
            title=facts["title"],
            url=facts.get("url"),
            ingredients=facts.get("ingredients", []),
            steps=facts.get("steps", []),
            tags=facts.get("tags", {}),
            created_at=now - timedelta(days=300),
        )
        session.add(row)
        session.flush()
        ids[row.slug] = row.id
    readings = []
    for number, line in enumerate(_lines(seed_folder() / "messages" / f"{site}.jsonl")[:limit]):
        at = now - timedelta(hours=13 * number + 2)
        reader = Reader(email=f"reader{number}@example.org", name=NAMES[number % 12], first_seen_at=at)
        message = Message(
            key=f"filled:{site}:{number}",
            fingerprint=f"filled:{site}:{number}",
            door="table",
            channel=line["channel"],
            received_at=at,
            stored_at=at,
            subject=line["subject"],
            text=line["text"],
            reader=reader,
            may_quote=number % 3 == 0,
            reply_wanted=number % 4 == 0,
        )
        session.add(message)
        session.flush()
        readings.append(_reading(message.id, line, ids, now))
    session.execute(insert(MessageReading), readings)
    settle(session, [row["message_id"] for row in readings])


def _reading(message_id: int, line: dict, ids: dict[str, int], now: datetime) -> dict[str, object]:
    return {
        "message_id": message_id,
        "model_version": "filled",
        "read_at": now,
        "kind_probabilities": {kind: 0.93 if kind in line["kinds"] else 0.04 for kind in KINDS},
        "kinds": [kind for kind in KINDS if kind in line["kinds"]],
        "outcome_probabilities": {line["outcome"] or "unsaid": 0.9},
        "outcome": line["outcome"],
        "fault_probabilities": dict.fromkeys(line["faults"], 0.8),
        "faults": line["faults"],
        "hazard": line["hazard"],
        "hazard_probability": 0.9 if line["hazard"] else None,
        "hazard_words": [],
        "recipe_id": ids.get(line["recipe"] or ""),
        "recipe_confidence": 0.9 if line["recipe"] else 0.0,
        "recipe_also": [],
        "recipe_why": "the message names it" if line["recipe"] else "",
        "wants": line["wants"],
        "language": "en",
    }
