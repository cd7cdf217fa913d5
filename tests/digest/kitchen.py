"""A small invented site with one week that has something of everything, for the tests of the digest."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from inbox.calendar import Week
from inbox.digest.build import build_digest
from inbox.digest.document import Digest
from inbox.digest.sections import Site
from inbox.records.tables import MessageFault, Recipe, Revision
from inbox.records.tables_out import RecipeStanding, ThemeMember, ThemeRank
from tests.makers import make_message, make_reader, make_recipe, make_theme
from tests.replies.outbox import label

WEEK = Week(2026, 47)
IN_WEEK = datetime(2026, 11, 18, 12, 0, tzinfo=UTC)
BUILT_AT = datetime(2026, 11, 23, 7, 0, tzinfo=UTC)
SITE = Site(name="Test kitchen", zone=ZoneInfo("Europe/London"), country="GB")


def caution(hazard: str) -> tuple[str, str]:
    return f"The usual caution for {hazard}.", "an office"


def build(session: Session, *, now: datetime = BUILT_AT, week: Week = WEEK) -> Digest:
    return build_digest(session, week, site=SITE, caution=caution, now=now)


def fill_week(session: Session) -> dict[str, int]:
    """One hazard, a recipe that fails since a change, a wish, a question, praise; their numbers by name."""
    rye = make_recipe(session, slug="rye", title="Rye loaf")
    fails(session, rye)
    wrote = {}
    for name, kinds, facts in (
        ("hazard", ("problem",), {"hazard": "allergen", "recipe_id": rye.id}),
        ("failed", ("made_it", "problem"), {"outcome": "failed", "recipe_id": rye.id}),
        ("worked", ("made_it",), {"outcome": "worked", "recipe_id": rye.id}),
        ("question", ("question",), {"recipe_id": rye.id}),
        ("wish", ("request",), {}),
    ):
        message = make_message(
            session,
            received_at=IN_WEEK,
            channel="email",
            reader_id=make_reader(session, name=name.capitalize()).id,
            text=f"The words of <{name}>.",
            may_quote=True,
        )
        label(session, message, *kinds, **facts)
        wrote[name] = message.id
    session.add(MessageFault(message_id=wrote["failed"], fault="dense", probability=0.9))
    theme = make_theme(session, name="rye crackers")
    session.add_all(
        [
            ThemeMember(message_id=wrote["wish"], theme_id=theme.id, similarity=1.0, joined_at=IN_WEEK),
            ThemeRank(
                theme_id=theme.id,
                ranked_at=IN_WEEK,
                place=1,
                score=0.1,
                reader_count=1,
                in_words="one person in eight weeks",
                details={
                    "trend": "rising",
                    "rate_a_week": 0.4,
                    "rate_low": 0.1,
                    "rate_high": 0.9,
                    "first_five_share": 1.0,
                    "parts": {"rate": -0.9, "season": 0.0, "gap": 0.0, "effort": 0.0},
                },
            ),
        ]
    )
    session.flush()
    return wrote


def fails(session: Session, recipe: Recipe) -> None:
    """Give the recipe a change and a standing."""
    change = Revision(
        recipe_id=recipe.id, made_at=IN_WEEK - timedelta(days=20), note="less water", noticed=False
    )
    session.add(change)
    session.flush()
    session.refresh(recipe)
    session.add(
        RecipeStanding(
            recipe_id=recipe.id,
            judged_at=IN_WEEK,
            standing="failing",
            share=0.4,
            low=0.2,
            high=0.6,
            reader_count=2,
            failed_count=1.0,
            in_words="About one of two readers reported a failure.",
            details={
                "catalogue_share": 0.08,
                "limit": 0.16,
                "faults": [{"fault": "dense", "reader_count": 1, "stands_out": True}],
                "spikes": [{"in_words": "three reports of trouble this week"}],
                "revisions": [{"revision_id": change.id, "in_words": "Still too few to tell."}],
            },
        )
    )
    session.flush()
