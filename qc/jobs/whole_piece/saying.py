"""A piece in words, the judgement first: what the command, the page and the passport say alike."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from qc.intervals import stepped_words
from qc.jobs.pieces import HoldRow, Undecided, rows_words, why_words
from qc.jobs.whole_piece.figures import FigureOfPiece
from qc.jobs.whole_piece.in_signals import SignalOfPiece
from qc.jobs.whole_piece.leaving import Leaving
from qc.jobs.whole_piece.life import Return
from qc.jobs.whole_piece.sharing import Shared
from qc.states import NEAR, NO_LIMITS, OUTSIDE
from qc.words import (
    MINUS,
    count_words,
    dated_words,
    listed,
    passed_words,
    places_words,
    plain_words,
    quantity_words,
    some_of,
    unit_words,
)


@dataclass(frozen=True, slots=True)
class PartsJudged:
    """What is in a piece: why parts of it are to be held, what was released among it, and their figures."""

    hold: Sequence[HoldRow] = ()
    figures: tuple[tuple[str, tuple[FigureOfPiece, ...]], ...] = ()

    @property
    def waits(self) -> list[HoldRow]:
        """Reasons that nobody released: the parts go where the piece goes."""
        return [row for row in self.hold if row.waits]


def judgement_of(
    hold: Sequence[HoldRow],
    shipped: date | None,
    figures: Sequence[FigureOfPiece],
    signals: Sequence[SignalOfPiece],
    returns: Sequence[Return],
    leaving: Leaving | None,
    waiting: Sequence[Undecided] = (),
    without: Sequence[str] = (),
    *,
    parts: PartsJudged | None = None,
) -> tuple[str, ...]:
    """Say whether a piece is to be held, then limits, series, gauges and returns, each in one sentence.

    Parameters
    ----------
    hold : sequence of HoldRow
        Why it is to be held, what was released among it.
    shipped : date or None
        The day it left.
    figures, returns, leaving
        As in `PieceRecord`.
    signals : sequence of SignalOfPiece
        Signals it lies in.
    waiting : sequence of Undecided
        Held rows of it that count for a figure with limits.
    without : sequence of str
        Cards that it left without, a sentence each.
    parts : PartsJudged, optional
        What is in it.
    """
    parts = parts or PartsJudged()
    open_rows = [row.name for row in hold if row.waits]
    told = open_rows == list(dict.fromkeys(one.title for one in waiting))  # by the first sentence
    said = [_of_hold(hold, shipped, waiting, parts.waits), *([] if told else _of_waiting(waiting))]
    said += _of_parts(parts.waits) if open_rows else []
    said += [*_released_parts(parts), *_of_limits(figures, waiting), *_limits_of_parts(parts), *without]
    said += _of_signals(figures, signals)
    doubts = dict.fromkeys(one.gauge_doubt for one in figures if one.gauge_checked is False)
    said += [f"A gauge in doubt: {doubt}." for doubt in doubts]
    if returns:
        last = returns[-1]
        said.append(f"It came back on {dated_words(last.day)}. {last.said}")
    if leaving and leaving.due:
        said.append(f"{leaving.said.partition(': ')[0]}.")
    return tuple(said)


def _of_parts(rows: Sequence[HoldRow]) -> list[str]:
    """Say of each part that is to be held why, the first of its reasons."""
    first: dict[str, HoldRow] = {}
    for row in rows:
        first.setdefault(row.serial, row)
    return [
        f"Its part {serial} is to be held: {row.name}, {why_words(row).rstrip('.')}."
        for serial, row in first.items()
    ]


def _released_parts(parts: PartsJudged) -> list[str]:
    """Say which parts were released, by whom and why, unless something else of them waits."""
    waits = {row.serial for row in parts.waits}
    first = {row.serial: row.released for row in parts.hold if row.released and row.serial not in waits}
    return [
        f"Its part {serial} was released by {by.who}: {by.why.rstrip('.')}."
        for serial, by in first.items()
        if by is not None
    ]


def _limits_of_parts(parts: PartsJudged) -> list[str]:
    """Say of each part in which figures it is outside, and of the others that they are inside."""
    said, inside, count = [], [], 0
    for serial, figures in parts.figures:
        judged = [one for one in figures if one.inside is not None]
        outside = [one for one in judged if not one.inside]
        if outside:
            told = "; ".join(f"{one.title}, {one.said}" for one in outside)
            of = count_words(len(judged), "figure")
            said.append(f"Its part {serial} is outside its limits in {len(outside)} of {of}: {told}.")
        elif judged:
            inside.append(serial)
            count += len(judged)
    if inside:
        which, their = ("part", "its") if len(inside) == 1 else ("parts", "their")
        verb = "is" if len(inside) == 1 else "are"
        every = "the one figure that has" if count == 1 else f"all {count} figures that have"
        said.append(f"Its {which} {listed(inside)} {verb} inside {their} limits in {every} any.")
    return said


def _of_hold(
    hold: Sequence[HoldRow],
    shipped: date | None,
    waiting: Sequence[Undecided],
    of_parts: Sequence[HoldRow] = (),
) -> str:
    """Say whether a piece is to be held, for itself or for what is in it, or that nothing holds it."""
    waits = [row for row in hold if row.waits]
    left_held = any(row.left_held for row in hold)
    if of_parts and not waits:
        verb = "It has left with what is to be held" if shipped else "Keep it back for what is in it"
        return f"{verb}. {' '.join(_of_parts(of_parts))}"
    if waits:
        how = "It left while it was to be held" if left_held else "It has left"
        verb = f"{how}, and is on the list of pieces to hold" if shipped else "Keep it back"
        more = f", and {count_words(len(waits) - 1, 'more reason')}" if len(waits) > 1 else ""
        return f"{verb}: {waits[0].name}, {why_words(waits[0]).rstrip('.')}{more}."
    released = next((row.released for row in hold if row.released), None)
    by = f" It was released by {released.who}: {released.why.rstrip('.')}." if released else ""
    if left_held and released:
        then = f"It left while it was to be held, and was released afterwards by {released.who}"
        by = f" {then}: {released.why.rstrip('.')}."
    if waiting:
        return f"It is not on the list of pieces to hold, and is not judged in full.{by}"
    return f"Nothing holds it back.{by}"


def _of_waiting(waiting: Sequence[Undecided]) -> list[str]:
    """Say which figures nobody can judge, each with the row that matters most, and what to do."""
    if not waiting:
        return []
    worst: dict[str, Undecided] = {}
    for one in sorted(waiting, key=lambda one: (not one.outside, one.row)):
        worst.setdefault(one.title, one)
    told = "; ".join(f"{title}, {one.said_as_typed}, held row {one.row}" for title, one in worst.items())
    rows = sorted({one.row for one in waiting})
    verb = "waits" if len(rows) == 1 else "wait"
    figures = count_words(len(worst), "figure")
    return [
        f"Not judged in {figures}, as {rows_words(rows)} {verb} for a decision: {told}. "
        "See what is asked: qc held list."
    ]


def _of_signals(figures: Sequence[FigureOfPiece], signals: Sequence[SignalOfPiece]) -> list[str]:
    """Say which of its figures drift now, and name the signals about it that wait for an answer."""
    said: list[str] = []
    asks = [one for one in signals if one.asks]
    drifting = [one for one in figures if one.behaviour == "drifting"]
    if drifting:
        series = count_words(len(drifting), "series", "series").capitalize()
        own = {str(one.series) for one in drifting}
        there = [one for one in asks if one.series in own]
        verb = "drifts" if len(drifting) == 1 else "drift"
        without = [one.title for one in drifting if str(one.series) not in {s.series for s in there}]
        where = f"it lies in {_named(there)}" if there else "it was made before that and lies in no signal of"
        where += " it" if not there and len(drifting) == 1 else " them" if not there else ""
        where += f", and in none of {listed(without)}" if there and without else ""
        said.append(f"{series} of its figures {verb} now: {listed([d.title for d in drifting])}; {where}.")
        asks = [one for one in asks if one not in there]
    for how, in_hand in (("which nobody has answered", False), ("in hand", True)):
        there = [one for one in asks if (one.state == "in-hand") is in_hand]
        said += [f"It lies in {_named(there, titled=True)}, {how}."] if there else []
    return said


def _named(signals: Sequence[SignalOfPiece], *, titled: bool = False) -> str:
    """Name signals, each with its series where that is not told beside it."""
    names = [f"{one.name} ({one.title})" if titled else one.name for one in signals]
    return f"signal{'' if len(names) == 1 else 's'} {listed(names)}"


def _of_limits(figures: Sequence[FigureOfPiece], waiting: Sequence[Undecided]) -> list[str]:
    judged = [one for one in figures if one.inside is not None]
    outside = [one for one in judged if not one.inside]
    if not figures:
        return [] if waiting else ["Nothing was measured on it."]
    if not judged:
        return [] if waiting else ["No figure of it has limits in the plan."]
    free = len([one for one in figures if one.state == NO_LIMITS])
    rest = f" {count_words(free, 'figure')} more {'has' if free == 1 else 'have'} no limits." if free else ""
    if not outside:
        near = [one.name for one in judged if one.near]
        proven = f" Not proven, within the gauge's own spread of the limit: {listed(near)}." if near else ""
        if waiting:  # what is said here is read as an answer for the whole piece
            other = count_words(len(judged), "other figure")
            verb = "keeps its" if len(judged) == 1 else "keep their"
            return [f"{other.capitalize()} {verb} limits.{proven}{rest}"]
        every = "the one figure that has" if len(judged) == 1 else f"all {len(judged)} figures that have"
        return [f"Inside its limits in {every} any.{proven}{rest}"]
    told = "; ".join(f"{one.title}, {one.said}" for one in outside)
    return [f"Outside its limits in {len(outside)} of {count_words(len(judged), 'figure')}: {told}.{rest}"]


def figure_line(one: FigureOfPiece, part: str = "") -> tuple[str, str, str, str, str, str]:
    """Return a figure as a row: name, value, worst place, limits, answer, where it lies among its like.

    That of a `part` of the piece is named with its serial.
    """
    unit = unit_words(one.unit)
    several = len(one.places) > 1
    worst = f"{stepped_words(one.worst.value, one.step)} at {one.worst.place}" if several else ""
    kept = {OUTSIDE: OUTSIDE.upper(), NEAR: "not proven"}.get(one.state, one.state)
    gauge = "" if one.gauge_checked is not False else ", gauge in doubt"
    value = f"{stepped_words(one.value, one.step)} {unit}".rstrip()
    value = passed_words(one.value) if one.kind == "pass-fail" else value
    title = f"{part}, {one.title}" if part else one.title
    return title, value, worst, limits_of(one), kept + gauge, among_words(one)


def limits_of(one: FigureOfPiece) -> str:
    """Say the limits of a figure in short."""
    if one.lower is None and one.upper is None:
        return ""
    lower, upper = (None if edge is None else plain_words(edge) for edge in (one.lower, one.upper))
    if lower is None:
        return f"to {upper}"
    return f"from {lower}" if upper is None else f"{lower} to {upper}"


def among_words(one: FigureOfPiece) -> str:
    """Say where a figure lies among its like on that day."""
    among = one.among
    if among is None:
        return ""
    if not among.below and not among.above:
        return f"like all {among.of} before it"
    side = f"above {among.below}" if among.below >= among.above else f"below {among.above}"
    return f"{side} of the {among.of} before it"


def form_lines(one: FigureOfPiece) -> list[str]:
    """Say how a piece differs along its legs, stations, areas, beside the change from piece to piece."""
    lines = []
    for form in one.forms if one.series is not None else ():
        told = []
        for name, off, usual in form.levels:
            beside = "" if usual is None else f" (usual {signed(usual, one)})"
            told.append(f"{name} {signed(off, one)}{beside}")
        lines.append(f"{one.title}, by {form.along}: {', '.join(told)} from its own mean")
    if lines and one.between is not None and one.within is not None:
        unit = one.unit
        lines.append(
            f"{one.title}: from piece to piece the series spreads by {quantity_words(one.between, unit)}, "
            f"within a piece by {quantity_words(one.within, unit)}"
        )
    return lines


def signed(value: float, one: FigureOfPiece) -> str:
    """Write how far a level lies from the mean: one unit and as many places in all forms of a figure.

    A mean of several readings is good to a tenth of what the gauge shows, which matters where little differs.
    """
    levels = [(off, usual) for form in one.forms for _, off, usual in form.levels]
    most = max((abs(size) for pair in levels for size in pair if size is not None), default=0.0)
    unit, times = ("um", 1000.0) if one.unit == "mm" and most < 0.1 else (one.unit, 1.0)
    most *= times
    if one.step:
        step = 10.0 ** math.ceil(math.log10(one.step * times) - 1e-9)
        places = max(0, -round(math.log10(step / 10 if most < 10 * step else step)))
    else:
        places = 0 if most >= 10 else 1 if most >= 0.1 or not most else 1 - math.floor(math.log10(most))
    told = places_words(times * abs(value), places)
    if not float(told):
        return "0"
    return f"{MINUS if value < 0 else '+'}{told} {unit_words(unit)}".rstrip()


def shared_words(one: Shared) -> str:
    """Say what else a suspect batch or tool went into."""
    if not one.pieces:
        return f"{one.kind} {one.name}, {one.why}: in no other piece"
    names = some_of([serial for serial, _ in one.pieces])
    left = f", {one.left} of them left" if one.left else ", all in the house"
    return (
        f"{one.kind} {one.name}, {one.why}: in {count_words(len(one.pieces), 'other piece')}{left}: {names}"
    )
