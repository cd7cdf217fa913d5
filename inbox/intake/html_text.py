"""HTML of a mail or page to plain text: what a reader saw, and nothing that was hidden from them.

Works in one pass whatever is unclosed or nested. Quotations become lines with ">" before them, lists get
dashes, links stay as their text. Start with `text_of`.
"""

import html
import re
from dataclasses import dataclass, field

HTML_LIMIT = 1_000_000
"""Characters of one HTML part that are read."""
_TAG_SPAN = re.compile(r"(?:[^>\"']|\"[^\"]*\"|'[^']*')*>")
_TAG_NAME = re.compile(r"/?([a-zA-Z][a-zA-Z0-9:-]*)")
_ATTRIBUTE = re.compile(r"([a-zA-Z_:-]+)\s*=\s*(\"[^\"]*\"|'[^']*'|[^\s>\"']+)")
_HIDDEN_STYLE = re.compile(
    r"display\s*:\s*none|visibility\s*:\s*hidden|mso-hide\s*:\s*all"
    r"|(?<![-\w])opacity\s*:\s*0(?:\.0+)?\s*(?:;|$)|(?<![-\w])(?:font-size|max-height|max-width)\s*:\s*0(?:px|pt|em|%)?\s*(?:;|!|$)",
    re.IGNORECASE,
)
_SILENT = frozenset(("script", "style", "head", "title", "template", "svg", "object", "select", "noscript"))
_RAW_TEXT = frozenset(("script", "style", "title", "textarea", "xmp"))
_BLOCKS = frozenset(
    "address article aside blockquote body center dd div dl dt fieldset figcaption figure footer form h1 h2 "
    "h3 h4 h5 h6 header hr li main nav ol p pre section table tbody tfoot thead tr ul".split()
)
_APART = frozenset("p h1 h2 h3 h4 h5 h6 ul ol dl pre table blockquote hr".split())
_VOID = frozenset("area base br col embed hr img input link meta param source track wbr".split())
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
    markup = markup[:HTML_LIMIT].replace("\r\n", "\n").replace("\r", "\n")
    position = 0
    while True:
        opened = markup.find("<", position)
        text = markup[position : opened if opened >= 0 else len(markup)]
        if text and not hidden:
            page.say(html.unescape(text).translate(_INVISIBLE).replace("\xa0", " "))
        if opened < 0:
            break
        position = _after_markup(markup, opened, page, hidden)
    page.end_line()
    text = "\n".join(page.lines)
    return re.sub(r"\n{3,}", "\n\n", text).strip("\n"), page.links


def _after_markup(markup: str, opened: int, page: _Page, hidden: list[str]) -> int:
    """Deal with what begins at the "<" at `opened`; return where the text goes on."""
    named = _TAG_NAME.match(markup, opened + 1)
    if markup.startswith("<!--", opened):
        closed = markup.find("-->", opened + 4)
        return closed + 3 if closed >= 0 else len(markup)
    if named is None:
        if markup.startswith(("<!", "<?", "</"), opened):
            closed = markup.find(">", opened)
            return closed + 1 if closed >= 0 else len(markup)
        if not hidden:
            page.say("<")
        return opened + 1
    span = _TAG_SPAN.match(markup, named.end(), named.end() + 20_000)
    end = span.end() if span else markup.find(">", opened) + 1
    if end <= 0:
        return len(markup)
    name = named[1].lower()
    if markup[opened + 1] == "/":
        _close(name, page, hidden)
        return end
    attributes = markup[named.end() : end - 1]
    _open(name, attributes, page, hidden)
    if name in _RAW_TEXT and not attributes.endswith("/"):
        ended = re.compile(rf"</{name}", re.IGNORECASE).search(markup, end)
        return ended.start() if ended else len(markup)
    return end


def _open(name: str, attributes: str, page: _Page, hidden: list[str]) -> None:
    if name in _VOID:
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
    if name in _SILENT or (attributes and _is_hidden(attributes)):
        hidden.append(name)
        return
    if name == "a":
        link = _attribute(attributes, "href")
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


def _is_hidden(attributes: str) -> bool:
    lowered = attributes.lower()
    if "style" in lowered and _HIDDEN_STYLE.search(html.unescape(_attribute(attributes, "style"))):
        return True
    return (
        re.search(r"(?:^|\s)hidden(?:\s|=|/|$)", lowered) is not None
        and "hidden" not in lowered.partition("class")[2]
    )


def _attribute(attributes: str, wanted: str) -> str:
    for name, value in _ATTRIBUTE.findall(attributes):
        if name.lower() == wanted:
            return html.unescape(value.strip("\"'")).strip()
    return ""
