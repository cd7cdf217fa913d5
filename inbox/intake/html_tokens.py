"""HTML as a stream of tags and texts, in one pass, whatever is unclosed or nested; nothing is mended.

The standard library's parser takes time that grows with the square of the length on hostile input.
"""

import html
import re
from collections.abc import Iterator
from dataclasses import dataclass

TAG_LIMIT = 20_000
"""Characters of one tag that are looked at."""
_TAG_SPAN = re.compile(r"(?:[^>\"']|\"[^\"]*\"|'[^']*')*>")
_TAG_NAME = re.compile(r"/?([a-zA-Z][a-zA-Z0-9:-]*)")
_ATTRIBUTE = re.compile(r"([a-zA-Z_:][\w:.-]*)(?:\s*=\s*(\"[^\"]*\"|'[^']*'|[^\s>\"']+))?")
_RAW_TEXT = frozenset(("script", "style", "title", "textarea", "xmp"))
_RAW_END = {name: re.compile(rf"</{name}\b", re.IGNORECASE) for name in _RAW_TEXT}
VOID = frozenset("area base br col embed hr img input link meta param source track wbr".split())


@dataclass(frozen=True, slots=True)
class Token:
    """A text, or the beginning or end of an element."""

    kind: str
    """One of: text, open, close."""
    value: str
    """Text with its character references decoded, or the element's name in small letters."""
    written: str = ""
    """Attributes as they are written."""

    def attributes(self) -> dict[str, str]:
        """Attributes by name in small letters, decoded; of a repeated one the first."""
        found: dict[str, str] = {}
        for name, value in _ATTRIBUTE.findall(self.written):
            found.setdefault(name.lower(), html.unescape(value.strip("\"'")).strip())
        return found


def tokens_of(markup: str) -> Iterator[Token]:
    """Tokens of HTML, in order."""
    position = 0
    while True:
        opened = markup.find("<", position)
        text = markup[position : opened if opened >= 0 else len(markup)]
        if text:
            yield Token("text", html.unescape(text))
        if opened < 0:
            return
        named = _TAG_NAME.match(markup, opened + 1)
        if named is None:
            position = _after_no_tag(markup, opened)
            if position == opened + 1:
                yield Token("text", "<")
            continue
        span = _TAG_SPAN.match(markup, named.end(), named.end() + TAG_LIMIT)
        position = span.end() if span else markup.find(">", opened) + 1
        if position <= 0:
            return
        name = named[1].lower()
        if markup[opened + 1] == "/":
            yield Token("close", name)
            continue
        written = markup[named.end() : position - 1]
        yield Token("open", name, written)
        if name in _RAW_TEXT and not written.endswith("/"):
            ended = _RAW_END[name].search(markup, position)
            end = ended.start() if ended else len(markup)
            if end > position:
                yield Token("text", markup[position:end])
            position = end


def _after_no_tag(markup: str, opened: int) -> int:
    """Where the text goes on after a comment or declaration, or after a "<" that begins nothing."""
    if markup.startswith("<!--", opened):
        closed = markup.find("-->", opened + 4)
        return closed + 3 if closed >= 0 else len(markup)
    if markup.startswith(("<!", "<?", "</"), opened):
        closed = markup.find(">", opened)
        return closed + 1 if closed >= 0 else len(markup)
    return opened + 1
