"""Words taken out of the ledger: tables that are harmless to open, lines, and marked-up reviews."""

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Any

from inbox.records.tables import Message, Recipe
from inbox.replies.phrases import first_name

HEADS = (
    "number", "received_at", "channel", "name", "email", "recipe", "kinds", "outcome", "faults", "hazard",
    "stars", "may_quote", "subject", "text",
)  # fmt: skip
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\x00", "＝", "＋", "－", "＠")


def harmless(cell: object) -> str:
    """A cell that no spreadsheet takes for a formula.

    References
    ----------
    OWASP ASVS 5.0, 1.2.10: a single quote before = + - @ tab and NUL (sources X4 adds line ends
    and the full-width signs).
    """
    text = "" if cell is None else str(cell)
    return "'" + text if text.startswith(_FORMULA) else text


def csv_lines(messages: Iterable[Message]) -> Iterator[str]:
    """Messages as lines of a table (RFC 4180), heads first."""
    yield _line(HEADS)
    for message in messages:
        labels, reader = message.labels, message.reader
        yield _line(
            (
                message.id,
                message.received_at.isoformat(),
                message.channel,
                reader.name if reader else None,
                reader.email if reader else None,
                labels.recipe.title if labels and labels.recipe else None,
                ", ".join(labels.kinds) if labels else None,
                labels.outcome if labels else None,
                ", ".join(sorted(row.fault for row in labels.faults)) if labels else None,
                labels.hazard if labels else None,
                message.stars,
                "yes" if message.may_quote else "no",
                message.subject,
                message.text,
            )
        )


def _line(cells: Iterable[object]) -> str:
    place = io.StringIO()
    csv.writer(place, lineterminator="\r\n").writerow([harmless(cell) for cell in cells])
    return place.getvalue()


def reviews(recipe: Recipe, messages: Iterable[Message]) -> dict[str, Any]:
    """schema.org Recipe with the reviews and comments that readers allowed to be quoted, for its page.

    Only messages with `may_quote` go in; the author is a first name, never more.
    """
    marked: dict[str, Any] = {"@context": "https://schema.org", "@type": "Recipe", "name": recipe.title}
    if recipe.url:
        marked["url"] = recipe.url
    allowed = [message for message in messages if message.may_quote]
    marked["review"] = [_review(one) for one in allowed if one.labels and one.labels.is_made_it]
    marked["comment"] = [_comment(one) for one in allowed if not (one.labels and one.labels.is_made_it)]
    return {name: value for name, value in marked.items() if value != []}


def _review(message: Message) -> dict[str, Any]:
    found = {**_words(message, "Review"), "reviewBody": message.text}
    if message.stars is not None:
        found["reviewRating"] = {"@type": "Rating", "ratingValue": message.stars, "bestRating": 5}
    return found


def _comment(message: Message) -> dict[str, Any]:
    return {**_words(message, "Comment"), "text": message.text}


def _words(message: Message, kind: str) -> dict[str, Any]:
    name = first_name(message.reader.name if message.reader else None) or "A reader"
    return {
        "@type": kind,
        "author": {"@type": "Person", "name": name},
        "datePublished": message.received_at.date().isoformat(),
    }
