"""What is known of how a series scatters, in plain words: its shape, since when, and what hangs together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from itertools import takewhile

import numpy as np

from qc.plan import Characteristic
from qc.stats import NORMAL, PRIOR, Noise, effective_pieces, lots_margin, score_of, threshold_scores
from qc.watch.results import Point, Scatter
from qc.watch.sisters import LotsBy
from qc.words import day_words, pieces_words

LONG_TAILS = 0.1
"""From Student's t of ten degrees of freedom on tails are called longer than those of the bell curve (house
rule)."""

LEANING = 0.15
"""From such a skewness of the log scale on readings are said to lean to one side (house rule)."""

LONG = 200
"""From so many pieces on the thresholds stay as they are."""

ODD = 6.0
"""So many spreads from the rest a piece is looked at when it is said whether single odd pieces are told."""

LEAST_LEARNED = 60
"""From fewer pieces what is taken for granted outweighs what was learned: nothing is said of what hangs
together."""

NEAR, SURE = 3, 2.0
"""Pieces are said to hang together where those next to each other, or up to so many apart, are alike by so
many standard errors; chosen."""

CLEARLY_FEWER = 2 / 3
"""Pieces are said to count as fewer where they are worth less than such a share of them (house rule)."""


def scatter_of(
    characteristic: Characteristic,
    points: Sequence[Point],
    present: Sequence[Point],
    noise: Sequence[Noise],
    lots: Sequence[str | None],
    periods: Sequence[date],
    lots_by: LotsBy,
    rate: float,
    today: date,
    step: float | None = None,
) -> Scatter | None:
    """Return what is known of how a series scatters, None of what is counted or wears.

    Parameters
    ----------
    characteristic : Characteristic
        Its shape in the plan.
    points, present : sequence of Point
        The series, and the pieces of its present state.
    noise, lots, periods : sequence
        Of each point: the noise it is judged by, its lot, the first day of the period that was learned for.
        Empty where nothing was learned.
    lots_by : str
        The word that tells the lots.
    rate : float
        Chance of a false signal per point at present.
    today : date
        Days of other years are told with their year.
    step : float, optional
        Step that the gauge leaves in the figures, kept for when sisters learn. [unit of the figure]
    """
    if characteristic.kind != "measured" or characteristic.wears_with:
        return None
    shape = _in_use(characteristic, points)
    if not noise:
        own = PRIOR if shape == "auto" else NORMAL
        said = _not_learned() if shape == "auto" else ""
        return Scatter(shape, own.to_dict(), None, lots_by, _tells_single(shape, own, rate), step, None, said)
    newest = noise[-1]
    words, since, single = "", _since(noise, periods), _tells_single(shape, newest, rate)
    if shape == "auto":
        words = _shape_words(newest, since, single, today) if newest.pieces else _not_learned()
    counts_as = None
    if newest.pieces >= LEAST_LEARNED and present:
        own_lots = [lots[p.ordinal - 1] for p in present] if lots else None
        # the margin keeps false signals rare; it is no sign that anything hangs together
        bare = replace(newest, lots=max(newest.lots - lots_margin(newest.pieces), 0.0))
        worth = effective_pieces(bare, own_lots, len(present))
        counts_as = max(round(worth), 1) if worth < CLEARLY_FEWER * len(present) else None
    hang = ""
    if counts_as is not None:
        by_lots = effective_pieces(replace(bare, echo=0.0), own_lots, len(present))
        shown = by_lots < CLEARLY_FEWER * len(present) or _alike(present)
        hang = _together(len(present), counts_as, lots_by) if shown else _unsure(len(present), counts_as)
    said = " ".join(filter(None, (words, hang)))
    return Scatter(shape, newest.to_dict(), since, lots_by, single, step, counts_as, said)


def _in_use(characteristic: Characteristic, points: Sequence[Point]) -> str:
    below = any(p.value < 0 for p in points if not p.left_out)
    return "any" if characteristic.shape == "positive" and below else characteristic.shape


def _kind(noise: Noise) -> tuple[bool, int, bool]:
    lean = 0 if abs(noise.skew) < LEANING else 1 if noise.skew > 0 else -1
    return noise.tails >= LONG_TAILS, lean, noise.pieces > 0


def _since(noise: Sequence[Noise], periods: Sequence[date]) -> date:
    """Return the first day of the period since which a series has been said to have its present shape."""
    now = _kind(noise[-1])
    same = takewhile(lambda pair: _kind(pair[0]) == now, zip(reversed(noise), reversed(periods), strict=True))
    return [day for _, day in same][-1]


def _shape_words(noise: Noise, since: date, tells_single: bool, today: date) -> str:
    long, lean, _ = _kind(noise)
    way = {1: "lean to the high side", -1: "lean to the low side"}.get(lean, "")
    tails = "have longer tails than the bell curve" if long else ""
    what = " and ".join(filter(None, (way, tails))) or "scatter like the bell curve"
    learned = f"learned since {day_words(since, today)} from {pieces_words(noise.pieces)}"
    if noise.own < noise.pieces:
        learned += f", {noise.own} of them its own"
    single = (
        "a single piece far from the rest is told"
        if tells_single
        else "a single odd piece is not told here, only a few together"
    )
    if long and noise.pieces < LEAST_LEARNED:
        # what is taken for granted of any bench outweighs what was seen: that is not "learned"
        return (
            f"How readings of this figure scatter is little known yet ({learned}): until more is known, "
            f"longer tails than the bell curve are allowed for, and {single}."
        )
    return f"Readings of this figure {what} ({learned}): {single}."


def _not_learned() -> str:
    return (
        "How readings of this figure scatter is not learned yet; until then longer tails than the bell curve "
        "are allowed for, and a single odd piece is seldom told."
    )


def _together(pieces: int, counts_as: int, lots_by: LotsBy) -> str:
    whose = {"batch": "Pieces of one batch", "tool": "Pieces of one set-up of the tool"}
    who = whose.get(lots_by, "Pieces made one after another")
    return f"{who} hang together: these {pieces} count as about {counts_as}."


def _unsure(pieces: int, counts_as: int) -> str:
    return (
        "Whether pieces made one after another hang together is not known well enough: to be on the cautious "
        f"side these {pieces} count as about {counts_as}."
    )


def _alike(points: Sequence[Point]) -> bool:
    """Tell whether neighbours are alike beyond chance, by these pieces themselves.

    What is taken for granted of any bench, and the margin for sisters that are unlike, make pieces count as
    fewer too; they are no sign that these ones hang together.
    """
    values = np.array([point.value for point in points])
    about = values - values.mean()
    square = float(about @ about)
    if values.size <= NEAR or square <= 0:
        return False
    # each lag is too small by one in n, as the mean is that of the same pieces
    lags = [float(about[lag:] @ about[:-lag]) / square + 1 / values.size for lag in range(1, NEAR + 1)]
    return max(lags[0], sum(lags) / math.sqrt(NEAR)) > SURE / math.sqrt(values.size)


def _tells_single(shape: str, noise: Noise, rate: float) -> bool:
    """Say whether one piece six spreads from the rest, on the side readings lean to, raises a signal."""
    if shape != "auto":
        return shape != "any"
    needed = float(threshold_scores(rate, LONG)[0])
    if noise.odd_share > 0:
        needed = max(needed, 3 + noise.odd_reach * float(np.log(noise.odd_share / (0.1 * rate))))
    return abs(score_of(noise, ODD if noise.skew >= 0 else -ODD)) >= needed
