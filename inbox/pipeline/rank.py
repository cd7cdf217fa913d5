"""Ranking themes from what counts in the ledger, and storing the ranking."""

from dataclasses import asdict
from datetime import date, datetime, timedelta

from sqlalchemy import delete, func, insert, select
from sqlalchemy.orm import Session

from inbox.calendar import local_date
from inbox.occasions import occasions_between, parse_occasions
from inbox.pipeline.checking import found_share
from inbox.ranking import demand
from inbox.ranking.demand import RankedTheme, ThemeVoices
from inbox.ranking.season import Season
from inbox.ranking.voices import Voice
from inbox.records.documents import plain
from inbox.records.tables import Labels, Message, MessageReading, Recipe
from inbox.records.tables_out import Theme, ThemeMember, ThemeRank
from inbox.settings import Settings

_PAST_DAYS, _AHEAD_DAYS = 400, 400
"""Span in which occasions are looked up: one year each way holds every occurrence that can matter."""


def rank_themes(session: Session, settings: Settings, *, now: datetime) -> list[RankedTheme]:
    """Rank the open themes, and keep the ranking in the place of the last one."""
    on = local_date(now, settings.zone)
    themes = _theme_voices(session, settings, now)
    ranked = demand.rank(
        themes,
        on=on,
        observed_from=_observed_from(session, settings) or on,
        seasons=seasons_around(settings, on),
        lead_days=settings.lead_time_weeks * 7,
        effort_weight=settings.effort_weight,
        found_share=found_share(session, "request"),
    )
    session.execute(delete(ThemeRank))
    rows = [
        {
            "theme_id": row.theme_id,
            "ranked_at": now,
            "place": row.place,
            "score": row.score,
            "reader_count": row.reader_count,
            "in_words": row.reason,
            "details": plain(asdict(row)),
        }
        for row in ranked
    ]
    if rows:
        session.execute(insert(ThemeRank), rows)
    session.expire_all()
    return ranked


def seasons_around(settings: Settings, on: date) -> list[Season]:
    """Past and coming occurrences of the occasions that the owner plans for."""
    codes = parse_occasions(settings.occasions, settings.country)
    return [
        Season(occasion.asked_as, occasion.name, occasion.on, occasion.until_on)
        for occasion in occasions_between(
            on - timedelta(days=_PAST_DAYS), on + timedelta(days=_AHEAD_DAYS), codes, settings.country
        )
    ]


def _observed_from(session: Session, settings: Settings) -> date | None:
    first = session.scalar(select(func.min(Message.received_at)).where(Message.kept_apart.is_(None)))
    return local_date(first, settings.zone) if first else None


def _theme_voices(session: Session, settings: Settings, now: datetime) -> list[ThemeVoices]:
    rows = session.execute(
        select(
            ThemeMember.theme_id,
            ThemeMember.by_hand,
            Message.id,
            Message.reader_id,
            Message.received_at,
            Message.thumbs_up_count,
            Labels.by_hand,
            MessageReading.kind_probabilities,
        )
        .join(Message, Message.id == ThemeMember.message_id)
        .join(Labels, Labels.message_id == Message.id)
        .outerjoin(MessageReading, MessageReading.message_id == Message.id)
        .where(Message.received_at <= now)
        .order_by(ThemeMember.theme_id, Message.received_at, Message.id)
    )
    voices: dict[int, list[Voice]] = {}
    for theme_id, placed_by_hand, message_id, reader_id, received_at, thumbs, labelled, read in rows:
        voices.setdefault(theme_id, []).append(
            Voice(
                reader=f"reader {reader_id}" if reader_id else f"message {message_id}",
                received_on=local_date(received_at, settings.zone),
                weight=1.0 if placed_by_hand or labelled else float((read or {}).get("request", 1.0)),
                thumbs_up_count=thumbs,
            )
        )
    titles = dict(session.execute(select(Recipe.id, Recipe.title)).all())
    themes = session.scalars(
        select(Theme).where(Theme.shelf == "open", Theme.merged_into_id.is_(None)).order_by(Theme.id)
    )
    return [
        ThemeVoices(
            theme_id=theme.id,
            voices=tuple(voices[theme.id]),
            occasion=theme.occasion,
            coverage=theme.coverage,
            covered_by=titles.get(theme.covered_by_id or 0),
            effort_days=theme.effort,
        )
        for theme in themes
        if theme.id in voices
    ]
