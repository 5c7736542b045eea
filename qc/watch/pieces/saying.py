"""What is said of a single piece: how far outside it is, and whether a change of its series is bad for it."""

from __future__ import annotations

from math import ceil, log10

from qc.intervals import step_places, stepped_words
from qc.watch.pieces.figures import PieceFigure
from qc.watch.results import Point, SeriesVerdict, SignalResult
from qc.words import MOST_PLACES, figure_words, plain_words, unit_words

MOST_DIGITS = 6  # chosen: more than any reading of a workshop has

BEFORE = 30
"""Pieces before a change whose mean is the level before it; chosen: what a series has in a few months."""

FAULT = "fault"
"""The unit of a check that is passed or failed."""


def outside_words(figure: PieceFigure) -> str:
    """Say the figure where it is worst, beside the limit it breaks or is nearest to.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from datetime import date
    >>> spot = PieceFigure("A-7", "", "lacquer", "thickness", "um", "flare, spot 2", 8.4, 10.0, None, False,
    ...                    None, False, "", date(2026, 5, 4))
    >>> outside_words(spot)
    '8.4 µm at flare, spot 2, under 10 µm'
    >>> dunk = replace(spot, unit="fault", place="", value=1.0, lower=None, upper=0.0)
    >>> outside_words(dunk)
    'failed (it has to be passed)'
    """
    unit = unit_words(figure.unit)
    at = f" at {figure.place}" if figure.place and not figure.place.startswith("mean") else ""
    mean = f"{figure.place}: " if figure.place.startswith("mean") else ""
    side, limit = nearest_limit(figure)
    if figure.unit == FAULT and limit == 0 and figure.value == 1:
        return f"failed{at} (it has to be passed)"
    rule = f" (house rule: {figure.rule})" if figure.rule else ""
    if limit is None:
        return f"{mean}{stepped_words(figure.value, figure.step)} {unit}".rstrip() + at + rule
    value = f"{beside(figure.value, limit, figure.step)} {unit}".rstrip()
    edge = f"{plain_words(limit)} {unit}".rstrip()
    if figure.inside is False:
        return f"{mean}{value}{at}, {'under' if side == 'lower' else 'over'} {edge}{rule}"
    return f"{mean}{value}{at}, inside {edge}{rule}"


def nearest_limit(figure: PieceFigure) -> tuple[str, float | None]:
    """Return the side and the limit that a figure breaks, or lies nearest to."""
    sides = [(figure.value - figure.lower, "lower", figure.lower)] if figure.lower is not None else []
    sides += [(figure.upper - figure.value, "upper", figure.upper)] if figure.upper is not None else []
    _, side, limit = min(sides, default=(0.0, "", None), key=lambda one: one[0])
    return side, limit


def beside(value: float, limit: float, step: float | None = None) -> str:
    """Write a figure with the places its gauge shows or its limit has, and more where the two read alike.

    Examples
    --------
    >>> beside(25.68843, 20.0), beside(13.842, 13.86), beside(9.9914283, 10.0), beside(7.5, 10.0)
    ('26', '13.842', '9.991', '7.5')
    >>> beside(14.6, 14.612, 0.001), beside(14.08, 14.05, 0.001), beside(14.0525, 14.05, 0.001)
    ('14.600', '14.080', '14.0525')
    """
    if float(f"{value:.{MOST_DIGITS}g}") == value:
        # as it was read; a mean or a fit has more digits than it is worth
        read = f"{value:.{MOST_DIGITS}g}"
        own = len(read.partition(".")[2])
        plain = own >= step_places(step) or "e" in read
        return figure_words(read if plain else f"{value:.{step_places(step)}f}")
    written = f"{limit:g}".partition(".")[2]
    apart = abs(value - limit)
    seen = ceil(-log10(apart)) if 0 < apart < 1 else 0
    return figure_words(f"{value:.{min(MOST_PLACES, max(len(written), seen, step_places(step)))}f}")


def is_bad(verdict: SeriesVerdict, signal: SignalResult) -> bool:
    """Say whether a change leads away from what is wanted: towards a limit, from the target, to more faults.

    What gets better, and a measured figure of which the plan wants nothing, holds no piece back.
    """
    if signal.kind == "spread":
        return signal.side != "below" and (signal.side == "above" or (signal.size or 0.0) > 0)
    if verdict.kind != "measured":
        return signal.side != "below"
    if signal.kind == "single" or signal.kind == "trend" or verdict.follows_line:
        return _towards_a_limit(verdict, signal)
    if (verdict.lower is None) != (verdict.upper is None):
        return _towards_a_limit(verdict, signal)
    aim = _aim(verdict)
    return aim is not None and _distance(verdict, signal.start, aim)


def pieces_in(verdict: SeriesVerdict, signal: SignalResult) -> tuple[Point, ...]:
    """Return the pieces a signal is about: the one that stands apart, else all since the change began."""
    if signal.kind == "single":
        return tuple(p for p in verdict.points if p.ordinal == signal.raised and not p.left_out)
    last = signal.ended - 1 if signal.ended is not None else len(verdict.points)
    return tuple(p for p in verdict.points if signal.start <= p.ordinal <= last and not p.left_out)


def _towards_a_limit(verdict: SeriesVerdict, signal: SignalResult) -> bool:
    if verdict.lower is None and verdict.upper is None and verdict.target is not None:
        return True  # only a target is wanted: what stands apart from the rest is looked at
    above, below = verdict.upper is not None, verdict.lower is not None
    return (signal.side != "below" and above) or (signal.side != "above" and below)


def _aim(verdict: SeriesVerdict) -> float | None:
    if verdict.target is not None:
        return verdict.target
    if verdict.lower is None or verdict.upper is None:
        return None
    return (verdict.lower + verdict.upper) / 2


def _distance(verdict: SeriesVerdict, start: int, aim: float) -> bool:
    """Say whether the pieces since a change lie further from the aim than those just before it."""
    own = [p for p in verdict.points if not p.left_out]
    before = [p.value for p in own if start - BEFORE <= p.ordinal < start]
    since = [p.value for p in own if p.ordinal >= start]
    if not before or not since:
        return True
    return abs(sum(since) / len(since) - aim) > abs(sum(before) / len(before) - aim)
