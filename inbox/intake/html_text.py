"""HTML of a mail or page to plain text: what a reader saw, and nothing that was hidden from them.

Works in one pass whatever is unclosed or nested. Quotations become lines with ">" before them, lists get
dashes, links stay as their text. Start with `text_of`.
"""

import re
from dataclasses import dataclass, field

from inbox.intake.html_tokens import VOID, Token, tokens_of

HTML_LIMIT = 1_000_000
"""Characters of one HTML part that are read."""
_HIDDEN_STYLE = re.compile(
    r"display\s*:\s*none|visibility\s*:\s*hidden|mso-hide\s*:\s*all"
    r"|(?<![-\w])opacity\s*:\s*0(?:\.0+)?\s*(?:;|$)|(?<![-\w])(?:font-size|max-height|max-width)\s*:\s*0(?:px|pt|em|%)?\s*(?:;|!|$)",
    re.IGNORECASE,
)
_SILENT = frozenset(("script", "style", "head", "title", "template", "svg", "object", "select", "noscript"))
_BLOCKS = frozenset(
    "address article aside blockquote body center dd div dl dt fieldset figcaption figure footer form h1 h2 "
    "h3 h4 h5 h6 header hr li main nav ol p pre section table tbody tfoot thead tr ul".split()
)
_APART = frozenset("p h1 h2 h3 h4 h5 h6 ul ol dl pre table blockquote hr".split())
_SPACES = re.compile(r"[ \t\n\r\f]+")
_INVISIBLE = dict.fromkeys((0x200B, 0x2060, 0xFEFF, 0x00AD, 0x034F, 0x180E))


@dataclass(slots=True)
class _Page:
    """The text so far, line by line, and how deep in what it stands."""

    lines: list[str] = field(default_factory=list)
    line: list[str] = field(default_factory=list)
    quote_depth: int = 0
    kept_spaces: int = 0
    links: list[str] = field(default_factory=list)

    def say(self, text: str) -> None:
        if not self.kept_spaces:
            text = _SPACES.sub(" ", text)
            if not self.line or self.line[-1].endswith(" "):
                text = text.lstrip(" ")
            if text:
                self.line.append(text)
            return
        first, *others = text.split("\n")
        self.line.append(first)
        for other in others:
            self.end_line(force=True)
            self.line.append(other)

    def end_line(self, *, force: bool = False) -> None:
        text = "".join(self.line).rstrip()
        self.line.clear()
        if text.strip() or force:
            self.lines.append(">" * self.quote_depth + (" " if self.quote_depth and text else "") + text)

    def leave_gap(self) -> None:
        self.end_line()
        mark = ">" * self.quote_depth
        if self.lines and self.lines[-1].strip("> "):
            self.lines.append(mark)


def text_of(markup: str) -> str:
    """Plain text of HTML, as a reader saw it."""
    return read_html(markup)[0]


def read_html(markup: str) -> tuple[str, list[str]]:
    """Plain text of HTML, and the addresses that it links to."""
    page = _Page()
    hidden: list[str] = []
    for token in tokens_of(markup[:HTML_LIMIT].replace("\r\n", "\n").replace("\r", "\n")):
        if token.kind == "text":
            if not hidden:
                page.say(token.value.translate(_INVISIBLE).replace("\xa0", " "))
        elif token.kind == "open":
            _open(token, page, hidden)
        else:
            _close(token.value, page, hidden)
    page.end_line()
    text = "\n".join(page.lines)
    return re.sub(r"\n{3,}", "\n\n", text).strip("\n"), page.links


def _open(token: Token, page: _Page, hidden: list[str]) -> None:
    name = token.value
    if name in VOID:
        if hidden:
            return
        if name == "br":
            page.end_line(force=True)
        elif name == "hr":
            page.leave_gap()
        return
    if hidden:
        if len(hidden) < 1000:
            hidden.append(name)
        return
    if name in _SILENT or (token.written and _is_hidden(token)):
        hidden.append(name)
        return
    if name == "a":
        link = token.attributes().get("href", "")
        if link.startswith(("http://", "https://")) and len(page.links) < 200:
            page.links.append(link)
    elif name == "td" or name == "th":
        if page.line:
            page.say(" ")
    elif name in _BLOCKS:
        page.leave_gap() if name in _APART else page.end_line()
        if name == "blockquote":
            page.quote_depth = min(page.quote_depth + 1, 20)
        elif name == "pre":
            page.kept_spaces += 1
        elif name == "li":
            page.line.append("- ")


def _close(name: str, page: _Page, hidden: list[str]) -> None:
    if hidden:
        if name in hidden:
            while hidden.pop() != name:
                pass
            return
        if name not in _BLOCKS or hidden[0] in _SILENT:
            return
        # The end of something around the hidden element: its own end was left out.
        hidden.clear()
    if name not in _BLOCKS:
        return
    page.end_line()
    if name == "blockquote":
        page.quote_depth = max(page.quote_depth - 1, 0)
    elif name == "pre":
        page.kept_spaces = max(page.kept_spaces - 1, 0)
    if name in _APART:
        page.leave_gap()


def _is_hidden(token: Token) -> bool:
    """Whether an element is hidden by its style or by the attribute for it."""
    if "hidden" not in token.written and "style" not in token.written.lower():
        return False
    attributes = token.attributes()
    return "hidden" in attributes or _HIDDEN_STYLE.search(attributes.get("style", "")) is not None
