"""A piece in words, the judgement first: what the command, the page and the passport say alike."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from qc.jobs.pieces import HoldRow, why_words
from qc.jobs.whole_piece.figures import FigureOfPiece
from qc.jobs.whole_piece.leaving import Leaving
from qc.jobs.whole_piece.life import Return
from qc.jobs.whole_piece.sharing import Shared
from qc.states import INSIDE, NO_LIMITS, OUTSIDE
from qc.words import count_words, dated_words, listed, quantity_words, some_of, unit_words


def judgement_of(
    hold: Sequence[HoldRow],
    shipped: date | None,
    figures: Sequence[FigureOfPiece],
    open_signals: int,
    returns: Sequence[Return],
    leaving: Leaving | None,
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
    open_signals : int
        Open signals it lies in.
    """
    said = [_of_hold(hold, shipped), *_of_limits(figures)]
    drifting = [one.title for one in figures if one.behaviour == "drifting"]
    if drifting:
        series = count_words(len(drifting), "series", "series").capitalize()
        where = count_words(open_signals, "open signal") if open_signals else "none of their signals"
        verb = "drifts" if len(drifting) == 1 else "drift"
        said.append(f"{series} of its figures {verb} now: {listed(drifting)}; it lies in {where}.")
    doubts = dict.fromkeys(one.gauge_doubt for one in figures if one.gauge_checked is False)
    said += [f"A gauge in doubt: {doubt}." for doubt in doubts]
    if returns:
        last = returns[-1]
        said.append(f"It came back on {dated_words(last.day)}. {last.said}")
    if leaving and leaving.due:
        said.append(f"{leaving.said.partition(': ')[0]}.")
    return tuple(said)


def _of_hold(hold: Sequence[HoldRow], shipped: date | None) -> str:
    waits = [row for row in hold if row.waits]
    if waits:
        verb = "It has left, and is on the list of pieces to hold" if shipped else "Keep it back"
        more = f", and {count_words(len(waits) - 1, 'more reason')}" if len(waits) > 1 else ""
        return f"{verb}: {waits[0].name}, {why_words(waits[0]).rstrip('.')}{more}."
    released = next((row.released for row in hold if row.released), None)
    by = f" It was released by {released.who}: {released.why.rstrip('.')}." if released else ""
    return f"Nothing holds it back.{by}"


def _of_limits(figures: Sequence[FigureOfPiece]) -> list[str]:
    judged = [one for one in figures if one.inside is not None]
    outside = [one for one in judged if not one.inside]
    if not figures:
        return ["Nothing was measured on it."]
    if not judged:
        return ["No figure of it has limits in the plan."]
    free = len(figures) - len(judged)
    rest = f" {count_words(free, 'figure')} more {'has' if free == 1 else 'have'} no limits." if free else ""
    if not outside:
        near = [one.name for one in judged if one.near]
        proven = f" Not proven, within the gauge's own spread of the limit: {listed(near)}." if near else ""
        return [f"Inside its limits in all {len(judged)} figures that have any.{proven}{rest}"]
    told = "; ".join(f"{one.title}, {one.said}" for one in outside)
    return [f"Outside its limits in {len(outside)} of {count_words(len(judged), 'figure')}: {told}.{rest}"]


def figure_line(one: FigureOfPiece) -> tuple[str, str, str, str, str, str]:
    """Return a figure as a row: name, value, worst place, limits, answer, where it lies among its like."""
    unit = unit_words(one.unit)
    several = len(one.places) > 1
    worst = f"{one.worst.value:.4g} at {one.worst.place}" if several else ""
    kept = {True: INSIDE, False: OUTSIDE.upper(), None: NO_LIMITS}[one.inside]
    kept = "not proven" if one.near and one.inside else kept
    gauge = "" if one.gauge_checked is not False else ", gauge in doubt"
    value = f"{one.value:.4g} {unit}".rstrip()
    return one.title, value, worst, limits_of(one), kept + gauge, among_words(one)


def limits_of(one: FigureOfPiece) -> str:
    """Say the limits of a figure in short."""
    if one.lower is None and one.upper is None:
        return ""
    if one.lower is None:
        return f"to {one.upper:g}"
    return f"from {one.lower:g}" if one.upper is None else f"{one.lower:g} to {one.upper:g}"


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
    """Write how far a level lies from the mean, with no more places than matter beside the others."""
    most = max(abs(off) for form in one.forms for _, off, _ in form.levels)
    if abs(value) < most / 40:
        return "0"
    return f"{'−' if value < 0 else '+'}{quantity_words(abs(value), one.unit)}"


def shared_words(one: Shared) -> str:
    """Say what else a suspect batch or tool went into."""
    if not one.pieces:
        return f"{one.kind} {one.name}, {one.why}: in no other piece"
    names = some_of([serial for serial, _ in one.pieces])
    left = f", {one.left} of them left" if one.left else ", all in the house"
    return (
        f"{one.kind} {one.name}, {one.why}: in {count_words(len(one.pieces), 'other piece')}{left}: {names}"
    )
