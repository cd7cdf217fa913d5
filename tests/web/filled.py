"""Fills a ledger with the labelled messages of an invented site, as if they had been read."""

import json
from datetime import datetime, timedelta
from pathlib import Path

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from inbox.calendar import last_full_week
from inbox.digest.build import freeze, site_of
from inbox.places import seed_folder
from inbox.records.settle import settle
from inbox.records.tables import Message, MessageReading, Reader, Recipe
from inbox.records.tables_out import RecipeStanding, Theme, ThemeMember, ThemeRank
from inbox.settings import Settings
from inbox.words import KINDS, STANDINGS

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


def fill_findings(session: Session, settings: Settings, *, now: datetime) -> None:
    """Themes with their ranks, standings of recipes, a reply on its way, last week's digest."""
    asked = session.execute(
        select(Message.id, MessageReading.wants, Message.received_at)
        .join(MessageReading, MessageReading.message_id == Message.id)
        .where(MessageReading.wants.is_not(None))
        .order_by(Message.id)
    ).all()
    for place, start in enumerate(range(0, len(asked), 3), start=1):
        members = asked[start : start + 3]
        theme = Theme(name=members[0][1], facets={}, created_at=now)
        session.add(theme)
        session.flush()
        for rank, (message_id, _, at) in enumerate(members, start=1):
            session.add(
                ThemeMember(
                    message_id=message_id, theme_id=theme.id, similarity=0.9, typical_rank=rank, joined_at=at
                )
            )
        session.add(
            ThemeRank(
                theme_id=theme.id,
                ranked_at=now,
                place=place,
                score=1.0 - place,
                reader_count=len(members),
                in_words="three people in eight weeks; nothing of yours comes near",
                details={
                    "parts": {"rate": 1.0 - place, "season": 0.0, "gap": 0.0, "effort": 0.0},
                    "rate_a_week": 0.4,
                    "rate_low": 0.1,
                    "rate_high": 0.9,
                    "first_five_share": 0.5,
                },
            )
        )
    for recipe in session.scalars(select(Recipe).limit(12)):
        session.add(_standing(recipe.id, now))
    session.flush()
    week = last_full_week(now, settings.zone)
    freeze(
        session, week, site=site_of(settings), caution=lambda code: (f"Caution: {code}.", "A source"), now=now
    )


def _standing(recipe_id: int, now: datetime) -> RecipeStanding:
    standing = STANDINGS[recipe_id % 4]
    fault = {"fault": "dense", "reader_count": 3, "of_readers": 4, "elsewhere_count": 5, "of_elsewhere": 40}
    return RecipeStanding(
        recipe_id=recipe_id,
        judged_at=now,
        standing=standing,
        share=0.4,
        low=0.2,
        high=0.6,
        reader_count=9,
        failed_count=4.0,
        in_words="About four of nine readers reported a failure; in a typical recipe of yours it is 12 %.",
        details={"catalogue_share": 0.12, "faults": [{**fault, "stands_out": True}]},
    )


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
