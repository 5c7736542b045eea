"""Events under a chart: which of them get their name written, and in which row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

from dashboard.figures.frame import Note
from dashboard.theme import LIGHT
from qc.jobs.board import ChartMark, SignalResult

ROW_PX: Final = 17
FIRST_ROW_PX: Final = 12
ROWS: Final = 2
CHARACTER_PX: Final = 6.4
"""Width of a character at 12 px in the fonts of the board, on the safe side [px]."""


@dataclass(frozen=True, slots=True)
class EventLane:
    """The strip between the axis and the months."""

    marks: tuple[ChartMark, ...]
    annotations: tuple[Note, ...]
    height_px: int


def lay_out_events(
    marks: Sequence[ChartMark],
    x_range: tuple[float, float],
    width_px: float,
    signal: SignalResult | None = None,
) -> EventLane:
    """Return the events in view, those nearest to the change named first.

    Every event has its tick; a name is left out (the hover still tells it) where it would run into another.
    """
    seen = [mark for mark in marks if x_range[0] <= mark.ordinal <= x_range[1]]
    if not seen:
        return EventLane((), (), 0)
    focus = signal.start if signal is not None else x_range[1]
    scale = width_px / (x_range[1] - x_range[0])
    taken: list[list[tuple[float, float]]] = [[] for _ in range(ROWS)]
    notes: list[Note] = []
    # nearest to the change first: what is left out for want of room is what matters least
    for mark in sorted(seen, key=lambda m: (abs(m.ordinal - focus), m.text)):
        half = len(mark.text) * CHARACTER_PX / 2
        middle = (mark.ordinal - x_range[0]) * scale
        anchor, left, right = _anchor(middle, half, width_px)
        row = next((r for r in range(ROWS) if all(right < a or left > b for a, b in taken[r])), None)
        if row is None:
            continue
        taken[row].append((left - 6, right + 6))
        notes.append(_note(mark, anchor, row))
    rows = max((r + 1 for r in range(ROWS) if taken[r]), default=0)
    return EventLane(tuple(seen), tuple(notes), FIRST_ROW_PX + ROW_PX * rows)


def _anchor(middle: float, half: float, width: float) -> tuple[str, float, float]:
    if middle + half > width:
        return "right", middle - 2 * half, middle
    if middle - half < 0:
        return "left", middle, middle + 2 * half
    return "center", middle - half, middle + half


def _note(mark: ChartMark, anchor: str, row: int) -> Note:
    return {
        "xref": "x",
        "x": mark.ordinal,
        "xanchor": anchor,
        "yref": "paper",
        "y": 0,
        "yanchor": "top",
        "yshift": -(FIRST_ROW_PX - 2 + ROW_PX * row),
        "showarrow": False,
        "text": escape(mark.text),
        "font": {"color": LIGHT["mark"], "size": 12},
    }
