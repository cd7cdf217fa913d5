"""Building a digest out of stored results, and freezing it: one a week, never changed.

`build_digest` computes nothing that was not stored before; `freeze` keeps it.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from inbox.calendar import Week, local_date
from inbox.digest import sections
from inbox.digest.document import Digest, TroubledRecipe, WeekNumbers, WishedTheme, from_json, to_json
from inbox.digest.numbers import arrivals, corrected_since, done_since, week_numbers
from inbox.digest.paid import paid_lines
from inbox.digest.sections import Caution, Site
from inbox.errors import NotFoundError
from inbox.records.tables_out import DigestRow
from inbox.replies.whom import count_words, owed_count
from inbox.settings import Settings

_FIRST: Final = (
    "This is your first digest. It has the same parts each week: what could hurt somebody, recipes in "
    "trouble, what to develop next, whom you owe an answer, what may be quoted, and the week in numbers.",
    "Every figure leads to the messages that it counts. Where the program read one wrongly, two touches "
    "put it right, and it learns from that.",
)


def site_of(settings: Settings) -> Site:
    """What the digest must know of the owner's site, from the settings."""
    return Site(
        name=settings.site_name,
        zone=settings.zone,
        country=settings.country,
        occasions=settings.occasions,
        lead_time_weeks=settings.lead_time_weeks,
    )


def build_digest(session: Session, week: Week, *, site: Site, caution: Caution, now: datetime) -> Digest:
    """The findings of `week`, from what was read, grouped, ranked and judged before `now`.

    Parameters
    ----------
    caution : callable
        Takes a hazard and gives the usual caution and who publishes it.
    """
    before = session.scalar(
        select(DigestRow).where(DigestRow.week < str(week)).order_by(DigestRow.week.desc()).limit(1)
    )
    hazards = sections.hazards(session, week, site, caution)
    troubled = sections.troubled(session, week, site)
    wishes = sections.wishes(session, week, site)
    owed_counts = {group: one.count for group, one in owed_count(session, now=now).items()}
    numbers = week_numbers(session, week, site.zone)
    quiet = _is_quiet(hazards, troubled, wishes, owed_counts, numbers[-1])
    since = before.built_at if before is not None else week.start_at(site.zone)
    return Digest(
        week=str(week),
        begins_on=week.monday,
        ends_on=week.sunday,
        built_at=now,
        site_name=site.name,
        timezone=str(site.zone),
        is_first=before is None,
        is_quiet=quiet,
        opening=_opening(quiet, before is None, hazards, troubled, wishes, owed_counts, numbers),
        hazards=hazards,
        troubled=troubled,
        wishes=wishes,
        owed=sections.owed_notes(session, site, shown_above=hazards, now=now),
        owed_counts=owed_counts,
        praise=sections.praise(session, week, site),
        season=sections.season(session, site, on=local_date(now, site.zone)),
        numbers=numbers,
        arrivals=arrivals(session, week, site.zone),
        unsure=sections.unsure(session, week, site),
        done=(*done_since(session, since, now), *paid_lines(session, site.zone, since, now)),
    )


def freeze(session: Session, week: Week, *, site: Site, caution: Caution, now: datetime) -> Digest:
    """The digest of `week`: the one that was kept, or else a new one, which is kept from now on."""
    kept = find_digest(session, str(week))
    if kept is not None:
        return kept
    digest = build_digest(session, week, site=site, caution=caution, now=now)
    try:
        with session.begin_nested():
            session.add(DigestRow(week=str(week), built_at=now, document=to_json(digest)))
            session.flush()
    except IntegrityError:  # another process was faster; what it kept is the digest
        session.expire_all()
        return get_digest(session, str(week))
    return digest


def find_digest(session: Session, week: str) -> Digest | None:
    """The digest of a week such as "2026-W47", or None."""
    row = session.scalar(select(DigestRow).where(DigestRow.week == week))
    return from_json(row.document) if row is not None else None


def get_digest(session: Session, week: str) -> Digest:
    """The digest of a week, or an error that says which there are."""
    found = find_digest(session, week)
    if found is None:
        newest = session.scalar(select(DigestRow.week).order_by(DigestRow.week.desc()).limit(1))
        there = f"the newest is {newest}" if newest else "there is none yet"
        raise NotFoundError(f"There is no digest of {week}; {there}.")
    return found


def back_numbers(session: Session) -> list[tuple[str, datetime]]:
    """Weeks that have a digest and when it was built, newest first."""
    rows = session.execute(select(DigestRow.week, DigestRow.built_at).order_by(DigestRow.week.desc()))
    return [(week, built_at) for week, built_at in rows]


def since_corrected(session: Session, digest: Digest) -> Mapping[int, tuple[str, ...]]:
    """Messages that the digest speaks of and a person labelled after it was built: the fields labelled.

    The digest stays as it was; pages say "since corrected" beside these.
    """
    return corrected_since(session, sorted(spoken_of(digest)), digest.built_at)


def spoken_of(digest: Digest) -> set[int]:
    """Numbers of all messages that the digest quotes or counts one by one."""
    found: set[int] = set()

    def look(value: object) -> None:
        if isinstance(value, dict):
            found.update(value.get("message_ids") or ())
            if isinstance(value.get("message_id"), int):
                found.add(value["message_id"])
            for inner in value.values():
                look(inner)
        elif isinstance(value, list):
            for inner in value:
                look(inner)

    look(to_json(digest))
    return found


def _is_quiet(
    hazards: Sequence[object],
    troubled: Sequence[TroubledRecipe],
    wishes: Sequence[WishedTheme],
    owed_counts: Mapping[str, int],
    numbers: WeekNumbers,
) -> bool:
    """Whether nothing calls for anything: no hazard, no trouble, nobody waiting, no wish that grew."""
    waiting = owed_counts["hazard"] + owed_counts["problem"] + owed_counts["question"]
    wished = any(wish.this_week.count or wish.trend == "rising" for wish in wishes)
    return not (hazards or troubled or waiting or wished or numbers.counts["problem"].count)


def _opening(
    quiet: bool,
    first: bool,
    hazards: Sequence[object],
    troubled: Sequence[TroubledRecipe],
    wishes: Sequence[WishedTheme],
    owed_counts: Mapping[str, int],
    numbers: Sequence[WeekNumbers],
) -> tuple[str, ...]:
    """Lines at the head: on a quiet week all there is to say, on a first one how to read it."""
    came = numbers[-1].counts["messages"].count
    before = [one.counts["messages"].count for one in numbers[:-1]]
    usual = f" (in the weeks before between {min(before):,} and {max(before):,})" if any(before) else ""
    arrived = f"{came:,} {'message' if came == 1 else 'messages'} came{usual}."
    if quiet:
        head = wishes[0].name if wishes else None
        return (
            f"A quiet week: {arrived}",
            "Nobody was hurt, no recipe is in trouble, and nobody waits for an answer.",
            f"First among the wishes stays “{head}”." if head else "Nobody has asked for a recipe yet.",
        )
    waiting = owed_counts["hazard"] + owed_counts["problem"] + owed_counts["question"]
    failing = sum(recipe.standing == "failing" for recipe in troubled)
    lines = [
        arrived,
        f"Hazards: {len(hazards) or 'none'}. Recipes failing: {failing or 'none'}. "
        f"Readers with a problem or question who wait for an answer: {count_words(waiting)}.",
    ]
    return (*_FIRST, *lines) if first else tuple(lines)
