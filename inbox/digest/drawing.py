"""One description of a small drawing, and the two ways to put it on paper: SVG for pages, PNG for mail.

A drawing always brings words that say the same, and the numbers behind it as a table.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from io import BytesIO
from typing import Final

from PIL import Image, ImageDraw, ImageFont

INKS: Final = {
    "paper": "#fdfcf8",
    "tint": "#e6ddcb",
    "ink": "#241f1c",
    "soft": "#5f564c",
    "rule": "#d8d0c2",
    "edge": "#857a6c",
    "accent": "#8c1d40",
}
"""Colours on the page's own paper. A page sets its variables of the same names, light and dark; a picture
in a mail keeps these, paper and all, so that it can be read in either."""

SMALL: Final = 12.0
"""Height of the letters, in the drawing's own units of one CSS pixel."""


@dataclass(frozen=True, slots=True)
class Box:
    """A filled rectangle, with an edge if it has one."""

    x: float
    y: float
    width: float
    height: float
    ink: str
    edge: str | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line."""

    x1: float
    y1: float
    x2: float
    y2: float
    ink: str
    width: float = 1.0
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Dot:
    """A filled circle around a point."""

    x: float
    y: float
    radius: float
    ink: str


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text on its base line; `anchor` is "start", "middle" or "end"."""

    x: float
    y: float
    text: str
    ink: str = "soft"
    anchor: str = "start"


Shape = Box | Line | Dot | Words


@dataclass(frozen=True, slots=True)
class Drawing:
    """A small chart.

    Attributes
    ----------
    title : str
        What it shows.
    in_words : str
        What is to be seen in it: the alternative text.
    heads, rows : tuple
        The numbers behind it, as a table.
    """

    width: int
    height: int
    title: str
    in_words: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shapes: tuple[Shape, ...]


def as_svg(drawing: Drawing) -> str:
    """Drawing as an SVG element to be set into a page; it grows and shrinks with the page's width.

    The colours are the page's own variables, with `INKS` where it has none.
    """
    shapes = "".join(_svg(shape) for shape in drawing.shapes)
    return (
        f'<svg class="drawing" role="img" viewBox="0 0 {drawing.width} {drawing.height}" '
        f'width="{drawing.width}" height="{drawing.height}" xmlns="http://www.w3.org/2000/svg" '
        f'aria-label="{escape(f"{drawing.title}. {drawing.in_words}")}">{shapes}</svg>'
    )


def _ink(name: str) -> str:
    return f"var(--{name}, {INKS[name]})"


def _svg(shape: Shape) -> str:
    match shape:
        case Box():
            edge = f' stroke="{_ink(shape.edge)}"' if shape.edge else ""
            return (
                f'<rect x="{shape.x:.1f}" y="{shape.y:.1f}" width="{shape.width:.1f}" '
                f'height="{shape.height:.1f}" fill="{_ink(shape.ink)}"{edge}/>'
            )
        case Line():
            dashes = ' stroke-dasharray="4 3"' if shape.dashed else ""
            return (
                f'<line x1="{shape.x1:.1f}" y1="{shape.y1:.1f}" x2="{shape.x2:.1f}" y2="{shape.y2:.1f}" '
                f'stroke="{_ink(shape.ink)}" stroke-width="{shape.width:g}"{dashes}/>'
            )
        case Dot():
            middle = f'cx="{shape.x:.1f}" cy="{shape.y:.1f}"'
            return f'<circle {middle} r="{shape.radius:g}" fill="{_ink(shape.ink)}"/>'
        case Words():
            return (
                f'<text x="{shape.x:.1f}" y="{shape.y:.1f}" fill="{_ink(shape.ink)}" '
                f'font-size="{SMALL:g}" text-anchor="{shape.anchor}">{escape(shape.text)}</text>'
            )


def as_png(drawing: Drawing, *, scale: int = 2) -> bytes:
    """Drawing as a picture of `scale` pixels a unit; the same drawing gives the same bytes."""
    image = Image.new("RGB", (drawing.width * scale, drawing.height * scale), INKS["paper"])
    brush = ImageDraw.Draw(image)
    for shape in drawing.shapes:
        _paint(brush, shape, scale)
    packed = BytesIO()
    image.quantize(64).save(packed, "PNG", optimize=True)
    return packed.getvalue()


@cache
def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


_ANCHORS: Final = {"start": "ls", "middle": "ms", "end": "rs"}


def _paint(brush: ImageDraw.ImageDraw, shape: Shape, scale: int) -> None:
    match shape:
        case Box():
            corner = (shape.x * scale, shape.y * scale)
            far = ((shape.x + shape.width) * scale - 1, (shape.y + shape.height) * scale - 1)
            if far[0] >= corner[0] and far[1] >= corner[1]:
                brush.rectangle(
                    (*corner, *far), INKS[shape.ink], INKS[shape.edge] if shape.edge else None, scale
                )
        case Line():
            for start, end in (
                _strokes(shape) if shape.dashed else [((shape.x1, shape.y1), (shape.x2, shape.y2))]
            ):
                ends = (start[0] * scale, start[1] * scale, end[0] * scale, end[1] * scale)
                brush.line(ends, INKS[shape.ink], max(round(shape.width * scale), 1))
        case Dot():
            x, y, radius = shape.x * scale, shape.y * scale, shape.radius * scale
            brush.ellipse((x - radius, y - radius, x + radius, y + radius), INKS[shape.ink])
        case Words():
            brush.text(
                (shape.x * scale, shape.y * scale),
                shape.text,
                INKS[shape.ink],
                _font(round(SMALL * scale)),
                _ANCHORS[shape.anchor],
            )


def _strokes(
    line: Line, on: float = 4.0, off: float = 3.0
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Pieces of a dashed line."""
    length = ((line.x2 - line.x1) ** 2 + (line.y2 - line.y1) ** 2) ** 0.5
    if length == 0:
        return []
    dx, dy = (line.x2 - line.x1) / length, (line.y2 - line.y1) / length
    pieces, at = [], 0.0
    while at < length:
        end = min(at + on, length)
        pieces.append(((line.x1 + dx * at, line.y1 + dy * at), (line.x1 + dx * end, line.y1 + dy * end)))
        at += on + off
    return pieces


def shortened(text: str, most: int) -> str:
    """`text` cut to `most` characters at a word, with dots."""
    if len(text) <= most:
        return text
    cut = text[: most - 1]
    head, _, _ = cut.rpartition(" ")
    return (head if len(head) > most // 2 else cut).rstrip() + "…"


def as_plain_table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Table in plain text: the first column to the left, the others to the right."""
    columns = [[head, *(row[place] for row in rows)] for place, head in enumerate(heads)]
    widths = [max(len(cell) for cell in column) for column in columns]
    lines = []
    for row in (heads, *rows):
        first, *others = (
            cell.ljust(width) if place == 0 else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        lines.append("  ".join([first, *others]).rstrip())
    return "\n".join(lines)
