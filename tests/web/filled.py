"""Fills a ledger with the labelled messages of an invented site, as if they had been read."""

import json
from datetime import datetime, timedelta
from pathlib import Path

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from inbox.calendar import last_full_week
from inbox.digest.build import freeze, site_of
from inbox.places import seed_folder
from inbox.records.settle import set_hand_label, settle
from inbox.records.tables import Labels, Message, MessageReading, Reader, Recipe
from inbox.records.tables_out import Mended, RecipeStanding, Theme, ThemeMember, ThemeRank
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
        session.add(_standing(session, recipe.id, now))
    _publish_last(session, now)
    session.flush()
    week = last_full_week(now, settings.zone)
    freeze(
        session, week, site=site_of(settings), caution=lambda code: (f"Caution: {code}.", "A source"), now=now
    )


def _publish_last(session: Session, now: datetime) -> None:
    """The last theme is published as a recipe that one who asked made; one asked again since."""
    theme = session.scalars(select(Theme).order_by(Theme.id.desc()).limit(1)).one()
    recipe = session.scalars(select(Recipe).order_by(Recipe.id).limit(1)).one()
    asked = session.scalars(
        select(Message)
        .join(ThemeMember, ThemeMember.message_id == Message.id)
        .where(ThemeMember.theme_id == theme.id)
        .order_by(Message.received_at)
    ).all()
    theme.shelf, theme.recipe_id = "published", recipe.id
    theme.shelf_at = asked[0].received_at + timedelta(minutes=1)
    for number, reader_id in enumerate((asked[0].reader_id, None)):
        made = Message(
            key=f"filled:made:{number}",
            fingerprint=f"filled:made:{number}",
            door="table",
            channel="comment",
            received_at=now,
            stored_at=now,
            text="At last! Made it on Sunday.",
            reader_id=reader_id,
        )
        session.add(made)
        session.flush()
        for field, value in {"kinds": ["made_it"], "outcome": "worked", "recipe": recipe.slug}.items():
            set_hand_label(session, made.id, field, value, account_id=None, now=now)


def _standing(session: Session, recipe_id: int, now: datetime) -> RecipeStanding:
    ids = session.scalars(
        select(Labels.message_id).where(Labels.recipe_id == recipe_id).order_by(Labels.message_id)
    ).all()
    questions = [
        {"message_ids": [one, two], "in_words": "Two readers ask this.", "words": "Can I freeze it?"}
        for one, two in zip(ids[::2], ids[1::2], strict=False)
    ][:2]
    if len(questions) == 2:
        asked = questions[1]["message_ids"]
        facts = {"recipe_id": recipe_id, "mended_at": now - timedelta(days=1)}
        session.add(Mended(what="question:which tin?", note="A deep one.", message_ids=asked, **facts))
        session.add(Mended(what="wrong_time", note=None, message_ids=None, **facts))
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
        details={
            "catalogue_share": 0.12,
            "faults": [{**fault, "stands_out": True}],
            "questions": questions,
        },
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
