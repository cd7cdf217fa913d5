"""Why a recipe fails: its faults held against its own lines, what readers changed, what they keep asking.

`reasons` is called for one recipe at the end of each judging; what it gives is kept
with the recipe's standing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
from sqlalchemy import ColumnExpressionArgument, select
from sqlalchemy.orm import Session

from inbox.calendar import local_date
from inbox.pipeline.catalogue import as_catalogue_recipe
from inbox.ranking.causes import Words, advise, fault_table, to_explain
from inbox.ranking.changes import MadeIt, changes_and_outcomes
from inbox.ranking.questions import Asked, repeated
from inbox.ranking.recipe_measures import take_apart
from inbox.reading.encoder import encode
from inbox.records.tables import Labels, Message, MessageFault, Recipe
from inbox.settings import Settings

MOST_FAULTS, MOST_CAUSES, MOST_MESSAGES, MOST_QUESTIONS = 4, 3, 400, 100
"""Chosen: what a person reads on one page; and the newest messages that are enough to tell."""

ALIKE_FROM = 0.6
"""Mean likeness of meaning from which two questions are one. Chosen on invented questions, not measured."""


def reasons(
    session: Session,
    recipe: Recipe,
    faults: Sequence[Mapping[str, Any]],
    settings: Settings,
    before: Mapping[str, Any],
) -> dict[str, Any]:
    """Causes, changes and repeated questions of one recipe.

    Parameters
    ----------
    faults : sequence of mapping
        As kept with the standing, those that stand out first.
    before : mapping
        What was kept with the last standing; questions are grouped anew only where one came or went.
    """
    return {
        "causes": _causes(session, recipe, to_explain(faults)[:MOST_FAULTS]),
        "changes": _changes(session, recipe),
        **_questions(session, recipe, settings, before),
    }


def _causes(session: Session, recipe: Recipe, faults: Sequence[str]) -> list[dict[str, Any]]:
    facts = take_apart(as_catalogue_recipe(recipe))
    found = []
    for fault in faults:
        wrote = session.execute(
            select(Message.id, Message.reader_id, Message.text)
            .join(MessageFault, MessageFault.message_id == Message.id)
            .join(Labels, Labels.message_id == Message.id)
            .where(MessageFault.fault == fault, Labels.recipe_id == recipe.id)
            .order_by(Message.received_at.desc())
            .limit(MOST_MESSAGES)
        )
        words = [Words(number, _key(reader, number), text) for number, reader, text in wrote]
        found.append(
            {
                "fault": fault,
                "name": fault_table()[fault].name,
                "causes": [asdict(cause) for cause in advise(fault, facts, words)[:MOST_CAUSES]],
            }
        )
    return found


def _changes(session: Session, recipe: Recipe) -> list[dict[str, Any]]:
    rows = _messages(session, recipe, Labels.is_made_it & Labels.outcome.is_not(None))
    reports = [
        MadeIt(message.id, _key(message.reader_id, message.id), message.text, labels.outcome == "failed")
        for message, labels in rows
    ]
    return [asdict(change) for change in changes_and_outcomes(reports)]


def _questions(
    session: Session, recipe: Recipe, settings: Settings, before: Mapping[str, Any]
) -> dict[str, Any]:
    rows = _messages(session, recipe, Labels.is_question, MOST_QUESTIONS)
    ids = [message.id for message, _ in rows]
    if ids == before.get("asked_ids"):
        return {"asked_ids": ids, "questions": before.get("questions", [])}
    asked = [
        Asked(message.id, _key(message.reader_id, message.id), local_date(message.received_at, settings.zone))
        for message, _ in rows
    ]
    if not asked:
        return {"asked_ids": [], "questions": []}
    vectors = encode([message.text for message, _ in rows]).astype(np.float64)
    found = repeated(asked, vectors @ vectors.T, alike_from=ALIKE_FROM)
    words = {message.id: message.text for message, _ in rows}
    return {
        "asked_ids": ids,
        "questions": [{**asdict(one), "words": words[one.message_ids[0]]} for one in found],
    }


def _messages(
    session: Session, recipe: Recipe, condition: ColumnExpressionArgument[bool], most: int = MOST_MESSAGES
) -> list[tuple[Message, Labels]]:
    rows = session.execute(
        select(Message, Labels)
        .join(Labels, Labels.message_id == Message.id)
        .where(Labels.recipe_id == recipe.id, condition)
        .order_by(Message.received_at.desc(), Message.id.desc())
        .limit(most)
    )
    return [(message, labels) for message, labels in rows]


def _key(reader_id: int | None, message_id: int) -> str:
    return f"reader {reader_id}" if reader_id else f"message {message_id}"
