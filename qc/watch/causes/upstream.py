"""What was measured on the same pieces at earlier stages, and on the parts that went into them.

A figure of an earlier stage is a suspect when it stepped inside the 90 % set of the start: the twenty pieces
before a split are compared with up to twenty after it; the clearest split far and wide must lie in the set
(give or take two pieces), and the step is ranked by how rarely windows of the same width elsewhere in the
series hold one as clear. Each piece brings its own mean of each figure, so what is said of a piece never
depends on which other pieces have been measured since.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

import numpy as np
import polars as pl
from scipy import special

from qc.plan import Characteristic, Plan, Stage
from qc.stats import Floats

SIDE = 20
"""Pieces on either side of a split that are compared: as many as say what was usual (house rule)."""

LEAST_SIDE = 3
"""Fewer on one side have no spread worth the name (house rule)."""

CHANCE = 0.05
"""A step must be rarer than this by chance, over all splits of the set and all figures compared (common
practice, no source)."""

COMMON = 0.5
"""A step found elsewhere more often explains nothing; taken where there is no elsewhere to look."""


JITTER = 2
"""The clearest split of a noisy figure lies within so many pieces of its step nine times in ten."""


@dataclass(frozen=True, slots=True, order=True)
class Figure:
    """One figure of an earlier stage, of the piece itself or of a part that went into it."""

    stage: str
    characteristic: str
    role: str = ""  # of the part, empty for the piece itself


@dataclass(frozen=True, slots=True)
class Step:
    """A step of a figure where a signal began.

    Attributes
    ----------
    at : int
        0-based place of the first piece after it.
    size : float
        Mean after less mean before. [unit of the figure]
    separation : float
        How far the two sides lie apart, 0 (alike) to 1 (no overlap).
    rarity : float
        Chance that a window elsewhere holds a step as clear in any of the figures compared, at most 1.
    """

    at: int
    size: float
    separation: float
    rarity: float


class FigureTable:
    """The means of the figures of many pieces with their targets; those of a few pieces are taken from it.

    Parameters
    ----------
    means : polars.DataFrame
        `serial`, `model`, `stage`, `characteristic`, `mean`, `day`.
    plan : Plan
        Gives route and targets.
    """

    def __init__(self, means: pl.DataFrame, plan: Plan) -> None:
        # by stage of the route and figure: each piece once, as it was found first
        self._found: list[tuple[int, Figure, dict[str, tuple[str, float, float | None]]]] = []
        targets: dict[tuple[Figure, str, date], float | None] = {}
        names = ("serial", "model", "characteristic", "mean", "day")
        for index, stage in enumerate(plan.stages):
            # what has no chart of its own is read for another figure, which is the one to name
            measured = [c for c in stage.characteristics if c.kind == "measured" and c.charted]
            own = {c.id: c for c in measured if c.unit != "cent"}
            figures = {name: Figure(stage.id, name) for name in own}
            found: dict[str, dict[str, tuple[str, float, float | None]]] = {name: {} for name in own}
            here = means.filter((pl.col("stage") == stage.id) & pl.col("characteristic").is_in(list(own)))
            for serial, model, name, mean, day in here.select(names).iter_rows():
                figure, of = figures[name], model or ""
                if (figure, of, day) not in targets:
                    targets[figure, of, day] = plan.limits(own[name], of, day).target
                found[name].setdefault(serial, (of, float(mean), targets[figure, of, day]))
            self._found += [(index, figures[name], by_serial) for name, by_serial in found.items()]

    def figures(
        self, parts: pl.DataFrame, stage_index: int, serials: Collection[str] | None = None
    ) -> dict[Figure, dict[str, float]]:
        """Gather the figures of some pieces by serial, as if nothing else had been measured.

        Parameters
        ----------
        parts : polars.DataFrame
            Events of kind part of these pieces: `serial`, `subject` (the part), `code` (its role).
        stage_index : int
            Only stages before this place in the route count.
        serials : collection of str, optional
            The pieces, and the parts in them; all when left out.

        Returns
        -------
        dict
            Deviations from target where the plan has one for every model, else from the middle of each model.
            [unit of the characteristic]
        """
        into: dict[str, tuple[str, str]] = {}
        for part, serial, role in parts.select("subject", "serial", "code").iter_rows():
            if part and serial:
                into.setdefault(part, (serial, role or "part"))
        about = None if serials is None else set(serials)
        raw: dict[Figure, dict[str, tuple[str, float, float | None]]] = {}
        for index, figure, by_serial in self._found:
            if index >= stage_index:
                continue
            here = by_serial if about is None else {s: by_serial[s] for s in by_serial if s in about}
            if here:
                raw.setdefault(figure, {}).update(here)
            for part in (serial for serial in here if serial in into):
                owner, role = into[part]
                carried = Figure(figure.stage, figure.characteristic, role)
                raw.setdefault(carried, {}).setdefault(owner, here[part])
        return {figure: _levelled(by_serial) for figure, by_serial in sorted(raw.items())}


def find_step(values: Sequence[float], low: int, high: int, last: int, compared: int = 1) -> Step | None:
    """Look for a step of a figure inside the set of a start.

    Parameters
    ----------
    values : sequence of float, length n
        The figure of each piece in order of making, NaN where it is not known.
    low, high : int
        0-based places of the first and the last possible first changed piece.
    last : int
        Place after the last changed piece.
    compared : int
        Figures that are looked at, each of which could have stepped by chance.

    Returns
    -------
    Step or None
        None where nothing stepped there more clearly than chance would have it.

    Examples
    --------
    >>> noise = [0.1, -0.2, 0.3, -0.1, 0.0, 0.2, -0.3, 0.1] * 3
    >>> find_step(noise + [v + 2 for v in noise], 23, 25, 48).at
    24
    """
    series = np.asarray(values[:last], dtype=np.float64)
    low, high = max(low, 1), min(high, series.size - 1)
    if low > high:
        return None
    clear, size, spread, freedom = _splits(series)
    reach = max(low - SIDE, 0)
    at = reach + int(np.argmax(clear[reach : high + SIDE + 1]))
    # a step that is clearest outside the set began there and only reaches into it
    if not low - JITTER <= at <= high + JITTER or not clear[at] > 0:
        return None
    # every place at which the step was let be found counts, those of the jitter too
    low, high = max(low - JITTER, 1), min(high + JITTER, series.size - 1)
    chance = 2.0 * float(special.stdtr(freedom[at], -clear[at])) * (high - low + 1) * compared
    if chance > CHANCE:
        return None
    # of two normal pieces, one from either side: how much likelier it is that the step tells them apart
    separation = 2.0 * float(special.ndtr(abs(size[at]) / (spread[at] * math.sqrt(2.0)))) - 1.0
    # the rarest of many figures is rare by selection alone
    alone = _rarity(clear, low, high, float(clear[at]))
    rarity = COMMON if alone is None else min(1.0, alone * compared)
    return Step(at, float(size[at]), separation, rarity) if rarity <= COMMON else None


def figure_name(plan: Plan, figure: Figure) -> tuple[Stage, Characteristic]:
    """Return stage and characteristic of a figure of this plan."""
    stage = next(s for s in plan.stages if s.id == figure.stage)
    return stage, next(c for c in stage.characteristics if c.id == figure.characteristic)


def _levelled(by_serial: Mapping[str, tuple[str, float, float | None]]) -> dict[str, float]:
    if all(target is not None for _, _, target in by_serial.values()):
        return {serial: mean - (target or 0.0) for serial, (_, mean, target) in by_serial.items()}
    models = {model for model, _, _ in by_serial.values()}
    middle = {m: median(mean for model, mean, _ in by_serial.values() if model == m) for m in models}
    return {serial: mean - middle[model] for serial, (model, mean, _) in by_serial.items()}


def _splits(series: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return |t|, difference of means, spread within and degrees of freedom at every split."""
    n = series.size
    known = np.isfinite(series)
    filled = np.where(known, series - (series[known].mean() if known.any() else 0.0), 0.0)
    count, total, square = (
        np.concatenate([[0.0], np.cumsum(part)]) for part in (known.astype(float), filled, filled**2)
    )
    at = np.arange(n)
    before, after = np.maximum(at - SIDE, 0), np.minimum(at + SIDE, n)
    n1, n2 = count[at] - count[before], count[after] - count[at]
    enough = (n1 >= LEAST_SIDE) & (n2 >= LEAST_SIDE)
    safe1, safe2 = np.maximum(n1, 1.0), np.maximum(n2, 1.0)
    mean1, mean2 = (total[at] - total[before]) / safe1, (total[after] - total[at]) / safe2
    squares = square[after] - square[before] - safe1 * mean1**2 - safe2 * mean2**2
    freedom = np.maximum(n1 + n2 - 2.0, 1.0)
    whole = float(filled.std()) or 1.0
    spread = np.sqrt(np.maximum(squares / freedom, (1e-6 * whole) ** 2))
    clear = np.where(enough, np.abs(mean2 - mean1) / (spread * np.sqrt(1 / safe1 + 1 / safe2)), 0.0)
    return clear, mean2 - mean1, spread, freedom


def _rarity(clear: Floats, low: int, high: int, found: float) -> float | None:
    """Share of windows elsewhere, out of reach of this step, with one as clear (plus one half)."""
    width = high - low + 1
    greatest = np.lib.stride_tricks.sliding_window_view(clear, width).max(axis=1)
    first = np.arange(greatest.size)
    apart = (first + width <= low - SIDE) | (first > high + SIDE)
    apart &= greatest > 0
    if not apart.any():
        return None
    return (float((greatest[apart] >= found).sum()) + 0.5) / (float(apart.sum()) + 1.0)
