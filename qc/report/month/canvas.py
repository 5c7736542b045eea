"""A small chart on paper as SVG: a frame with a scale, lines, marks and labels at the right edge.

Written out by hand, since it is primitives only: lines, marks and texts at a place worked out by one rule of
three. The one plotting library at hand (matplotlib) was measured beside it on the same chart: it takes two
hundred times as long, which with its import is a quarter of the time a month's report may take, and a fifth
of that of two hundred series. A library for other formats would bring a browser.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final
from xml.sax.saxutils import escape

from qc.words import places_words

INK, SOFT, LINE = "#1D2A31", "#5C6A70", "#D9D4C7"
STEADY, DRIFT, BAND = "#1B6F8A", "#B84714", "#F3E3D8"
FONT: Final = "DejaVu Sans, system-ui, sans-serif"
LETTERS: Final = 6.5
"""Size of all lettering. [pt]"""

POINTS: Final = 72.0
"""Points an inch: the unit of the drawing."""

EDGES: Final = (36.0, 81.0, 17.0, 12.5)
"""Room for the scale, for the labels at the right, below and above. [pt]"""

LABEL: Final = 8.6
"""Height of one line of the labels, and a little; chosen for their size. [pt]"""

STEPS: Final = (1.0, 2.0, 2.5, 5.0, 10.0)
MOST_TICKS: Final = 6
MARGIN: Final = 0.05
"""Share of the range that is left free above and below (chosen)."""

SYMBOLS: Final = ("circle", "square", "diamond", "triangle", "cross")
HALF: Final = 1.7
"""Half the width of a mark. [pt]"""


class Canvas:
    """One chart: what is put on it is drawn in that order, the scale beneath everything.

    Parameters
    ----------
    width, height : float
        Size on paper. [inch]
    across : (float, float)
        Range of the x axis, in its unit.
    values : iterable of float
        Everything that has to lie inside the y axis. [unit of the chart]
    """

    def __init__(
        self, width: float, height: float, across: tuple[float, float], values: Iterable[float]
    ) -> None:
        left, right, under, over = EDGES
        self.width, self.height = width * POINTS, height * POINTS
        self._left, self._right = left, self.width - right
        self._top, self._bottom = over, self.height - under
        self._across = across
        self.low, self.high = _range(list(values))
        self._drawn: list[str] = []
        for value, text in ticks(self.low, self.high):
            self._line(self._left, self._y(value), self._right, self._y(value), LINE, 0.4)
            self._text(self._left - 3.5, self._y(value), text, SOFT, anchor="end")
        self._line(self._left, self._bottom, self._right, self._bottom, LINE, 0.6)

    def band(self, first: float, last: float) -> None:
        """Shade from one place on the x axis to another."""
        x, end = self._x(first), self._x(last)
        size = f'width="{end - x:.2f}" height="{self._bottom - self._top:.2f}"'
        self._drawn.append(f'<rect x="{x:.2f}" y="{self._top:.2f}" {size} fill="{BAND}"/>')

    def course(self, first: float, last: float, begun: float, ended: float, colour: str) -> None:
        """Draw a level or a slope between two places; what lies before the chart is cut off."""
        start = self._across[0]
        if first < start < last:
            begun, first = begun + (ended - begun) * (start - first) / (last - first), start
        self._line(self._x(first), self._y(begun), self._x(last), self._y(ended), colour, 1.4)

    def across(
        self,
        value: float,
        colour: str = INK,
        width: float = 0.7,
        dash: str = "",
        span: tuple[float, float] | None = None,
    ) -> None:
        """Draw a line over the whole width, or over a span of it alone."""
        left, right = (self._left, self._right) if span is None else (self._x(span[0]), self._x(span[1]))
        self._line(left, self._y(value), right, self._y(value), colour, width, dash)

    def mark(self, x: float, y: float, colour: str, symbol: str = "circle", *, hollow: bool = False) -> None:
        """Draw one point."""
        face = "none" if hollow else colour
        at, up, half = self._x(x), self._y(y), HALF
        look = f'fill="{face}" stroke="{colour}" stroke-width="0.8"'
        if symbol == "circle":
            self._drawn.append(f'<circle cx="{at:.2f}" cy="{up:.2f}" r="{half - 0.2:.2f}" {look}/>')
            return
        path = " ".join(f"{at + half * dx:.2f},{up + half * dy:.2f}" for dx, dy in _OUTLINES[symbol])
        self._drawn.append(f'<polygon points="{path}" {look}/>')

    def title(self, text: str) -> None:
        """Write what is charted above the chart."""
        self._text(self._left, self._top - 6.5, text, SOFT)

    def under(self, text: str) -> None:
        """Write what the x axis is below the chart."""
        self._text(self._left, self._bottom + 9.0, text, SOFT)

    def middle(self, text: str) -> None:
        """Write in the middle of an empty chart."""
        middle = (self._left + self._right) / 2, (self._top + self._bottom) / 2
        self._text(*middle, text, SOFT, anchor="middle")

    def labels(self, labels: Sequence[tuple[float, str, str]]) -> None:
        """Write (value, text, colour) at the right edge, pushed apart where they would cover each other."""
        lowest = math.inf
        for value, text, colour in sorted(labels):
            lowest = min(self._y(value), lowest - LABEL)
            self._text(self._right + 5.0, lowest, text, colour)

    def svg(self) -> bytes:
        """Return the drawing; the same marks give the same bytes."""
        size = f'width="{self.width:.2f}pt" height="{self.height:.2f}pt"'
        box = f'viewBox="0 0 {self.width:.2f} {self.height:.2f}"'
        words = f'font-family="{FONT}" font-size="{LETTERS}"'
        head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box} {words}>'
        return "\n".join([head, *self._drawn, "</svg>"]).encode("utf-8")

    def _x(self, x: float) -> float:
        first, last = self._across
        return self._left + (self._right - self._left) * (x - first) / ((last - first) or 1.0)

    def _y(self, y: float) -> float:
        return self._bottom - (self._bottom - self._top) * (y - self.low) / (self.high - self.low)

    def _line(
        self, x: float, y: float, end: float, up: float, colour: str, width: float, dash: str = ""
    ) -> None:
        look = f'stroke="{colour}" stroke-width="{width:g}"' + (f' stroke-dasharray="{dash}"' if dash else "")
        self._drawn.append(f'<line x1="{x:.2f}" y1="{y:.2f}" x2="{end:.2f}" y2="{up:.2f}" {look}/>')

    def _text(self, x: float, y: float, text: str, colour: str, anchor: str = "start") -> None:
        # a third of the letters below the middle line: what typesetters take for the height of small letters
        place = f'x="{x:.2f}" y="{y + LETTERS * 0.36:.2f}"'
        how = f' text-anchor="{anchor}"' if anchor != "start" else ""
        self._drawn.append(f'<text {place} fill="{colour}"{how}>{escape(text)}</text>')


def ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Return round values inside a range, with as many places as their step has.

    Examples
    --------
    >>> [text for _, text in ticks(12.681, 12.722)]
    ['12.69', '12.70', '12.71', '12.72']
    >>> [text for _, text in ticks(-0.066, 0.066)]
    ['−0.050', '−0.025', '0.000', '0.025', '0.050']
    """
    rough = (high - low) / MOST_TICKS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * part for part in STEPS if power * part >= rough * (1 - 1e-9))
    places = next(n for n in range(16) if math.isclose(step, round(step, n), rel_tol=1e-6))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [(n * step, places_words(n * step, places)) for n in range(first, last + 1)]


def _range(values: Sequence[float]) -> tuple[float, float]:
    """Return the range of the scale: all values with a margin, never without extent."""
    low, high = min(values, default=0.0), max(values, default=1.0)
    if high - low <= 1e-9 * max(abs(low), abs(high)):
        room = 0.05 * abs(low) or 0.5
        return low - room, high + room
    room = MARGIN * (high - low)
    return low - room, high + room


_OUTLINES: Final = {
    "square": ((-0.8, -0.8), (0.8, -0.8), (0.8, 0.8), (-0.8, 0.8)),
    "diamond": ((0.0, -1.2), (1.2, 0.0), (0.0, 1.2), (-1.2, 0.0)),
    "triangle": ((0.0, -1.1), (1.0, 0.8), (-1.0, 0.8)),
    "cross": (
        *((-1.0, -0.6), (-0.6, -1.0), (0.0, -0.4), (0.6, -1.0), (1.0, -0.6), (0.4, 0.0)),
        *((1.0, 0.6), (0.6, 1.0), (0.0, 0.4), (-0.6, 1.0), (-1.0, 0.6), (-0.4, 0.0)),
    ),
}
"""Corners of the marks, in halves of their width."""
