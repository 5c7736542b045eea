"""One panel of the report: a series drawn the way the board draws it, as SVG for print.

Points in ink, a changed stretch in the drift colour with its own mean, the band where the change began,
limits with their values at the right edge. Models differ by symbol, so that a copy in grey still reads.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

from qc.report.month.canvas import DRIFT, INK, STEADY, SYMBOLS, Canvas
from qc.report.month.content import MonthContent
from qc.report.month.gauge_checks import draw_gauge
from qc.watch import SeriesVerdict, StretchResult, as_running_rate, limit_lines
from qc.words import level_words, plain_words, unit_words

LEGEND = "●□◆△✕"
"""The marks in letters, each as it is drawn: every other one hollow."""

WITH_FAULT = 2
"""The mark of a piece with a fault, filled, where the height is a running rate; the others are rings."""

NEWEST = 60
"""A panel shows the newest pieces; the store keeps all."""

PICTURE_IN = (3.1, 1.35)
"""Size of the picture beside a change: its lettering stays as large as that of a panel. [inch]"""


@dataclass(frozen=True, slots=True)
class Drawings:
    """All drawings of a report as SVG, by the name of the series, and those of gauges by their key."""

    panels: dict[str, bytes]
    pictures: dict[str, bytes]
    gauges: dict[str, bytes] = field(default_factory=dict)


class ShowDrawn(Protocol):
    """Shows how far the drawings are."""

    def __call__(self, done: int, total: int, what: str) -> None:
        """Take how many are done, of how many, and what they are."""


def draw_all(content: MonthContent, progress: ShowDrawn | None = None, *, panels: bool = True) -> Drawings:
    """Draw every panel, and a picture for each of the changes, once.

    Parameters
    ----------
    content : MonthContent
        Its verdicts and changes.
    progress : callable, optional
        Told how many are done.
    panels : bool
        False where only the first pages are looked at: no panel is drawn, and none is shown.
    """
    verdicts = {str(v.key): v for v in content.verdicts}
    asked = [key for key, verdict in verdicts.items() if verdict.points and panels]
    drawn = {}
    for number, key in enumerate(asked, start=1):
        drawn[key] = draw_panel(verdicts[key])
        if progress is not None:
            progress(number, len(asked), "series drawn:")
    shown = [verdicts[change.key] for change in content.changes] + list(content.near)
    pictures = {
        str(one.key): draw_panel(_own_change(one), width=PICTURE_IN[0], height=PICTURE_IN[1], newest=34)
        for one in shown
    }
    checked = {one.key: draw_gauge(one) for one in content.gauge_checks if panels}
    return Drawings(drawn, pictures, checked)


def _own_change(verdict: SeriesVerdict) -> SeriesVerdict:
    """Leave an earlier change out of the picture beside the newest one: two in one colour tell neither."""
    last = verdict.stretches[-1:]
    if not any(one.changed for one in last):
        return verdict
    settled = [one for one in verdict.stretches[:-1] if not one.changed]
    return replace(verdict, stretches=(*settled, *last))


def draw_panel(
    verdict: SeriesVerdict, *, width: float = 6.9, height: float = 1.58, newest: int = NEWEST
) -> bytes:
    """Draw one series as SVG.

    Parameters
    ----------
    verdict : SeriesVerdict
        What is known of the series; without points an empty frame says so.
    width, height : float
        Size on paper. [inch]
    newest : int
        So many pieces at the end are shown.

    Returns
    -------
    bytes
        The SVG, the same bytes for the same verdict.
    """
    rates = as_running_rate(verdict)
    faulty = None if rates is verdict else frozenset(p.ordinal for p in verdict.points if p.value)
    verdict = rates
    shown = verdict.points[-newest:]
    visible = [one for one in verdict.stretches if shown and one.last >= shown[0].ordinal]
    limits = [value for value in (verdict.lower, verdict.upper) if value is not None]
    ends = (shown[0].ordinal - 1, shown[-1].ordinal + 1) if shown else (0, 1)
    canvas = Canvas(width, height, ends, _inside(verdict, visible, newest))
    what = "deviation from target" if verdict.centered else verdict.name
    canvas.title(f"{what} [{unit_words(verdict.unit) or 'number'}]")
    if not shown:
        canvas.middle("nothing measured yet")
        return canvas.svg()
    _change_band(canvas, verdict, shown[0].ordinal)
    for value, *span in limit_lines(verdict, *ends):
        canvas.across(value, span=(span[0], span[1]))
    for stretch in visible:
        begun, ended = _height(stretch, at_start=True), _height(stretch)
        canvas.course(stretch.first - 0.4, stretch.last + 0.4, begun, ended, _colour(stretch))
    models = _marks(canvas, verdict, newest, faulty)
    labels = [(value, f"limit {plain_words(value)} {unit_words(verdict.unit)}", INK) for value in limits]
    canvas.labels([*labels, *_levels(visible, verdict.span)])
    text = f"in order of making, {shown[0].serial} to {shown[-1].serial}"
    if faulty is not None:
        text += f"   {LEGEND[WITH_FAULT]} with a fault" if faulty else ""
    elif width > PICTURE_IN[0] and len(models) > 1:
        text += "   " + "   ".join(f"{LEGEND[i % len(LEGEND)]} {m}" for i, m in enumerate(models) if m)
    canvas.under(text)
    return canvas.svg()


def _inside(verdict: SeriesVerdict, visible: Sequence[StretchResult], newest: int) -> Iterable[float]:
    """Return what the scale has to hold: points, limits, levels."""
    yield from (p.value for p in verdict.points[-newest:])
    first = max(len(verdict.points) - newest, 0)
    yield from (value for value, *_ in limit_lines(verdict, first, len(verdict.points) + 1))
    yield from (_height(stretch) for stretch in visible)
    if verdict.kind != "measured":
        yield 0.0  # counts stand on their zero: a cut axis would make one fault look like a peak


def _change_band(canvas: Canvas, verdict: SeriesVerdict, first: int) -> None:
    """Shade where the change began, before the points so that it covers none."""
    signal = verdict.current
    if signal is not None and signal.kind != "single" and signal.start_high >= first:
        canvas.band(max(signal.start_low, first) - 0.5, signal.start_high + 0.5)


def _marks(canvas: Canvas, verdict: SeriesVerdict, newest: int, faulty: frozenset[int] | None) -> list[str]:
    """Draw the points, those of a changed stretch in its colour; return the models in their order.

    Of a running rate the pieces with a fault (`faulty`, by ordinal) are told apart, and not the models.
    """
    changed = {
        ordinal
        for stretch in verdict.stretches
        if stretch.changed
        for ordinal in range(stretch.first, stretch.last + 1)
    }
    models = list(dict.fromkeys(p.model for p in verdict.points))
    number = {model: at for at, model in enumerate(models)}
    for point in verdict.points[-newest:]:
        at = number[point.model] if faulty is None else WITH_FAULT * (point.ordinal in faulty)
        colour = DRIFT if point.ordinal in changed else INK
        # every other model is hollow: symbols this small are told apart by that sooner than by their shape
        symbol, hollow = SYMBOLS[at % len(SYMBOLS)], at % 2 == 1 if faulty is None else not at
        canvas.mark(point.ordinal, point.value, colour, symbol, hollow=hollow)
    return models


def _levels(visible: Sequence[StretchResult], span: float) -> list[tuple[float, str, str]]:
    """Return the labels of the last two levels."""
    return [
        (_height(one), f"{word} {level_words(_height(one), span)} ({one.n})", _colour(one))
        for word, one in _named(visible)
    ]


def _colour(stretch: StretchResult) -> str:
    return DRIFT if stretch.changed else STEADY


def _height(stretch: StretchResult, *, at_start: bool = False) -> float:
    """Return the height a stretch is drawn at: its mean, or an end of its line where it wears."""
    end = stretch.line_from if at_start else stretch.line_to
    return stretch.mean if end is None else end


def _named(stretches: Sequence[StretchResult]) -> list[tuple[str, StretchResult]]:
    if not stretches:
        return []
    if len(stretches) == 1:
        return [("mean", stretches[-1])]
    return [("before", stretches[-2]), ("now", stretches[-1])]
