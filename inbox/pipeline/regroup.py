"""Requests become themes in the ledger, and themes keep their numbers, names and hand-made decisions.

`regroup` can be run at any time and any number of times. Members of a theme stay
where they are, apart from those whose place was doubtful; what a person decided
(a request put somewhere, a request taken out, themes merged or kept apart) comes first.
"""

from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import delete, func, insert, select, update
from sqlalchemy.orm import Session, sessionmaker

from inbox.pipeline.catalogue import load_catalogue
from inbox.reading.findings import CatalogueRecipe
from inbox.records.tables import Labels, Message, MessageReading, Recipe
from inbox.records.tables_out import RequestSketch, Theme, ThemeMember, ThemeRefusal
from inbox.records.turns import one_at_a_time
from inbox.themes.coverage import coverage, offer
from inbox.themes.facets import Facets, blend, read_facets
from inbox.themes.grouping import TYPICAL, Grouping, SettledTheme, group
from inbox.themes.likeness import Likeness
from inbox.themes.naming import common_facets, name_of
from inbox.themes.requests import Request
from inbox.themes.sketches import Sketch, sketch, sketch_version
from inbox.words import LANGUAGE_READ

_BATCH_ROWS = 500
SETTLED_READERS = 3
"""Chosen: from so many members on, a theme's name stays as it is; before, it may still find its words."""

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class RegroupResult:
    """How many requests were placed, and how many themes are new."""

    placed_count: int
    new_theme_count: int


def regroup(
    sessions: sessionmaker[Session],
    likeness: Likeness,
    *,
    now: datetime,
    progress: Progress = lambda _done, _of: None,
) -> RegroupResult:
    """Give every request a theme, and every theme its name, facets and coverage.

    Grouping is computed between two transactions. Requests that a person moved in the
    meantime keep the place the person gave them. Where another process placed some of them,
    grouping begins anew: the rest would make a second theme of what has one already.
    """
    _sketch_new(sessions, progress)
    with sessions.begin() as session:
        _drop_what_is_no_request(session)
    result = None
    while result is None:
        result = _place(sessions, likeness, now)
    with sessions.begin() as session:
        one_at_a_time(session, "regroup")
        describe_themes(session, likeness)
    return result


def _place(sessions: sessionmaker[Session], likeness: Likeness, now: datetime) -> RegroupResult | None:
    """Group what is free, and store it; None where another process was faster."""
    with sessions() as session:
        free, places = _free_requests(session)
        settled = _settled_themes(session)
        apart = session.execute(select(ThemeRefusal.message_id, ThemeRefusal.theme_id)).all()
    if not free:
        return RegroupResult(0, 0)
    found = group(free, likeness, settled=settled, apart=[(str(message), theme) for message, theme in apart])
    with sessions.begin() as session:
        return _store(session, found, places, now)


def _requests() -> Any:
    """Condition on `labels`: what counts as a request that can be compared."""
    return Labels.is_request & (Labels.language == LANGUAGE_READ)


def _sketch_new(sessions: sessionmaker[Session], progress: Progress) -> None:
    missing = (
        select(Message)
        .join(Labels)
        .outerjoin(RequestSketch, RequestSketch.message_id == Message.id)
        .where(_requests(), func.coalesce(RequestSketch.made_by, "") != sketch_version())
        .order_by(Message.id)
    )
    with sessions() as session:
        total = session.scalar(select(func.count()).select_from(missing.subquery())) or 0
    done = 0
    while True:
        with sessions() as session:
            messages = list(session.scalars(missing.limit(_BATCH_ROWS)))
            requests = [_as_request(session, message) for message in messages]
        if not messages:
            return
        made = sketch(requests)
        with sessions.begin() as session:
            _keep_sketches(session, made)
        done += len(made)
        progress(done, max(done, total))


def _as_request(session: Session, message: Message) -> Request:
    labels = message.labels
    recipe = session.get(Recipe, labels.recipe_id) if labels and labels.recipe_id else None
    return Request(
        id=str(message.id),
        text=message.text,
        subject=message.subject,
        recipe=CatalogueRecipe(recipe.slug, recipe.title) if recipe else None,
        received_on=message.received_at.date(),
    )


def _keep_sketches(session: Session, made: Sequence[Sketch]) -> None:
    wanted = {int(one.id): one for one in made}
    here = session.scalars(select(Message.id).where(Message.id.in_(wanted))).all()
    session.execute(delete(RequestSketch).where(RequestSketch.message_id.in_(here)))
    session.execute(
        insert(RequestSketch),
        [
            {"message_id": number, "made_by": sketch_version(), "packed": wanted[number].pack()}
            for number in here
        ],
    )
    for number in here:
        session.execute(
            update(MessageReading)
            .where(MessageReading.message_id == number)
            .values(wants=wanted[number].wanted.phrase)
        )


def _drop_what_is_no_request(session: Session) -> None:
    """Take messages out of their themes that a person or a new reading says are no requests."""
    still = select(Labels.message_id).where(_requests())
    session.execute(
        delete(ThemeMember).where(ThemeMember.message_id.not_in(still), ThemeMember.by_hand.is_(False))
    )
    session.execute(delete(RequestSketch).where(RequestSketch.message_id.not_in(still)))


def _free_requests(session: Session) -> tuple[list[Sketch], dict[int, int | None]]:
    """Requests without a place, and those whose place was doubtful; and the theme where each of them lies."""
    rows = session.execute(
        select(RequestSketch.packed, RequestSketch.message_id, ThemeMember.theme_id)
        .outerjoin(ThemeMember, ThemeMember.message_id == RequestSketch.message_id)
        .where(
            ThemeMember.message_id.is_(None)
            | (ThemeMember.doubtful.is_(True) & ThemeMember.by_hand.is_(False))
        )
        .order_by(RequestSketch.message_id)
    ).all()
    return [Sketch.unpack(packed) for packed, _, _ in rows], {message: theme for _, message, theme in rows}


def _typical_members(session: Session, at_most: int) -> dict[int, list[tuple[int, Sketch]]]:
    """Of each living theme, the members that stand for it: those put there by hand, then the most alike."""
    place = (
        func.row_number()
        .over(
            partition_by=ThemeMember.theme_id,
            order_by=(ThemeMember.by_hand.desc(), ThemeMember.similarity.desc(), ThemeMember.message_id),
        )
        .label("place")
    )
    ranked = (
        select(ThemeMember.theme_id, ThemeMember.message_id, place)
        .where(ThemeMember.doubtful.is_(False) | ThemeMember.by_hand)
        .subquery()
    )
    rows = session.execute(
        select(ranked.c.theme_id, ranked.c.message_id, RequestSketch.packed)
        .join(RequestSketch, RequestSketch.message_id == ranked.c.message_id)
        .where(ranked.c.place <= at_most)
        .order_by(ranked.c.theme_id, ranked.c.place)
    )
    members: dict[int, list[tuple[int, Sketch]]] = {}
    for theme_id, message_id, packed in rows:
        members.setdefault(theme_id, []).append((message_id, Sketch.unpack(packed)))
    return members


def _settled_themes(session: Session) -> list[SettledTheme]:
    members = _typical_members(session, TYPICAL)
    return [
        SettledTheme(
            id=theme.id,
            name=theme.name,
            members=tuple(one for _, one in members[theme.id]),
            open=theme.shelf == "open",
        )
        for theme in session.scalars(select(Theme).where(Theme.merged_into_id.is_(None)).order_by(Theme.id))
        if theme.id in members
    ]


def _store(
    session: Session, found: Grouping, places: Mapping[int, int | None], now: datetime
) -> RegroupResult | None:
    """Store what was found for requests that lay at `places`; None where that is out of date."""
    one_at_a_time(session, "regroup")
    here = set(session.scalars(select(RequestSketch.message_id)))
    lie: dict[int, int] = {}
    for message_id, theme_id, by_hand in session.execute(
        select(ThemeMember.message_id, ThemeMember.theme_id, ThemeMember.by_hand)
    ):
        if message_id in places and by_hand:
            here.discard(message_id)
        elif message_id in places:
            lie[message_id] = theme_id
    survivors = _survivors(session)
    placed = [one for one in found.placed if int(one.request) in here]
    if any(lie.get(number) != theme for number, theme in places.items() if number in here) or any(
        one.theme is not None and one.theme not in survivors for one in placed
    ):
        return None
    _leave(session, [int(one.request) for one in placed if int(one.request) in lie])
    new_ids: dict[int, int] = {}
    for number in sorted({one.new for one in placed if one.new is not None}):
        new = found.new[number]
        theme = Theme(name=new.name, facets=asdict(_wanted(new.facets, new.name)), created_at=now)
        session.add(theme)
        session.flush()
        new_ids[number] = theme.id
    rows = []
    for one in placed:
        theme_id = survivors[one.theme] if one.theme is not None else new_ids[one.new or 0]
        rows.append(
            {
                "message_id": int(one.request),
                "theme_id": theme_id,
                "by_hand": False,
                "similarity": one.similarity,
                "doubtful": one.doubtful,
                "joined_at": now,
            }
        )
    if rows:
        session.execute(insert(ThemeMember), rows)
    return RegroupResult(len(rows), len(new_ids))


def _leave(session: Session, ids: Sequence[int]) -> None:
    """Take these requests out of their themes."""
    # A statement takes at most 65,535 values on PostgreSQL.
    for start in range(0, len(ids), _BATCH_ROWS):
        batch = ids[start : start + _BATCH_ROWS]
        session.execute(delete(ThemeMember).where(ThemeMember.message_id.in_(batch)))


def _survivors(session: Session) -> Mapping[int, int]:
    """Where each theme lives on: itself, or the theme that it was merged into."""
    into = dict(session.execute(select(Theme.id, Theme.merged_into_id)).all())

    def last(theme_id: int) -> int:
        while (next_id := into[theme_id]) is not None:
            theme_id = next_id
        return theme_id

    return {theme_id: last(theme_id) for theme_id in into}


def describe_themes(session: Session, likeness: Likeness) -> None:
    """Bring names, facets, typical words and coverage of all living themes up to date.

    A name that a person gave stays, and so does any name once the theme has settled; before, it changes only
    if what its members have in common has changed.
    Themes that have no members any more and that nobody touched are removed.
    """
    catalogue, recipe_ids = load_catalogue(session)
    offers = [offer(recipe) for recipe in catalogue]
    in_hand = _in_hand(session)
    members = _typical_members(session, TYPICAL)
    counts = dict(
        session.execute(select(ThemeMember.theme_id, func.count()).group_by(ThemeMember.theme_id)).all()
    )
    session.execute(update(ThemeMember).values(typical_rank=None))
    living = session.scalars(select(Theme).where(Theme.merged_into_id.is_(None)).order_by(Theme.id)).all()
    names = Counter(theme.name for theme in living)
    for theme in living:
        typical = members.get(theme.id, [])
        if not counts.get(theme.id) and not _touched(session, theme):
            session.delete(theme)
            continue
        if not typical:
            continue
        sketches = [one for _, one in typical]
        common = common_facets(sketches)
        changed = theme.facets != asdict(_wanted(common, theme.name))
        if changed and not theme.named_by_hand and counts[theme.id] < SETTLED_READERS:
            names -= Counter([theme.name])
            theme.name = name_of(sketches, likeness.asked([sketches])[0], names)
            names[theme.name] += 1
        facets = _wanted(common, theme.name)
        theme.facets = asdict(facets)
        theme.occasion = max(facets.occasion, key=lambda id: facets.occasion[id], default=None)
        found = coverage(facets, offers, in_hand.get(theme.id, ()))
        theme.coverage, theme.coverage_why = found.share, found.reason
        theme.covered_by_id = recipe_ids.get(found.slug or "")
        for rank, (message_id, _) in enumerate(typical[:3], start=1):
            session.execute(
                update(ThemeMember).where(ThemeMember.message_id == message_id).values(typical_rank=rank)
            )


def _touched(session: Session, theme: Theme) -> bool:
    """Whether a person has done something with this theme, so that it must stay."""
    merged = session.scalar(select(func.count()).where(Theme.merged_into_id == theme.id))
    refused = session.scalar(select(func.count()).where(ThemeRefusal.theme_id == theme.id))
    return bool(theme.named_by_hand or theme.shelf != "open" or theme.effort or merged or refused)


def _wanted(common: Facets, name: str) -> Facets:
    """What a theme asks for: what its members name alike, and what its name says, whoever gave it."""
    return blend([(common, 1.0), (read_facets(name), 1.0)])


def _in_hand(session: Session) -> Mapping[int, Collection[str]]:
    """Of each theme, the recipes on whose page at least half of its sure members wrote: these they know."""
    sure = (
        select(ThemeMember.theme_id, Message.page_recipe_id)
        .join(Message, Message.id == ThemeMember.message_id)
        .where(ThemeMember.doubtful.is_(False) | ThemeMember.by_hand)
        .subquery()
    )
    every: dict[int, int] = dict(
        session.execute(select(sure.c.theme_id, func.count()).group_by(sure.c.theme_id)).all()
    )
    written = session.execute(
        select(sure.c.theme_id, Recipe.slug, func.count())
        .join(Recipe, Recipe.id == sure.c.page_recipe_id)
        .group_by(sure.c.theme_id, Recipe.slug)
    )
    known: dict[int, set[str]] = {}
    for theme_id, slug, count in written:
        if 2 * count >= every[theme_id]:
            known.setdefault(theme_id, set()).add(slug)
    return known
