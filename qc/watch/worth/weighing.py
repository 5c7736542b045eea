"""One series weighed: what its readings cost and buy, by courses simulated on its own settled figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import polars as pl

from qc.watch.results import Point, SeriesVerdict
from qc.watch.worth.advising import advise
from qc.watch.worth.courses import (
    COUNTED_LENGTH,
    LENGTH,
    Courses,
    JudgedBy,
    counted_told,
    courses_of,
    delay_of,
    told_courses,
    told_unchanged,
)
from qc.watch.worth.results import BenchCost, FigureWorth, FoundByIt, GaugePart, SaidByOthers, SettledState
from qc.watch.worth.settled import LEAST, breaking_change, gauge_part, settled_state
from qc.words import count_words, pieces_words

WEARS = "It follows the line of its tool: its readings buy the forecast of the change of tool, see `qc wear`."


def weigh(
    verdict: SeriesVerdict,
    settled: Sequence[Point],
    rate: float,
    *,
    cost: BenchCost,
    found: FoundByIt,
    cells: pl.DataFrame,
    by_checks: bool = False,
    others: SaidByOthers | None,
) -> FigureWorth:
    """Say what a reading of one series costs and buys.

    Parameters
    ----------
    verdict : SeriesVerdict
        As the series stands.
    settled : sequence of Point
        `settled_pieces`.
    rate : float
        Chance of a false signal per point, from the budget of the present month.
    cost, found
        What it costs, and what it found in the last year.
    cells, by_checks
        As for `gauge_part`.
    others : SaidByOthers or None
        What other figures say of it.

    Returns
    -------
    FigureWorth
        Without delays, and with the reason, where there are fewer than 20 settled pieces or none can be had.
    """
    bare = FigureWorth(
        verdict.key,
        verdict.title,
        verdict.name,
        verdict.unit,
        verdict.kind,
        verdict.behaviour,
        verdict.capable,
        cost,
        found,
        others=others,
        not_simulated=_why_not(verdict, settled),
    )
    if not bare.not_simulated:
        state = settled_state(verdict, settled)
        counted = verdict.kind != "measured"
        bare = _counted(bare, verdict, settled, rate, state) if counted else bare
        if not counted:
            part = gauge_part(verdict, state, cells, by_checks=by_checks)
            bare = _measured(bare, verdict, settled, rate, state, part)
    elif len(settled) >= LEAST and verdict.kind == "measured":
        bare = replace(bare, settled=settled_state(verdict, settled))
    advice, because = advise(bare)
    return replace(bare, advice=advice, because=because)


def _why_not(verdict: SeriesVerdict, settled: Sequence[Point]) -> str:
    """Say why nothing can be simulated, empty where it can."""
    if verdict.follows_line or (verdict.kind == "measured" and verdict.scatter is None):
        return WEARS
    if len(settled) < LEAST:
        return f"{count_words(len(settled), 'settled piece')} of {LEAST}: measure every piece until then."
    values = [p.value for p in settled]
    if verdict.kind != "measured" and sum(values) == 0:
        return f"No fault was found in {pieces_words(len(values))}: there is no rate that could be doubled."
    if min(values) == max(values):
        return f"All {pieces_words(len(values))} read the same: the gauge is too coarse to see them differ."
    return ""


def _counted(
    bare: FigureWorth, verdict: SeriesVerdict, settled: Sequence[Point], rate: float, state: SettledState
) -> FigureWorth:
    change = breaking_change(verdict, state)
    after = state.mean + change.size
    told = counted_told(verdict.key, verdict.kind, tuple(settled), rate, state.mean, after)
    return replace(
        bare,
        settled=state,
        change=change,
        told=delay_of(told, COUNTED_LENGTH),
        told_every_second=delay_of(told, COUNTED_LENGTH, every=2),
    )


def _measured(
    bare: FigureWorth,
    verdict: SeriesVerdict,
    settled: Sequence[Point],
    rate: float,
    state: SettledState,
    part: GaugePart,
) -> FigureWorth:
    """Weigh a measured figure: how soon a change that matters is told, as it is and read in other ways."""
    assert verdict.scatter is not None
    change = breaking_change(verdict, state)
    shares = [1.0, left(state, part, 2), left(state, part, None)]
    judged = JudgedBy.of(verdict.scatter, rate)
    told, twice, exactly = told_courses(verdict.key, tuple(settled), judged, change.size, tuple(shares))
    now = delay_of(told, LENGTH)
    return replace(
        bare,
        settled=state,
        change=change,
        gauge=part,
        told=now,
        told_unchanged=told_unchanged(verdict.key, tuple(settled), judged, now.pieces or LENGTH),
        told_twice=None if part.sd is None else delay_of(twice, LENGTH),
        told_every_second=delay_of(told, LENGTH, every=2),
        told_exactly=None if part.share is None else delay_of(exactly, LENGTH),
    )


LEAST_LEFT = 0.05
"""So much of the scatter stays in any case: a gauge that makes up all of it says nothing of the pieces."""


def left(state: SettledState, part: GaugePart, readings: int | None) -> float:
    """Return what is left of the spread when each reading is taken so often, None: by a gauge without any.

    Examples
    --------
    >>> from datetime import date
    >>> state = SettledState(50, 0.0, 1.0, date(2026, 1, 5), date(2026, 6, 5), True)
    >>> round(left(state, GaugePart(0.6, 0.0, 0.36), 2), 3), left(state, GaugePart(0.6, 0.0, 0.36), None)
    (0.906, 0.8)
    """
    now = part.variance()
    then = 0.0 if readings is None else part.variance(readings)
    return float(max(1.0 - (now - then) / state.sd**2, LEAST_LEFT**2) ** 0.5)


def courses_for(verdict: SeriesVerdict, settled: Sequence[Point], rate: float) -> Courses | None:
    """Return the courses of a measured series that can be simulated, else None."""
    if _why_not(verdict, settled) or verdict.kind != "measured" or verdict.scatter is None:
        return None
    return courses_of(verdict.key, settled, JudgedBy.of(verdict.scatter, rate))
