"""The charts of digest and pages: bars by week, shares with their intervals, outcomes, reliability.

Each returns a `Drawing`; `drawing.as_svg` and `drawing.as_png` put it on paper. What
differs is told apart by shape and words too, never by colour alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from inbox.digest.drawing import Box, Dot, Drawing, Line, Shape, Words, shortened

WIDTH: Final = 350
"""Units of a drawing: what a phone has room for, so that the letters keep their size there."""

_LEFT, _RIGHT, _TOP = 34, 8, 14
_PLOT = 110


@dataclass(frozen=True, slots=True)
class ShareRow:
    """A share with its interval, from 0 to 1, and how many it rests on."""

    name: str
    share: float
    low: float
    high: float
    count: int


@dataclass(frozen=True, slots=True)
class OutcomeWeek:
    """Made-it reports of one week by how they ended."""

    label: str
    worked: int
    mixed: int
    failed: int

    @property
    def total(self) -> int:
        """All of them."""
        return self.worked + self.mixed + self.failed


@dataclass(frozen=True, slots=True)
class ReliabilityBin:
    """Messages to which the reading gave about the same probability, and how many it was true of.

    Attributes
    ----------
    predicted, observed, low, high : float
        Mean probability, and the share that it was true of with its interval; from 0 to 1.
    """

    predicted: float
    observed: float
    low: float
    high: float
    count: int


def bars(title: str, labels: Sequence[str], counts: Sequence[int], *, unit: str = "messages") -> Drawing:
    """Counts by week, the last one in the accent.

    Parameters
    ----------
    labels, counts : sequences of the same length
        Oldest first.
    unit : str
        What is counted, in the plural.
    """
    top = _ceiling(max(counts, default=0))
    shapes = _frame(top)
    for place, count in enumerate(counts):
        left, width = _slot(place, len(counts))
        height = _PLOT * count / top
        ink = "accent" if place == len(counts) - 1 else "edge"
        shapes.append(Box(left, _TOP + _PLOT - height, width, height, ink))
        if place == len(counts) - 1 or count == max(counts):
            shapes.append(Words(left + width / 2, _TOP + _PLOT - height - 3, f"{count:,}", "ink", "middle"))
    shapes += _week_labels(labels)
    rows = tuple((label, f"{count:,}") for label, count in zip(labels, counts, strict=True))
    heads = ("Week", unit.capitalize())
    words = _bars_in_words(labels, counts, unit)
    return Drawing(WIDTH, _TOP + _PLOT + 22, title, words, heads, rows, tuple(shapes))


def _bars_in_words(labels: Sequence[str], counts: Sequence[int], unit: str) -> str:
    if not counts:
        return f"No {unit} yet."
    before = counts[:-1]
    last = f"{counts[-1]:,} {unit} in the last week ({labels[-1]})"
    if not before:
        return f"{last}."
    return f"{last}; in the {len(before)} weeks before between {min(before):,} and {max(before):,}."


def shares_with_intervals(
    title: str, rows: Sequence[ShareRow], *, limit: float | None = None, unit: str = "readers"
) -> Drawing:
    """Shares as dots on their intervals, one line each; above `limit`, a dashed line, one is failing."""
    line, left, right = 38, 14, WIDTH - 14
    most = min(1.0, max([0.2, *(row.high for row in rows), limit or 0.0]) * 1.05)
    height = line * len(rows) + 26

    def across(share: float) -> float:
        return left + (right - left) * min(share, most) / most

    shapes: list[Shape] = []
    for tick in _share_ticks(most):
        shapes.append(Line(across(tick), 18, across(tick), height - 20, "rule"))
        shapes.append(Words(across(tick), height - 5, f"{100 * tick:.0f} %", anchor="middle"))
    if limit is not None and limit <= most:
        shapes.append(Line(across(limit), 18, across(limit), height - 20, "ink", dashed=True))
    for place, row in enumerate(rows):
        y = line * place + 27
        shapes.append(Words(0, y - 13, shortened(row.name, 40), "ink"))
        shapes.append(Words(WIDTH, y - 13, f"{row.count:,} {unit}", anchor="end"))
        shapes.append(Line(across(row.low), y, across(row.high), y, "edge", 3))
        shapes.append(Dot(across(row.share), y, 5, "accent"))
    said = "; ".join(
        f"{row.name}: {100 * row.share:.0f} %, between {100 * row.low:.0f} and {100 * row.high:.0f} %, "
        f"{row.count:,} {unit}"
        for row in rows
    )
    begins = f" A failing share begins at the dashed line, {100 * limit:.0f} %." if limit is not None else ""
    table = tuple(
        (
            row.name,
            f"{100 * row.share:.0f} %",
            f"{100 * row.low:.0f} % to {100 * row.high:.0f} %",
            f"{row.count:,}",
        )
        for row in rows
    )
    heads = ("", "Share", "Interval", unit.capitalize())
    return Drawing(
        WIDTH, height, title, f"{said}.{begins}" if rows else "Nothing yet.", heads, table, tuple(shapes)
    )


@dataclass(frozen=True, slots=True)
class DoorRow:
    """Messages that came by one door this week, and in a usual week before."""

    name: str
    count: int
    usual: float


def by_door(title: str, rows: Sequence[DoorRow]) -> Drawing:
    """A bar for each door this week; a dashed mark where a usual week ends."""
    line, left, right = 36, 0, WIDTH - 56
    most = max([1.0, *(max(row.count, row.usual) for row in rows)])
    shapes: list[Shape] = []
    for place, row in enumerate(rows):
        y = line * place + 18
        across = left + (right - left) * row.usual / most
        width = (right - left) * row.count / most
        shapes.append(Words(0, y - 5, shortened(row.name, 40), "ink"))
        shapes.append(Line(left, y + 12, right, y + 12, "rule"))
        shapes.append(Box(left, y, width, 12, "accent"))
        shapes.append(Words(WIDTH, y + 11, f"{row.count:,}", "ink", "end"))
        shapes.append(Line(across, y - 3, across, y + 15, "ink", 1.5, dashed=True))
    shapes.append(Words(0, line * len(rows) + 14, "dashed: a usual week before"))
    said = "; ".join(f"{row.name} {row.count:,}, usually {row.usual:,.3g}" for row in rows)
    table = tuple((row.name, f"{row.count:,}", f"{row.usual:,.3g}") for row in rows)
    heads = ("Door", "This week", "A usual week before")
    words = f"By door this week: {said}." if rows else "Nothing came."
    return Drawing(WIDTH, line * len(rows) + 20, title, words, heads, table, tuple(shapes))


def weekly_outcomes(
    title: str, weeks: Sequence[OutcomeWeek], *, revisions: Sequence[tuple[int, str]] = ()
) -> Drawing:
    """Made-it reports by week and outcome: failed at the foot and dark, mixed above, worked light on top.

    Parameters
    ----------
    revisions : sequence of (int, str)
        Place of a week in `weeks` and a note; a change to the recipe is marked before that week.
    """
    top = _ceiling(max((week.total for week in weeks), default=0))
    shapes = _frame(top)
    for place, week in enumerate(weeks):
        left, width = _slot(place, len(weeks))
        y = float(_TOP + _PLOT)
        for count, ink, edge in (
            (week.failed, "accent", None),
            (week.mixed, "edge", None),
            (week.worked, "tint", "edge"),
        ):
            height = _PLOT * count / top
            y -= height
            if count:
                shapes.append(Box(left, y, width, height, ink, edge))
    for number, (place, _note) in enumerate(revisions, start=1):
        x = _slot(place, len(weeks))[0] - 2
        shapes.append(Line(x, 4, x, _TOP + _PLOT, "ink", 1.5, dashed=True))
        shapes.append(Words(x + 3, 11, str(number), "ink"))
    shapes += _week_labels([week.label for week in weeks])
    shapes += _legend([("failed", "accent", None), ("mixed", "edge", None), ("worked", "tint", "edge")])
    rows = tuple((week.label, str(week.worked), str(week.mixed), str(week.failed)) for week in weeks)
    heads = ("Week", "Worked", "Mixed", "Failed")
    words = _outcomes_in_words(weeks, revisions)
    return Drawing(WIDTH, _TOP + _PLOT + 42, title, words, heads, rows, tuple(shapes))


def _outcomes_in_words(weeks: Sequence[OutcomeWeek], revisions: Sequence[tuple[int, str]]) -> str:
    total = sum(week.total for week in weeks)
    failed = sum(week.failed for week in weeks)
    words = f"{failed:,} of {total:,} reports failed in {len(weeks)} weeks."
    for number, (place, note) in enumerate(revisions, start=1):
        before, after = weeks[:place], weeks[place:]
        was = f"{sum(week.failed for week in before)} of {sum(week.total for week in before)}"
        now = f"{sum(week.failed for week in after)} of {sum(week.total for week in after)}"
        words += f" Change {number} ({note}) before {weeks[place].label}: {was} failed before, {now} since."
    return words


def reliability(title: str, bins: Sequence[ReliabilityBin]) -> Drawing:
    """How right the reading is: the probability that it gave against how often it was true.

    Dots on the slanting line are right; the lines through them are the intervals.
    """
    side, left, top = 240, 40, 22

    def point(predicted: float, observed: float) -> tuple[float, float]:
        return left + side * predicted, top + side * (1 - observed)

    shapes: list[Shape] = []
    for tick in (0.0, 0.25, 0.5, 0.75, 1.0):
        x, y = point(tick, tick)
        shapes.append(Line(left, y, left + side, y, "rule"))
        shapes.append(Words(left - 5, y + 4, f"{100 * tick:.0f} %", anchor="end"))
        shapes.append(Words(x, top + side + 16, f"{100 * tick:.0f} %", anchor="middle"))
    shapes.append(Line(*point(0, 0), *point(1, 1), "ink", dashed=True))
    for one in bins:
        x, y = point(one.predicted, one.observed)
        shapes.append(Line(x, point(0, one.low)[1], x, point(0, one.high)[1], "edge", 3))
        shapes.append(Dot(x, y, 5, "accent"))
    shapes.append(Words(left + side / 2, top + side + 34, "the probability that it gave", anchor="middle"))
    shapes.append(Words(0, 11, "how often it was true"))
    rows = tuple(
        (
            f"{100 * one.predicted:.0f} %",
            f"{100 * one.observed:.0f} %",
            f"{100 * one.low:.0f} % to {100 * one.high:.0f} %",
            f"{one.count:,}",
        )
        for one in bins
    )
    said = "; ".join(f"said {row[0]}, true {row[1]} ({row[3]})" for row in rows)
    heads = ("Said", "True", "Interval", "Messages")
    words = f"{said}." if rows else "Nothing measured yet."
    return Drawing(WIDTH, top + side + 42, title, words, heads, rows, tuple(shapes))


def _ceiling(most: int) -> int:
    """Next round number at or above `most`, at least 1."""
    step = 1
    while True:
        for factor in (1, 2, 4, 5, 8, 10):
            if most <= factor * step:
                return factor * step
        step *= 10


def _frame(top: int) -> list[Shape]:
    """Ruled lines at nothing, half and the top."""
    shapes: list[Shape] = []
    for part in (0.0, 0.5, 1.0):
        value = top * part
        y = _TOP + _PLOT * (1 - part)
        shapes.append(Line(_LEFT, y, WIDTH - _RIGHT, y, "edge" if part == 0 else "rule"))
        if value == int(value):
            shapes.append(Words(_LEFT - 6, y + 4, f"{int(value):,}", anchor="end"))
    return shapes


def _slot(place: int, count: int) -> tuple[float, float]:
    """Left edge and width of the bar at `place` among `count`."""
    room = (WIDTH - _LEFT - _RIGHT) / max(count, 1)
    width = min(room * 0.72, 44)
    return _LEFT + room * place + (room - width) / 2, width


def _week_labels(labels: Sequence[str]) -> list[Shape]:
    """As many labels as have room, the last one always."""
    every = max(1, -(-len(labels) * 44 // (WIDTH - _LEFT - _RIGHT)))
    shapes: list[Shape] = []
    for place, label in enumerate(labels):
        if (len(labels) - 1 - place) % every == 0:
            left, width = _slot(place, len(labels))
            shapes.append(Words(left + width / 2, _TOP + _PLOT + 15, label, anchor="middle"))
    return shapes


def _legend(entries: Sequence[tuple[str, str, str | None]]) -> list[Shape]:
    shapes: list[Shape] = []
    for place, (text, ink, edge) in enumerate(entries):
        x = _LEFT + place * 80
        shapes.append(Box(x, _TOP + _PLOT + 25, 11, 11, ink, edge))
        shapes.append(Words(x + 16, _TOP + _PLOT + 35, text))
    return shapes


def _share_ticks(most: float) -> list[float]:
    step = 0.05 if most <= 0.25 else 0.1 if most <= 0.5 else 0.25
    return [step * number for number in range(int(most / step) + 1)]
