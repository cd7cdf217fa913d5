"""The charts of a digest, the same for page and mail."""

from inbox.digest.charts import (
    DoorRow,
    OutcomeWeek,
    ShareRow,
    bars,
    by_door,
    shares_with_intervals,
    weekly_outcomes,
)
from inbox.digest.document import Digest, TroubledRecipe
from inbox.digest.drawing import Drawing
from inbox.words import DOOR_WORDS


def requests_by_week(digest: Digest) -> Drawing:
    """Requests of this week and of those before."""
    return bars(
        "Requests by week",
        [short_week(one.week) for one in digest.numbers],
        [one.counts["request"].count for one in digest.numbers],
        unit="requests",
    )


def outcomes_by_week(digest: Digest) -> Drawing:
    """How the dishes of all recipes turned out, by week."""
    return weekly_outcomes(
        "How dishes turned out, by week",
        [
            OutcomeWeek(
                short_week(one.week),
                one.counts["worked"].count,
                one.counts["mixed"].count,
                one.counts["failed"].count,
            )
            for one in digest.numbers
        ],
    )


def arrivals_by_door(digest: Digest) -> Drawing | None:
    """What came by which door; None in digests that do not say."""
    if not digest.arrivals:
        return None
    rows = [
        DoorRow(DOOR_WORDS.get(one.door, one.door), one.messages.count, one.usual) for one in digest.arrivals
    ]
    return by_door("What came by which door", rows)


def troubled_shares(digest: Digest) -> Drawing | None:
    """Share of reports that failed, of each recipe in trouble; None where there is none."""
    if not digest.troubled:
        return None
    rows = [
        ShareRow(recipe.title, recipe.share, recipe.low, recipe.high, recipe.readers.count)
        for recipe in digest.troubled
    ]
    return shares_with_intervals(
        "Share of reports that failed", rows, limit=digest.troubled[0].limit, unit="reports"
    )


def recipe_outcomes(recipe: TroubledRecipe) -> Drawing:
    """How one recipe turned out by week, with its revisions marked."""
    weeks = [OutcomeWeek(short_week(one.week), one.worked, one.mixed, one.failed) for one in recipe.weeks]
    names = [one.week for one in recipe.weeks]
    marks = []
    for change in recipe.changes:
        year, number, _ = change.on.isocalendar()
        week = f"{year:04d}-W{number:02d}"
        if week in names:
            marks.append((names.index(week), change.note))
    return weekly_outcomes(recipe.title, weeks, revisions=marks)


def short_week(week: str) -> str:
    """Such as "W47"."""
    return week.rpartition("-")[2]
