"""The parts of a digest that tell of readers, recipes and themes, read from stored results."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from sqlalchemy import exists, func, select, true
from sqlalchemy.orm import Session

from inbox.calendar import Week, local_date
from inbox.digest.document import (
    ChangeNote,
    ComingOccasion,
    FaultNote,
    Figure,
    HazardNote,
    Line,
    OwedNote,
    Quote,
    TroubledRecipe,
    UsualCause,
    WishedTheme,
)
from inbox.digest.numbers import figure, outcome_weeks
from inbox.occasions import occasions_between, parse_occasions
from inbox.ranking.causes import Words, advise, questions_to_ask, to_explain
from inbox.ranking.recipe_measures import take_apart
from inbox.reading.findings import CatalogueRecipe
from inbox.records.tables import Labels, Message, MessageFault, Reader, Recipe, Revision
from inbox.records.tables_out import RecipeStanding, Reply, Theme, ThemeMember, ThemeRank
from inbox.replies.compose import one_line
from inbox.replies.whom import ANSWERED, owed
from inbox.words import KINDS, LANGUAGE_READ

Caution = Callable[[str], tuple[str, str]]
"""The usual caution for a hazard and who publishes it."""

QUOTED_CHARACTERS: Final = 240
MOST: Final = {"troubled": 6, "wishes": 5, "owed": 10, "praise": 6, "quotes": 3, "unsure": 3, "explained": 2}
"""How much of each is shown: what ten minutes allow (chosen). The rest is behind the figures."""


@dataclass(frozen=True, slots=True)
class Site:
    """What the digest must know of the owner's site."""

    name: str
    zone: ZoneInfo
    country: str = ""
    occasions: str = ""
    lead_time_weeks: int = 6


def quote_of(message: Message, name: str | None, zone: ZoneInfo) -> Quote:
    """The reader's words, shortened at a word, on one line, without signs that steer a terminal."""
    words = one_line(message.text)
    if len(words) > QUOTED_CHARACTERS:
        words = words[:QUOTED_CHARACTERS].rsplit(" ", 1)[0] + " …"
    return Quote(message.id, words, one_line(name or ""), local_date(message.received_at, zone))


def hazards(session: Session, week: Week, site: Site, caution: Caution) -> tuple[HazardNote, ...]:
    """Hazards of the week, the newest first; none is left out by a limit."""
    answered = exists().where(Reply.message_id == Message.id, Reply.state.in_(ANSWERED))
    rows = session.execute(
        select(Message, Labels.hazard, Reader.name, Recipe.slug, Recipe.title, answered)
        .join(Labels, Labels.message_id == Message.id)
        .outerjoin(Reader, Reader.id == Message.reader_id)
        .outerjoin(Recipe, Recipe.id == Labels.recipe_id)
        .where(
            Labels.hazard.is_not(None),
            Labels.is_junk.is_(False),
            Labels.received_at >= week.start_at(site.zone),
            Labels.received_at < week.end_at(site.zone),
        )
        .order_by(Labels.received_at.desc(), Message.id.desc())
    )
    return tuple(
        HazardNote(quote_of(message, name, site.zone), hazard, slug, title, *caution(hazard), is_answered)
        for message, hazard, name, slug, title, is_answered in rows
        if hazard is not None
    )


def troubled(session: Session, week: Week, site: Site) -> tuple[TroubledRecipe, ...]:
    """Recipes that fail, then those to be watched or with a sudden rise, worst first."""
    rows = session.execute(
        select(RecipeStanding, Recipe).join(Recipe, Recipe.id == RecipeStanding.recipe_id).order_by(Recipe.id)
    ).all()
    chosen = [
        (standing, recipe)
        for standing, recipe in rows
        if standing.standing in ("failing", "watch") or standing.details.get("spikes")
    ]
    chosen.sort(key=lambda pair: (_gravity(pair[0]), -pair[0].share))
    return tuple(
        _troubled(session, standing, recipe, week, site) for standing, recipe in chosen[: MOST["troubled"]]
    )


def _gravity(standing: RecipeStanding) -> int:
    return {"failing": 0, "watch": 1}.get(standing.standing, 2)


def _troubled(
    session: Session, standing: RecipeStanding, recipe: Recipe, week: Week, site: Site
) -> TroubledRecipe:
    details: Mapping[str, Any] = standing.details
    since = max((revision.made_at for revision in recipe.revisions), default=None)
    ends_at = week.end_at(site.zone)
    rows = session.execute(
        select(Message.id, Labels.outcome, Labels.is_made_it, Labels.is_problem)
        .join(Labels, Labels.message_id == Message.id)
        .where(Labels.recipe_id == recipe.id, Labels.received_at < ends_at)
        .where(Labels.received_at >= since if since is not None else true())
    ).all()
    reported = [row.id for row in rows if row.is_made_it and row.outcome]
    failed = [row.id for row in rows if row.is_made_it and row.outcome == "failed"]
    from_on = local_date(since, site.zone) if since is not None else None
    faults = [fault for fault in details.get("faults", []) if fault["reader_count"] > 0][:4]
    explained = to_explain(faults)[: MOST["explained"]]
    told = _told(session, recipe.id, [fault["fault"] for fault in faults], since, ends_at)
    quotes = _recipe_quotes(session, recipe.id, since, ends_at, site.zone)
    return TroubledRecipe(
        recipe_id=recipe.id,
        slug=recipe.slug,
        title=recipe.title,
        standing=standing.standing,
        in_words=standing.in_words,
        share=standing.share,
        low=standing.low,
        high=standing.high,
        catalogue_share=details.get("catalogue_share"),
        limit=details.get("limit"),
        readers=figure(reported, kind="made_it", recipe=recipe.slug, since=from_on),
        failed=figure(failed, kind="made_it", outcome="failed", recipe=recipe.slug, since=from_on),
        rises=tuple(spike["in_words"] for spike in details.get("spikes", [])),
        faults=tuple(
            FaultNote(
                code := fault["fault"],
                figure(told[code], fault=code, recipe=recipe.slug, since=from_on),
                bool(fault["stands_out"]),
                _causes(session, code, told[code], recipe) if code in explained else (),
            )
            for fault in faults
        ),
        changes=_changes(session, details.get("revisions", []), site.zone),
        questions=tuple(questions_to_ask(explained, "", most=2)),
        quotes=quotes,
        weeks=outcome_weeks(session, recipe.id, week, site.zone),
    )


def _told(
    session: Session, recipe_id: int, faults: Sequence[str], since: datetime | None, ends_at: datetime
) -> dict[str, list[int]]:
    """Messages that tell of each fault."""
    rows = session.execute(
        select(MessageFault.fault, MessageFault.message_id)
        .join(Labels, Labels.message_id == MessageFault.message_id)
        .where(Labels.recipe_id == recipe_id, MessageFault.fault.in_(faults), Labels.received_at < ends_at)
        .where(Labels.received_at >= since if since is not None else true())
    )
    told: dict[str, list[int]] = {fault: [] for fault in faults}
    for fault, message_id in rows:
        told[fault].append(message_id)
    return told


def _causes(session: Session, fault: str, told: Sequence[int], recipe: Recipe) -> tuple[UsualCause, ...]:
    """What usually lies behind a fault that these messages tell of."""
    facts = take_apart(
        CatalogueRecipe(
            recipe.slug, recipe.title, recipe.url, tuple(recipe.ingredients), tuple(recipe.steps), recipe.tags
        )
    )
    wrote = session.execute(
        select(Message.id, Message.reader_id, Message.text).where(Message.id.in_(told[-200:]))
    )
    words = [
        Words(one, f"reader {reader}" if reader else f"message {one}", text) for one, reader, text in wrote
    ]
    return tuple(UsualCause(cause.in_words, cause.source) for cause in advise(fault, facts, words)[:2])


def _changes(
    session: Session, effects: Sequence[Mapping[str, Any]], zone: ZoneInfo
) -> tuple[ChangeNote, ...]:
    notes = []
    for effect in effects[-2:]:
        revision = session.get(Revision, effect["revision_id"])
        if revision is not None:
            notes.append(ChangeNote(local_date(revision.made_at, zone), revision.note, effect["in_words"]))
    return tuple(notes)


def _recipe_quotes(
    session: Session, recipe_id: int, since: datetime | None, ends_at: datetime, zone: ZoneInfo
) -> tuple[Quote, ...]:
    """Newest words of those who had trouble, one a reader."""
    rows = session.execute(
        select(Message, Reader.name)
        .join(Labels, Labels.message_id == Message.id)
        .outerjoin(Reader, Reader.id == Message.reader_id)
        .where(Labels.recipe_id == recipe_id, Labels.is_problem == true(), Labels.received_at < ends_at)
        .where(Labels.received_at >= since if since is not None else true())
        .order_by(Labels.failed_probability.desc(), Labels.received_at.desc())
        .limit(20)
    )
    return _one_a_reader(rows, zone)


def _one_a_reader(rows: Any, zone: ZoneInfo) -> tuple[Quote, ...]:
    found: dict[object, Quote] = {}
    for message, name in rows:
        if message.text.strip():
            found.setdefault(message.reader_id or -message.id, quote_of(message, name, zone))
    return tuple(found.values())[: MOST["quotes"]]


def wishes(session: Session, week: Week, site: Site) -> tuple[WishedTheme, ...]:
    """The first themes of the ranking, with reasons and readers' words."""
    rows = session.execute(
        select(ThemeRank, Theme)
        .join(Theme, Theme.id == ThemeRank.theme_id)
        .where(Theme.shelf == "open", Theme.merged_into_id.is_(None))
        .order_by(ThemeRank.place)
        .limit(MOST["wishes"])
    ).all()
    return tuple(_wish(session, rank, theme, week, site) for rank, theme in rows)


def _wish(session: Session, rank: ThemeRank, theme: Theme, week: Week, site: Site) -> WishedTheme:
    details: Mapping[str, Any] = rank.details
    start, end = week.start_at(site.zone), week.end_at(site.zone)
    members = session.execute(
        select(Message.id, Message.received_at)
        .join(ThemeMember, ThemeMember.message_id == Message.id)
        .where(ThemeMember.theme_id == theme.id, Message.received_at < end)
    ).all()
    typical = session.execute(
        select(Message, Reader.name)
        .join(ThemeMember, ThemeMember.message_id == Message.id)
        .outerjoin(Reader, Reader.id == Message.reader_id)
        .where(ThemeMember.theme_id == theme.id, Message.received_at < end)
        .order_by(func.coalesce(ThemeMember.typical_rank, 99), Message.received_at.desc())
        .limit(12)
    )
    everyone = figure([row.id for row in members])
    asked_on = f"/requests/{theme.id}"
    return WishedTheme(
        theme_id=theme.id,
        name=theme.name,
        place=rank.place,
        reason=rank.in_words,
        trend=str(details.get("trend", "steady")),
        readers=Figure(rank.reader_count, everyone.address or asked_on, everyone.message_ids),
        this_week=figure([row.id for row in members if row.received_at >= start]),
        rate_a_week=details.get("rate_a_week"),
        rate_low=details.get("rate_low"),
        rate_high=details.get("rate_high"),
        first_five_share=details.get("first_five_share"),
        parts={str(key): float(value) for key, value in details.get("parts", {}).items()},
        covered_by_title=theme.covered_by.title if theme.covered_by else None,
        covered_by_slug=theme.covered_by.slug if theme.covered_by else None,
        quotes=_one_a_reader(typical, site.zone),
    )


def owed_notes(
    session: Session, site: Site, *, shown_above: Sequence[HazardNote], now: datetime
) -> tuple[OwedNote, ...]:
    """Readers who wait, in the order in which they are answered, but for the hazards shown above."""
    above = {note.quote.message_id for note in shown_above}
    waiting = owed(session, now=now, limit=MOST["owed"] + len(above))
    entries = [entry for entry in waiting if not above.intersection(entry.message_ids)]
    return tuple(
        OwedNote(
            entry.group,
            entry.reason,
            Quote(
                entry.message_ids[0],
                _short(entry.words),
                one_line(entry.reader_name or ""),
                local_date(entry.received_at, site.zone),
            ),
            entry.message_ids,
        )
        for entry in entries[: MOST["owed"]]
    )


def _short(text: str) -> str:
    words = one_line(text)
    return words if len(words) <= 160 else words[:160].rsplit(" ", 1)[0] + " …"


def praise(session: Session, week: Week, site: Site) -> tuple[Quote, ...]:
    """What worked, in words that the reader allowed to be quoted."""
    rows = session.execute(
        select(Message, Reader.name)
        .join(Labels, Labels.message_id == Message.id)
        .outerjoin(Reader, Reader.id == Message.reader_id)
        .where(
            Message.may_quote,
            Labels.is_made_it == true(),
            Labels.outcome == "worked",
            Labels.hazard.is_(None),
            Labels.received_at >= week.start_at(site.zone),
            Labels.received_at < week.end_at(site.zone),
        )
        .order_by(func.length(Message.text).desc(), Message.id)
        .limit(MOST["praise"])
    )
    return tuple(quote_of(message, name, site.zone) for message, name in rows)


def season(session: Session, site: Site, *, on: date) -> tuple[ComingOccasion, ...]:
    """Occasions whose window is open on that day, and what readers ask for them."""
    codes = parse_occasions(site.occasions, site.country)
    until = on + timedelta(weeks=site.lead_time_weeks)
    coming = []
    for occasion in occasions_between(on, until, codes, site.country):
        if occasion.on < on:
            continue
        rows = session.execute(
            select(Theme.id, Theme.name, ThemeRank.reader_count)
            .join(ThemeRank, ThemeRank.theme_id == Theme.id)
            .where(
                Theme.occasion.in_((occasion.code, occasion.asked_as)),
                Theme.shelf.in_(("open", "on_the_bench")),
            )
            .order_by(ThemeRank.place)
            .limit(3)
        )
        days = (occasion.on - on).days
        coming.append(
            ComingOccasion(
                occasion.name, occasion.on, days, tuple((one, name, count) for one, name, count in rows)
            )
        )
    return tuple(coming)


def unsure(session: Session, week: Week, site: Site) -> tuple[Line, ...]:
    """What the program read without being sure of it."""
    start, end = week.start_at(site.zone), week.end_at(site.zone)
    lines = []
    rows = session.execute(
        select(Message, Reader.name)
        .join(Labels, Labels.message_id == Message.id)
        .outerjoin(Reader, Reader.id == Message.reader_id)
        .where(Labels.received_at >= start, Labels.received_at < end, Labels.least_sure < 0.1)
        .where(Labels.by_hand.is_(False))
        .order_by(Labels.least_sure, Message.id)
    ).all()
    if rows:
        ids = [message.id for message, _ in rows]
        quotes = tuple(quote_of(message, name, site.zone) for message, name in rows[: MOST["unsure"]])
        words = f"{_messages(len(ids))} could be read one way or the other; a touch settles each."
        lines.append(Line(words, figure(ids, since=week.monday, until=week.sunday), quotes))
    foreign = session.scalars(
        select(Labels.message_id).where(
            Labels.language != LANGUAGE_READ,
            *(getattr(Labels, f"is_{kind}").is_(False) for kind in KINDS),
            Labels.received_at >= start,
            Labels.received_at < end,
        )
    ).all()
    if foreign:
        is_in, it_is = ("is", "it is") if len(foreign) == 1 else ("are", "they are")
        words = f"{_messages(len(foreign))} {is_in} in another language; what {it_is}, is for you to say."
        lines.append(Line(words, figure(foreign, language="other", since=week.monday, until=week.sunday)))
    unplaced = session.scalars(
        select(Labels.message_id).where(
            Labels.recipe_id.is_(None),
            Labels.is_made_it | Labels.is_problem,
            Labels.received_at >= start,
            Labels.received_at < end,
        )
    ).all()
    if unplaced:
        speak = "speaks" if len(unplaced) == 1 else "speak"
        words = f"{_messages(len(unplaced))} {speak} of a recipe, and it is not known which."
        lines.append(Line(words, figure(unplaced, since=week.monday, until=week.sunday)))
    doubtful = session.scalars(
        select(ThemeMember.message_id)
        .join(Message, Message.id == ThemeMember.message_id)
        .where(ThemeMember.doubtful, Message.received_at >= start, Message.received_at < end)
    ).all()
    if doubtful:
        words = f"{_messages(len(doubtful))} may belong to another wish than the one they were put to."
        lines.append(Line(words, figure(doubtful, kind="request", since=week.monday, until=week.sunday)))
    return tuple(lines)


def _messages(count: int) -> str:
    return "One message" if count == 1 else f"{count:,} messages"
