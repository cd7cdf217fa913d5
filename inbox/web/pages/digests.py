"""The digest as a page, and its back numbers."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.digest.build import back_numbers, get_digest, since_corrected
from inbox.digest.document import Digest
from inbox.digest.drawing import Drawing
from inbox.digest.pictures import (
    arrivals_by_door,
    outcomes_by_week,
    recipe_outcomes,
    requests_by_week,
    troubled_shares,
)
from inbox.digest.render import share_words, title_of, wish_rate
from inbox.ranking.health import CAVEAT
from inbox.records.tables import Message
from inbox.web.page import Page
from inbox.web.pages.replies import GROUP_WORDS
from inbox.web.phrasing import said


@dataclass(frozen=True)
class DigestPage(Page):
    """One week, frozen."""

    template: ClassVar[str] = "digest/one.html"
    title: str
    digest: Digest
    requests: Drawing | None
    arrivals: Drawing | None
    outcomes: Drawing | None
    shares: Drawing | None
    of_recipes: Mapping[str, Drawing]
    shares_words: Mapping[str, str]
    rates: Mapping[int, str]
    waiting: list[str]
    corrected: Mapping[int, tuple[str, ...]]
    newer: str
    older: str
    caveat: str = CAVEAT


def load_digest(session: Session, week: str) -> DigestPage:
    """The digest of one week; raises NotFoundError."""
    digest = get_digest(session, week)
    weeks = [number for number, _ in back_numbers(session)]
    at = weeks.index(week)
    return DigestPage(
        title=title_of(digest),
        digest=digest,
        requests=requests_by_week(digest),
        arrivals=arrivals_by_door(digest),
        outcomes=outcomes_by_week(digest),
        shares=troubled_shares(digest),
        of_recipes={recipe.slug: recipe_outcomes(recipe) for recipe in digest.troubled},
        shares_words={recipe.slug: share_words(recipe) for recipe in digest.troubled},
        rates={wish.theme_id: wish_rate(wish) for wish in digest.wishes},
        waiting=[
            f"{GROUP_WORDS.get(group, said(group)).lower()} {count:,}"
            for group, count in digest.owed_counts.items()
            if count
        ],
        corrected={
            number: tuple(said(field) for field in fields)
            for number, fields in since_corrected(session, digest).items()
        },
        newer=weeks[at - 1] if at else "",
        older=weeks[at + 1] if at + 1 < len(weeks) else "",
    )


@dataclass(frozen=True)
class BackNumbersPage(Page):
    """All digests, newest first."""

    template: ClassVar[str] = "digest/list.html"
    holds_secret: ClassVar[bool] = True
    weeks: list[tuple[str, datetime]]
    feed_address: str
    message_count: int


def load_back_numbers(session: Session, feed_address: str) -> BackNumbersPage:
    """The list of digests, or what to expect where there is none yet."""
    return BackNumbersPage(
        weeks=back_numbers(session),
        feed_address=feed_address,
        message_count=session.scalar(select(func.max(Message.id))) or 0,
    )
