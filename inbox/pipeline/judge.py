"""Judging recipes from what counts in the ledger: standings, rises, faults, what revisions did.

`judge_recipes` is run at the end of each round and keeps its findings in
`recipe_standings`, from where pages and the digest read them.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import delete, insert, select
from sqlalchemy.orm import Session

from inbox.calendar import Week, local_date
from inbox.pipeline.catalogue import as_catalogue_recipe
from inbox.pipeline.rank import seasons_around
from inbox.pipeline.reasons import reasons
from inbox.ranking.faults import stand_out
from inbox.ranking.health import RecipeHealth, RecipeReports, Report, judge
from inbox.ranking.revisions import compare
from inbox.ranking.season import Season, last_change
from inbox.ranking.spikes import ProblemWeeks, Spike, find_spikes
from inbox.records.documents import plain
from inbox.records.page_faults import recount
from inbox.records.tables import Labels, Message, MessageFault, Recipe, Revision
from inbox.records.tables_out import RecipeStanding
from inbox.settings import Settings
from inbox.themes.coverage import recipe_facets
from inbox.words import RECIPE_PAGE_FAULTS


@dataclass(frozen=True)
class _Told:
    """One message about a recipe that reports on the dish or tells of a fault."""

    message_id: int
    report: Report
    has_outcome: bool
    is_problem: bool


@dataclass(frozen=True)
class _Changes:
    """Dates of a recipe's revisions, oldest first, with their row numbers."""

    dates: tuple[date, ...] = ()
    ids: tuple[int, ...] = ()

    def since_last(self, told: Sequence[_Told]) -> list[_Told]:
        """What was told since the last revision."""
        start = self.dates[-1] if self.dates else date.min
        return [one for one in told if one.report.received_on >= start]


def judge_recipes(session: Session, settings: Settings, *, now: datetime) -> list[RecipeHealth]:
    """Judge all recipes together, each since its last revision, and keep what was found."""
    told = _told(session, settings, now)
    changes = _changes(session, settings, now)
    recipe_ids = session.scalars(select(Recipe.id).order_by(Recipe.id)).all()
    recent = {number: changes[number].since_last(told[number]) for number in recipe_ids}
    judged = judge([_reports(number, recent[number], of_outcomes=True) for number in recipe_ids])
    faults = stand_out([_reports(number, recent[number], of_outcomes=False) for number in recipe_ids])
    anew = _watched_anew(session, settings, changes, local_date(now, settings.zone))
    spikes = _spikes(told, anew, recipe_ids, Week.of(now, settings.zone))
    kept = select(RecipeStanding.recipe_id, RecipeStanding.details)
    before: dict[int, dict[str, Any]] = dict(session.execute(kept).all())
    rows = []
    for one in judged:
        number = one.recipe_id
        told_of = [asdict(fault) for fault in faults.get(number, [])]
        found = {
            "faults": told_of,
            "spikes": [asdict(spike) for spike in spikes.get(number, [])],
            "revisions": _effects(told[number], changes[number]),
            **reasons(session, session.get_one(Recipe, number), told_of, settings, before.get(number, {})),
        }
        rows.append(_row(one, found, now))
    session.execute(delete(RecipeStanding))
    if rows:
        session.execute(insert(RecipeStanding), rows)
    recount(session)
    session.expire_all()
    return judged


def _row(judged: RecipeHealth, found: dict[str, Any], now: datetime) -> dict[str, Any]:
    return {
        "recipe_id": judged.recipe_id,
        "judged_at": now,
        "standing": judged.standing,
        "share": judged.share,
        "low": judged.low,
        "high": judged.high,
        "reader_count": judged.reader_count,
        "failed_count": judged.failed_count,
        "in_words": judged.in_words,
        "details": plain(asdict(judged) | found),
    }


def _told(session: Session, settings: Settings, now: datetime) -> dict[int, list[_Told]]:
    """By recipe, oldest first: made-it reports that say how it turned out, and problems."""
    faults: dict[int, list[str]] = defaultdict(list)
    of_the_dish = MessageFault.fault.not_in(RECIPE_PAGE_FAULTS)
    for message_id, fault in session.execute(
        select(MessageFault.message_id, MessageFault.fault).where(of_the_dish)
    ):
        faults[message_id].append(fault)
    rows = session.execute(
        select(
            Labels.recipe_id,
            Message.id,
            Message.reader_id,
            Message.received_at,
            Labels.failed_probability,
            Labels.outcome,
            Labels.is_problem,
        )
        .join(Message, Message.id == Labels.message_id)
        .where(
            Labels.is_made_it | Labels.is_problem, Labels.recipe_id.is_not(None), Message.received_at <= now
        )
        .order_by(Message.received_at, Message.id)
    )
    told: dict[int, list[_Told]] = defaultdict(list)
    for recipe_id, message_id, reader_id, received_at, failed, outcome, is_problem in rows:
        report = Report(
            reader=f"reader {reader_id}" if reader_id else f"message {message_id}",
            received_on=local_date(received_at, settings.zone),
            failed=failed,
            faults=tuple(sorted(faults.get(message_id, ()))),
            is_called_failed=outcome == "failed",
        )
        told[recipe_id or 0].append(_Told(message_id, report, outcome is not None, is_problem))
    return told


def _changes(session: Session, settings: Settings, now: datetime) -> dict[int, _Changes]:
    found: dict[int, list[tuple[date, int]]] = defaultdict(list)
    rows = session.execute(
        select(Revision.recipe_id, Revision.made_at, Revision.id)
        .where(Revision.made_at <= now)
        .order_by(Revision.made_at, Revision.id)
    )
    for recipe_id, made_at, revision_id in rows:
        found[recipe_id].append((local_date(made_at, settings.zone), revision_id))
    changes: dict[int, _Changes] = defaultdict(_Changes)
    for recipe_id, pairs in found.items():
        changes[recipe_id] = _Changes(tuple(on for on, _ in pairs), tuple(number for _, number in pairs))
    return changes


def _reports(recipe_id: int, told: Sequence[_Told], *, of_outcomes: bool) -> RecipeReports:
    chosen = (one.report for one in told if (one.has_outcome if of_outcomes else one.is_problem))
    return RecipeReports(recipe_id, tuple(chosen))


def _effects(told: Sequence[_Told], changes: _Changes) -> list[dict[str, Any]]:
    """What each revision did: reports since the one before it, against those until the one after it."""
    reports = [one.report for one in told if one.has_outcome]
    edges = (date.min, *changes.dates, date.max)
    effects = []
    for at, revision_id in enumerate(changes.ids, start=1):
        before = [one for one in reports if edges[at - 1] <= one.received_on < edges[at]]
        after = [one for one in reports if edges[at] <= one.received_on < edges[at + 1]]
        effects.append({"revision_id": revision_id, **asdict(compare(before, after))})
    return effects


def _watched_anew(
    session: Session, settings: Settings, changes: Mapping[int, _Changes], on: date
) -> dict[int, date]:
    """Day from which each recipe is watched for rises: its last revision, or where its season last turned."""
    seasons: dict[str, list[Season]] = defaultdict(list)
    for season in seasons_around(settings, on):
        seasons[season.code].append(season)
    days = {}
    for recipe in session.scalars(select(Recipe)):
        occasions = recipe_facets(as_catalogue_recipe(recipe)).occasion
        own = [season for code in occasions for season in seasons.get(code, ())]
        turned = last_change(own, on, settings.lead_time_weeks * 7)
        days[recipe.id] = max((*changes[recipe.id].dates[-1:], turned or date.min))
    return days


def _spikes(
    told: Mapping[int, Sequence[_Told]],
    anew: Mapping[int, date],
    recipe_ids: Sequence[int],
    this_week: Week,
) -> dict[int, list[Spike]]:
    """Rises in problem reports, per recipe and per fault, that go on in the running week."""
    days = [one.report.received_on for of_recipe in told.values() for one in of_recipe]
    if not days:
        return {}
    first = Week.holding(min(days)).monday
    week_count = (this_week.monday - first).days // 7 + 1
    series = [
        one
        for recipe_id in recipe_ids
        for one in _problem_weeks(recipe_id, told[recipe_id], anew[recipe_id], first, week_count)
    ]
    spikes: dict[int, list[Spike]] = defaultdict(list)
    for spike in find_spikes(series, recipe_count=len(recipe_ids), volume=_volume(days, first, week_count)):
        spikes[spike.recipe_id].append(spike)
    return spikes


def _problem_weeks(
    recipe_id: int, told: Sequence[_Told], anew_on: date, first: date, week_count: int
) -> list[ProblemWeeks]:
    """Distinct readers with a problem in each week, for the recipe and for each of its faults."""
    readers: dict[str | None, dict[int, set[str]]] = defaultdict(lambda: defaultdict(set))
    for one in told:
        if one.is_problem:
            week = (one.report.received_on - first).days // 7
            for fault in (None, *one.report.faults):
                readers[fault][week].add(one.report.reader)
    anew = (anew_on - first).days // 7
    return [
        ProblemWeeks(
            recipe_id,
            fault,
            tuple(len(by_week.get(week, ())) for week in range(week_count)),
            starts_anew=min(max(anew, 0), week_count - 1),
        )
        for fault, by_week in readers.items()
    ]


def _volume(days: Sequence[date], first: date, week_count: int) -> list[float]:
    """All reports of each week over their usual number."""
    counts = [0] * week_count
    for day in days:
        counts[(day - first).days // 7] += 1
    usual = max(sum(counts) / week_count, 1.0)
    return [count / usual for count in counts]
