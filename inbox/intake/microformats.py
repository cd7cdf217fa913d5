"""What a page says of a target: whether it links there, and its own entry (h-entry) if it has one.

Pure. Only the few properties that a mention needs are read; see `read_entry`.
"""

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urldefrag, urljoin

from inbox.intake.html_text import text_of
from inbox.intake.html_tokens import VOID, Token, tokens_of

_LINKING = ("href", "src", "data-src", "poster", "cite", "srcset", "data", "action")
EXCERPT_LENGTH = 600


@dataclass(frozen=True, slots=True)
class MentionEntry:
    """What somebody wrote on their own page."""

    text: str
    title: str | None = None
    author: str | None = None
    author_url: str | None = None
    published_at: datetime | None = None


def links_to(body: str, media_type: str, target: str, base: str) -> bool:
    """Whether a page links to `target`: an attribute in HTML, a value in JSON, anywhere in plain text.

    The match is exact but for a fragment (W3C Webmention, section 3.2.2).
    """
    wanted = urldefrag(target)[0]
    if media_type.endswith("json"):
        try:
            return any(_leads_to(wanted, text, "") for text in _strings(json.loads(body)))
        except (ValueError, RecursionError):
            return False
    if "html" in media_type or "xml" in media_type or not media_type:
        return any(
            _leads_to(wanted, value, base)
            for token in tokens_of(body)
            if token.kind == "open"
            for name, value in token.attributes().items()
            if name in _LINKING and value
        )
    return wanted in body


def _leads_to(wanted: str, address: str, base: str) -> bool:
    try:
        return urldefrag(urljoin(base, address))[0] == wanted
    except ValueError:  # no address, such as http://[
        return False


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from _strings(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _strings(inner)


@dataclass(slots=True)
class _Piece:
    """One property of the entry: where it began, its markup so far."""

    name: str
    depth: int
    start: Token
    markup: list[str]


def read_entry(page: str, target: str) -> MentionEntry:
    """The entry of a page: its h-entry, else the paragraph that links to the target, else its title."""
    found = _properties(page)
    content = next((found[name] for name in ("e-content", "p-content", "p-summary") if name in found), "")
    text = text_of(content) if content else _around_link(page, target)
    title = text_of(found.get("p-name", "")) or None
    return MentionEntry(
        text=text or title or "",
        title=title if title and title != text else None,
        author=text_of(found.get("p-author", "")) or None,
        author_url=found.get("author-url"),
        published_at=_moment(found.get("dt-published", "")),
    )


def _properties(page: str) -> dict[str, str]:
    """Markup of the properties of the first h-entry; of a date its value, of an author also the address."""
    found: dict[str, str] = {}
    open_names: list[str] = []
    open_counts: Counter[str] = Counter()
    entry_depth: int | None = None
    pieces: list[_Piece] = []
    for token in tokens_of(page):
        if token.kind == "open":
            attributes = token.attributes()
            classes = attributes.get("class", "").split()
            if entry_depth is None and "h-entry" in classes:
                entry_depth = len(open_names)
            elif entry_depth is not None:
                for name in classes:
                    _begin(name, attributes, len(open_names), token, pieces, found)
            if token.value not in VOID:
                open_names.append(token.value)
                open_counts[token.value] += 1
            _add(pieces, f"<{token.value}{token.written}>")
        elif token.kind == "text":
            _add(pieces, token.value.replace("&", "&amp;").replace("<", "&lt;"))
        elif open_counts[token.value]:
            _add(pieces, f"</{token.value}>")
            closed = ""
            while closed != token.value:
                closed = open_names.pop()
                open_counts[closed] -= 1
            for piece in [piece for piece in pieces if piece.depth >= len(open_names)]:
                pieces.remove(piece)
                found.setdefault(piece.name, "".join(piece.markup))
            if entry_depth is not None and len(open_names) <= entry_depth:
                return found
    for piece in pieces:
        found.setdefault(piece.name, "".join(piece.markup))
    return found


def _begin(
    name: str,
    attributes: dict[str, str],
    depth: int,
    token: Token,
    pieces: list[_Piece],
    found: dict[str, str],
) -> None:
    inside_author = any(piece.name == "p-author" for piece in pieces)
    if name in ("u-url", "p-author") and (inside_author or name == "p-author"):
        if attributes.get("href", "").startswith("http"):
            found.setdefault("author-url", attributes["href"])
    if name == "dt-published":
        found.setdefault(name, attributes.get("datetime") or attributes.get("value") or "")
    elif name in ("p-name", "p-author", "e-content", "p-content", "p-summary"):
        # The name of the author's card is not the name of the entry; of each property the first counts.
        is_known = name in found or any(piece.name == name for piece in pieces)
        if not is_known and not (name == "p-name" and inside_author) and token.value not in VOID:
            pieces.append(_Piece(name, depth, token, []))


def _add(pieces: list[_Piece], markup: str) -> None:
    for piece in pieces:
        piece.markup.append(markup)


def _around_link(page: str, target: str) -> str:
    """Text of the paragraph that links to the target, else the beginning of the page."""
    wanted = urldefrag(target)[0]
    place = page.find(wanted)
    if place >= 0:
        starts = [page.rfind(mark, 0, place) for mark in ("<p", "<li", "<div", "<blockquote")]
        start = max(*starts, 0)
        ends = [
            end for mark in ("</p", "</li", "</div", "</blockquote") if (end := page.find(mark, place)) >= 0
        ]
        text = text_of(page[start : min(ends, default=place + 2000)])
        if text:
            return text[:EXCERPT_LENGTH]
    return text_of(page)[:EXCERPT_LENGTH]


def _moment(text: str) -> datetime | None:
    try:
        moment = datetime.fromisoformat(text.strip())
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone(UTC)
    except (ValueError, OverflowError):
        return None
