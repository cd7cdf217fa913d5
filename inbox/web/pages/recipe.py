"""One recipe: how it does, week by week; what goes wrong; what readers say; what was changed."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnExpressionArgument, select
from sqlalchemy.orm import Session

from inbox.calendar import Week
from inbox.digest.charts import OutcomeWeek, weekly_outcomes
from inbox.digest.drawing import Drawing
from inbox.records.page_faults import told_of
from inbox.records.revisions import get_recipe
from inbox.records.tables import Labels, Recipe
from inbox.records.tables_out import Mended, RecipeStanding
from inbox.web.page import Page
from inbox.web.pages.entries import Entry, load_entries
from inbox.web.pages.questions import Answered, Repeated, load_questions
from inbox.web.pages.recipes import PageFaultLine, page_fault_lines
from inbox.web.pages.weeks import last_weeks
from inbox.web.phrasing import said
from inbox.words import RECIPE_PAGE_FAULTS

WORDS_SHOWN = 6
REPORTS_SHOWN = 4
CHANGES_SHOWN = 20


@dataclass(frozen=True)
class FaultLine:
    """One fault of this recipe beside the rest of the catalogue."""

    fault: str
    code: str
    here: str
    elsewhere: str
    stands_out: bool


@dataclass(frozen=True)
class RevisionLine:
    """A change to the recipe, and what it did."""

    on: datetime
    note: str
    noticed: bool
    in_words: str


@dataclass(frozen=True)
class RecipePage(Page):
    """One recipe."""

    template: ClassVar[str] = "recipes/one.html"
    slug: str
    title: str
    url: str
    standing: str
    in_words: str
    share: float | None
    low: float | None
    high: float | None
    usual: float | None
    reader_count: int
    chart: Drawing
    spikes: list[str]
    faults: list[FaultLine]
    causes: list[Mapping[str, Any]]
    changes: list[Mapping[str, Any]]
    repeated: list[Repeated]
    answered: list[Answered]
    page_faults: list[PageFaultLine]
    mended: list[Mended]
    revisions: list[RevisionLine]
    problems: list[Entry]
    praise: list[Entry]
    questions: list[Entry]
    ingredients: list[str]
    steps: list[str]
    today: date
    trouble: str = ""
    typed_note: str = ""
    asked_trouble: str = ""
    typed_question: str = ""
    typed_answer: str = ""
    typed_for: str = ""
    """The messages of the question whose form was sent back."""


def load_recipe(session: Session, slug: str, zone: ZoneInfo, *, now: datetime) -> RecipePage:
    """The page of one recipe; raises NotFoundError."""
    recipe = get_recipe(session, slug)
    standing = session.get(RecipeStanding, recipe.id)
    details: Mapping[str, Any] = standing.details if standing else {}
    repeated, answered = load_questions(session, recipe.id, details.get("questions", []), zone, now=now)
    effects = {one.get("revision_id"): one for one in details.get("revisions", [])}
    problems = _newest(session, recipe.id, Labels.is_problem)
    praise = _newest(session, recipe.id, Labels.is_made_it, Labels.outcome == "worked", ~Labels.is_problem)
    questions = _newest(session, recipe.id, Labels.is_question)
    entries = load_entries(session, [*problems, *praise, *questions])
    return RecipePage(
        slug=recipe.slug,
        title=recipe.title,
        url=recipe.url or "",
        standing=standing.standing if standing else "too_few_reports",
        in_words=standing.in_words if standing else "",
        share=standing.share if standing else None,
        low=standing.low if standing else None,
        high=standing.high if standing else None,
        usual=details.get("catalogue_share"),
        reader_count=standing.reader_count if standing else 0,
        chart=_outcome_chart(session, recipe, zone, now),
        spikes=[one["in_words"] for one in details.get("spikes", [])],
        faults=[_fault_line(one) for one in details.get("faults", [])],
        causes=details.get("causes", []),
        changes=details.get("changes", [])[:8],
        repeated=repeated,
        answered=answered,
        page_faults=page_fault_lines(session, told_of(session, recipe, REPORTS_SHOWN)),
        mended=_mended(session, recipe.id),
        revisions=[
            RevisionLine(
                row.made_at, row.note, row.noticed, str(effects.get(row.id, {}).get("in_words") or "")
            )
            for row in recipe.revisions[::-1]
        ],
        problems=[entries[number] for number in problems],
        praise=[entries[number] for number in praise],
        questions=[entries[number] for number in questions],
        ingredients=recipe.ingredients,
        steps=recipe.steps,
        today=now.astimezone(zone).date(),
    )


def _newest(session: Session, recipe_id: int, *conditions: ColumnExpressionArgument[bool]) -> Sequence[int]:
    """Numbers of the newest messages about a recipe for which all of this holds."""
    newest = (
        select(Labels.message_id)
        .where(Labels.recipe_id == recipe_id, *conditions)
        .order_by(Labels.received_at.desc(), Labels.message_id.desc())
        .limit(WORDS_SHOWN)
    )
    return session.scalars(newest).all()


def _fault_line(facts: Mapping[str, Any]) -> FaultLine:
    return FaultLine(
        fault=said(facts["fault"]),
        code=facts["fault"],
        here=f"{facts['reader_count']} of {facts['of_readers']}",
        elsewhere=f"{facts['elsewhere_count']} of {facts['of_elsewhere']}",
        stands_out=facts["stands_out"],
    )


def _outcome_chart(session: Session, recipe: Recipe, zone: ZoneInfo, now: datetime) -> Drawing:
    weeks = last_weeks(zone, now=now)
    rows = session.execute(
        select(Labels.received_at, Labels.outcome).where(
            Labels.recipe_id == recipe.id,
            Labels.is_made_it,
            Labels.outcome.is_not(None),
            Labels.received_at >= weeks[0].start_at(zone),
        )
    )
    tally = Counter((Week.of(moment, zone), outcome) for moment, outcome in rows)
    shown = [
        OutcomeWeek(
            f"{week.monday:%-d %b}", tally[week, "worked"], tally[week, "mixed"], tally[week, "failed"]
        )
        for week in weeks
    ]
    place = {week: at for at, week in enumerate(weeks)}
    changes = [
        (place[Week.of(row.made_at, zone)], row.note)
        for row in recipe.revisions
        if Week.of(row.made_at, zone) in place
    ]
    return weekly_outcomes("How it turned out, by week", shown, revisions=changes)


def _mended(session: Session, recipe_id: int) -> list[Mended]:
    """Faults of the page that were mended, the newest first."""
    return list(
        session.scalars(
            select(Mended)
            .where(Mended.recipe_id == recipe_id, Mended.what.in_(RECIPE_PAGE_FAULTS))
            .order_by(Mended.mended_at.desc())
            .limit(CHANGES_SHOWN)
        )
    )
