"""What to develop next: the ranking, and one theme with all that speaks for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from inbox.digest.charts import bars
from inbox.digest.drawing import Drawing
from inbox.digest.paid import PaidTheme, load_paid
from inbox.pipeline.hand_themes import get_theme
from inbox.ranking.reasons import rate_words
from inbox.records.lines import lines_of
from inbox.records.tables import Message, Recipe
from inbox.records.tables_out import Reply, Theme, ThemeMember, ThemeRank
from inbox.replies.telling import who_asked
from inbox.replies.whom import ANSWERED
from inbox.themes.vocabulary import vocabulary
from inbox.web.page import Page
from inbox.web.pages.choices import recipe_choices, theme_choices
from inbox.web.pages.entries import excerpt, name_of
from inbox.web.pages.weeks import last_weeks, weekly_counts
from inbox.web.phrasing import Choice, said

PART_WORDS = {
    "rate": ("How many ask", "people and how lately, drawn towards the usual where there are few"),
    "season": ("Season", "whether its time of the year lies ahead"),
    "gap": ("What is missing", "how far a published recipe answers it already"),
    "effort": ("Work", "your own estimate against three days"),
}
WORDS_SHOWN = 12
LATER_SHOWN = 40


@dataclass(frozen=True)
class ThemeLine:
    """One theme in a list."""

    id: int
    name: str
    figure: str
    under: str
    place: int | None = None


@dataclass(frozen=True)
class ThemesPage(Page):
    """The ranked themes, and those on the bench."""

    template: ClassVar[str] = "requests/list.html"
    shelf: str
    shelves: list[tuple[str, str, int]]
    bench: list[ThemeLine]
    themes: list[ThemeLine]
    ranked_at: datetime | None
    shown: int = 20
    most: int = 300


def load_themes(session: Session, shelf: str, zone: ZoneInfo) -> ThemesPage:
    """The themes of one shelf; the open ones in the order of the ranking."""
    counts = dict(
        session.execute(
            select(Theme.shelf, func.count()).where(Theme.merged_into_id.is_(None)).group_by(Theme.shelf)
        ).all()
    )
    members = dict(
        session.execute(select(ThemeMember.theme_id, func.count()).group_by(ThemeMember.theme_id)).all()
    )
    rows = session.execute(
        select(Theme, ThemeRank)
        .outerjoin(ThemeRank, ThemeRank.theme_id == Theme.id)
        .where(Theme.merged_into_id.is_(None), Theme.shelf.in_((shelf, "on_the_bench")))
        .options(joinedload(Theme.recipe))
        .order_by(ThemeRank.place.is_(None), ThemeRank.place, Theme.id)
    ).all()
    paid = {one.theme_id: one for one in load_paid(session, zone)} if shelf == "published" else {}
    lines: dict[str, list[ThemeLine]] = {shelf: [], "on_the_bench": []}
    for theme, rank in rows:
        lines[theme.shelf].append(_line(theme, rank, members.get(theme.id, 0), paid.get(theme.id)))
    return ThemesPage(
        shelf=shelf,
        shelves=[
            (code, words, counts.get(code, 0))
            for code, words in (
                ("open", "Open"),
                ("on_the_bench", "On the bench"),
                ("published", "Published"),
                ("passed_over", "Passed over"),
            )
        ],
        bench=lines["on_the_bench"] if shelf == "open" else [],
        themes=lines[shelf],
        ranked_at=next((rank.ranked_at for _, rank in rows if rank), None),
    )


def _line(theme: Theme, rank: ThemeRank | None, member_count: int, paid: PaidTheme | None) -> ThemeLine:
    readers = rank.reader_count if rank and theme.shelf == "open" else None
    under = rank.in_words if rank and theme.shelf == "open" else ""
    if theme.shelf == "on_the_bench" and theme.bench_due_on:
        under = f"to be ready by {theme.bench_due_on:%-d %B %Y}"
    elif theme.shelf == "published" and theme.recipe:
        under = f"published as {theme.recipe.title}" + (f". {paid.paid.in_words}" if paid else "")
    elif theme.shelf == "passed_over":
        under = theme.shelf_reason or ""
    count = readers if readers is not None else member_count
    noun = "reader" if readers is not None else "request"
    return ThemeLine(
        id=theme.id,
        name=theme.name,
        figure=f"{count:,} {noun}{'' if count == 1 else 's'}",
        under=under[:1].upper() + under[1:] + ("." if under and not under.endswith(".") else ""),
        place=rank.place if rank and theme.shelf == "open" else None,
    )


@dataclass(frozen=True)
class Part:
    """One part of the score, rounded so that the parts add up to the whole."""

    name: str
    words: str
    value: float


@dataclass(frozen=True)
class Asked:
    """One request of a theme."""

    message_id: int
    who: str
    when: datetime
    words: str
    doubtful: bool
    wants_to_be_told: bool


@dataclass(frozen=True)
class Later:
    """A request that came after publishing, and how it was answered."""

    message_id: int
    who: str
    when: datetime
    words: str
    answer: str


@dataclass(frozen=True)
class ThemePage(Page):
    """One theme."""

    template: ClassVar[str] = "requests/one.html"
    id: int
    name: str
    shelf: str
    shelf_reason: str
    due_on: date | None
    effort: float | None
    place: int | None
    in_words: str
    parts: list[Part]
    total: float
    rate_words: str
    facets: list[tuple[str, str]]
    coverage: float
    covered_by: tuple[str, str] | None
    coverage_why: str
    published_as: tuple[str, str] | None
    words: list[Asked]
    request_count: int
    chart: Drawing
    tell_count: int
    paid: PaidTheme | None
    later: list[Later]
    themes: list[Choice]
    recipes: list[Choice]
    trouble: str = ""


def load_theme(session: Session, theme_id: int, zone: ZoneInfo, *, now: datetime) -> ThemePage:
    """The page of one theme, or of the one that it was merged into."""
    theme = get_theme(session, theme_id)
    rank = session.get(ThemeRank, theme.id)
    details: Mapping[str, Any] = rank.details if rank else {}
    parts = score_parts(details.get("parts") or {})
    paid = next(iter(load_paid(session, zone, only=theme.id)), None) if theme.shelf == "published" else None
    requests = select(func.count()).where(ThemeMember.theme_id == theme.id)
    moments = session.scalars(
        select(Message.received_at)
        .join(ThemeMember, ThemeMember.message_id == Message.id)
        .where(
            ThemeMember.theme_id == theme.id,
            Message.received_at >= last_weeks(zone, now=now)[0].start_at(zone),
        )
    ).all()
    return ThemePage(
        id=theme.id,
        name=theme.name,
        shelf=theme.shelf,
        shelf_reason=theme.shelf_reason or "",
        due_on=theme.bench_due_on,
        effort=theme.effort,
        place=rank.place if rank else None,
        in_words=rank.in_words if rank else "",
        parts=parts,
        total=round(sum(part.value for part in parts), 1),
        rate_words=rate_words(
            *(details.get(name) for name in ("rate_a_week", "rate_low", "rate_high", "first_five_share"))
        ),
        facets=facet_words(theme.facets),
        coverage=theme.coverage,
        covered_by=(theme.covered_by.slug, theme.covered_by.title) if theme.covered_by else None,
        coverage_why=theme.coverage_why or "",
        published_as=(theme.recipe.slug, theme.recipe.title) if theme.recipe else None,
        words=load_asked(session, theme.id, WORDS_SHOWN),
        request_count=session.scalar(requests) or 0,
        chart=_chart(moments, zone, now),
        tell_count=len(who_asked(session, theme.id)),
        paid=paid,
        later=_later(session, theme, paid.since) if paid else [],
        themes=[choice for choice in theme_choices(session) if choice[0] != str(theme.id)],
        recipes=recipe_choices(session, "choose the recipe"),
    )


def _chart(moments: Sequence[datetime], zone: ZoneInfo, now: datetime) -> Drawing:
    weeks = weekly_counts(moments, zone, now=now)
    return bars(
        "Requests by week", [label for label, _ in weeks], [count for _, count in weeks], unit="requests"
    )


def score_parts(parts: Mapping[str, float]) -> list[Part]:
    """The four parts, each rounded to one decimal; their sum is the score that is shown."""
    return [
        Part(name, words, round(float(parts[code]), 1) + 0.0)
        for code, (name, words) in PART_WORDS.items()
        if code in parts
    ]


def facet_words(facets: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What the theme is about, facet by facet, in words."""
    found = []
    for name, entries in facets.items():
        words = [vocabulary().shown(entry) for entry in entries]
        if words:
            found.append((said(name), ", ".join(words)))
    return found


def load_asked(session: Session, theme_id: int, limit: int) -> list[Asked]:
    """Requests of a theme, the most typical first, then the newest."""
    # Numbers first, so that the ledger does not sort the words of all requests to give a few.
    doubtful: dict[int, bool] = dict(
        session.execute(
            select(ThemeMember.message_id, ThemeMember.doubtful)
            .join(Message, Message.id == ThemeMember.message_id)
            .where(ThemeMember.theme_id == theme_id)
            .order_by(
                ThemeMember.typical_rank.is_(None), ThemeMember.typical_rank, Message.received_at.desc()
            )
            .limit(limit)
        ).all()
    )
    told = set(session.scalars(select(Message.id).where(Message.id.in_(doubtful), Message.tell_me)))
    return [
        Asked(
            message_id=line.id,
            who=name_of(line),
            when=line.received_at,
            words=excerpt(line.text, 400),
            doubtful=doubtful[line.id],
            wants_to_be_told=line.id in told,
        )
        for line in lines_of(session, list(doubtful))
    ]


def _later(session: Session, theme: Theme, since: datetime) -> list[Later]:
    """Requests that came after publishing, the newest first, each with its answer."""
    messages = session.scalars(
        select(Message)
        .join(ThemeMember, ThemeMember.message_id == Message.id)
        .where(ThemeMember.theme_id == theme.id, Message.received_at >= since)
        .options(joinedload(Message.reader))
        .order_by(Message.received_at.desc(), Message.id.desc())
        .limit(LATER_SHOWN)
    ).all()
    ids = [row.id for row in messages]
    readers = {row.reader_id for row in messages if row.reader_id}
    answers: dict[int, Reply] = {}
    for reply in session.scalars(
        select(Reply)
        .where(Reply.state.in_(ANSWERED), Reply.message_id.in_(ids) | Reply.reader_id.in_(readers))
        .order_by(Reply.id)
    ):
        for number in (reply.message_id, *reply.also_answers):
            if number is not None:
                answers[number] = reply
    return [
        Later(
            row.id,
            name_of(row.reader),
            row.received_at,
            excerpt(row.text, 160),
            _answer_words(answers.get(row.id), theme.recipe),
        )
        for row in messages
    ]


def _answer_words(reply: Reply | None, recipe: Recipe | None) -> str:
    """How a later request was answered; by pointing, where the reply names the recipe."""
    if reply is None:
        return "not answered yet"
    when = f"{reply.sent_at or reply.changed_at:%-d %b %Y}"
    names = [words for words in (recipe.title, recipe.url) if words] if recipe else []
    pointed = any(words.casefold() in reply.body.casefold() for words in names)
    return f"answered {'by pointing ' if pointed else ''}on {when}"
