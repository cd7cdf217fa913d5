"""How values are written on pages: dates in the owner's zone, counts, the words of the closed lists."""

from collections.abc import Sequence
from datetime import date, datetime
from functools import lru_cache
from typing import Any

from flask import Flask, g
from markupsafe import Markup, escape

from inbox.digest.drawing import Drawing, as_svg
from inbox.digest.render import sentence
from inbox.words import DOOR_WORDS

KIND_WORDS = {
    "made_it": "made it",
    "problem": "problem",
    "request": "request",
    "question": "question",
    "comment": "comment",
    "junk": "junk",
}
STANDING_WORDS = {
    "failing": "failing",
    "watch": "to be watched",
    "holding_up": "holding up",
    "too_few_reports": "too few reports",
}
SHELF_WORDS = {
    "open": "open",
    "on_the_bench": "on the bench",
    "published": "published",
    "passed_over": "passed over",
}
HAZARD_WORDS = {
    "allergen": "allergen",
    "illness": "somebody fell ill",
    "injury": "somebody was hurt",
    "undercooked_risk": "may be undercooked",
    "preserving_risk": "preserving",
    "foreign_object": "something in the food that does not belong there",
    "pet": "a pet ate it",
}
REPLY_WORDS = {
    "draft": "draft",
    "waiting": "waiting to go",
    "sending": "on its way",
    "sent": "sent",
    "came_back": "came back",
    "by_hand": "answered by hand",
}
_WORDS = {**KIND_WORDS, **STANDING_WORDS, **SHELF_WORDS, **HAZARD_WORDS, **REPLY_WORDS}

Choice = tuple[str, str]
"""Code and words of one option of a select."""

MARK_START, MARK_END = "\x02", "\x03"
"""Control signs that stand around found words until the text is escaped."""


def install(app: Flask) -> None:
    """Give the templates of `app` these filters."""
    app.jinja_env.filters.update(
        day=day,
        short_day=short_day,
        moment=moment,
        count=count,
        share=share,
        said=said,
        listed=listed,
        marked=marked,
        options=options,
        svg=svg,
        outside=outside,
        sentence=sentence,
        first_up=lambda words: words[:1].upper() + words[1:],
        door=lambda word: DOOR_WORDS.get(word, word),
    )
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True


def _local(value: datetime | date) -> datetime | date:
    return value.astimezone(g.frame.zone) if isinstance(value, datetime) else value


_MONTHS = ("", *(f"{date(2000, month, 1):%b}" for month in range(1, 13)))


def day(value: datetime | date | None) -> str:
    """Such as "Wednesday 18 November 2026"."""
    return "" if value is None else f"{_local(value):%A %-d %B %Y}"


def short_day(value: datetime | date | None) -> str:
    """Such as "18 Nov 2026"."""
    if value is None:
        return ""
    local = _local(value)
    # Lists are full of these, and strftime takes most of the time that an entry does.
    return f"{local.day} {_MONTHS[local.month]} {local.year}"


def moment(value: datetime | None) -> str:
    """Such as "18 Nov 2026, 14:05"."""
    return "" if value is None else f"{_local(value):%-d %b %Y, %H:%M}"


def count(value: int | None) -> str:
    """With commas between the thousands."""
    return "" if value is None else f"{value:,}"


def share(value: float | None) -> str:
    """A share from 0 to 1 in whole percent."""
    return "" if value is None else f"{100 * value:.0f} %"


def said(word: str | None) -> str:
    """A word of the closed lists as people say it."""
    return "" if word is None else _WORDS.get(word, word.replace("_", " "))


def listed(items: Any, word: str = "and") -> str:
    """Such as "a, b and c"."""
    texts = [str(item) for item in items]
    return (
        texts[0] if len(texts) == 1 else f" {word} ".join(filter(None, (", ".join(texts[:-1]), *texts[-1:])))
    )


def marked(text: str) -> Markup:
    """Text of a reader, escaped, with the found words in mark elements."""
    safe = escape(text)
    if MARK_START not in text:
        return safe
    return Markup(str(safe).replace(MARK_START, "<mark>").replace(MARK_END, "</mark>"))  # noqa: S704 (escaped above)


@lru_cache(512)
def _options(choices: tuple[Choice, ...], chosen: str) -> Markup:
    """Options of a select; kept, as the closed lists make up much of the pages that have forms."""
    option = Markup('<option value="{}"{}>{}</option>')
    return Markup("\n").join(
        option.format(code, Markup(" selected") if code == chosen else "", words) for code, words in choices
    )


def options(choices: Sequence[Choice], chosen: str = "") -> Markup:
    """Options of a select, one a line."""
    return _options(tuple(choices), chosen)


def outside(address: str | None) -> str:
    """An address of the web as it may stand in a link; empty for any other, such as javascript: or data:.

    References
    ----------
    OWASP ASVS 5.0, 1.2.2 (only safe protocols in addresses).
    """
    found = (address or "").strip()
    return found if found.casefold().startswith(("https://", "http://")) else ""


def svg(drawing: Drawing) -> Markup:
    """A drawing, to be set into the page; its texts are escaped where it is made."""
    return Markup(as_svg(drawing))  # noqa: S704
