"""The catalogue and the hand-labelled messages, as the computation sees them."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from inbox.reading.findings import CatalogueRecipe, Labelled, Told
from inbox.records.settle import LABEL_FIELDS
from inbox.records.tables import HandLabel, Labels, Message, Recipe
from inbox.words import LANGUAGE_READ


def as_catalogue_recipe(recipe: Recipe) -> CatalogueRecipe:
    """One row of `recipes` without its database."""
    return CatalogueRecipe(
        slug=recipe.slug,
        title=recipe.title,
        url=recipe.url,
        ingredients=tuple(recipe.ingredients),
        steps=tuple(recipe.steps),
        tags=recipe.tags,
    )


def load_catalogue(session: Session) -> tuple[list[CatalogueRecipe], dict[str, int]]:
    """All recipes, and the row number of each slug."""
    rows = session.scalars(select(Recipe).order_by(Recipe.id)).all()
    return [as_catalogue_recipe(row) for row in rows], {row.slug: row.id for row in rows}


TOLD = (
    Message.id,
    Message.text,
    Message.subject,
    Message.channel,
    Message.page_recipe_id,
    Message.page_url,
    Message.links,
    Message.stars,
    Message.answers_message_id,
)
"""The columns of a message that `told_of` looks at."""


def told_of(session: Session, messages: Sequence[Message | Row[Any]]) -> list[Told]:
    """What the program is told of each message before it reads it; rows hold at least `TOLD`."""
    slugs = dict(session.execute(select(Recipe.id, Recipe.slug)).all())
    answered = {message.answers_message_id for message in messages if message.answers_message_id}
    thread = dict(
        session.execute(
            select(Labels.message_id, Labels.recipe_id).where(Labels.message_id.in_(answered))
        ).all()
    )
    return [
        Told(
            text=message.text,
            subject=message.subject,
            channel=message.channel,
            page=slugs.get(message.page_recipe_id or 0),
            thread_recipe=slugs.get(thread.get(message.answers_message_id or 0) or 0),
            links=(*message.links, *([message.page_url] if message.page_url else [])),
            stars=message.stars,
        )
        for message in messages
    ]


def hand_labelled(session: Session) -> list[Labelled]:
    """Messages in English whose kinds a person has said, with what counts for the rest: training messages.

    Their ids are the numbers of the messages.
    """
    spoken = (
        select(HandLabel.message_id)
        .join(Labels, Labels.message_id == HandLabel.message_id)
        .where(HandLabel.field == "kinds", Labels.language == LANGUAGE_READ)
    )
    messages = list(session.scalars(select(Message).where(Message.id.in_(spoken)).order_by(Message.id)))
    fields = {message.id: set[str]() for message in messages}
    for message_id, field in session.execute(select(HandLabel.message_id, HandLabel.field)):
        if message_id in fields:
            fields[message_id].add(field)
    slugs = dict(session.execute(select(Recipe.id, Recipe.slug)).all())
    return [
        _labelled(message, told, slugs)
        for message, told in zip(messages, told_of(session, messages), strict=True)
        if message.labels is not None and fields[message.id] <= set(LABEL_FIELDS)
    ]


def _labelled(message: Message, told: Told, slugs: dict[int, str]) -> Labelled:
    labels = message.labels
    if labels is None:
        raise ValueError(f"message {message.id} has no labels")
    return Labelled(
        id=str(message.id),
        told=told,
        kinds=frozenset(labels.kinds),
        outcome=labels.outcome,
        faults=frozenset(row.fault for row in labels.faults),
        hazard=labels.hazard,
        recipe=slugs.get(labels.recipe_id or 0),
    )
