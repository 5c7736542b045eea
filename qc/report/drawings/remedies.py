"""Draw remedies: every axis with its unit, every mark by shape as well as colour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from qc.report.drawings.study import INK, LIMIT, MARK
from qc.trade import AreaThickness, Pairing, Spot, TuningRemedy, WearLine

Tubes = tuple[str, Sequence[float], bool]
"""Side, mean diameters in the order of the file [mm], and whether they drift."""

Worn = tuple[str, Sequence[float], Sequence[float], WearLine | None]
"""Name of the tool, its counts, the values at them, and its line."""


def draw_tuning(figure: Any, remedy: TuningRemedy) -> None:
    """Draw lengths with intervals on the left, partial residuals on the right."""
    left, right = figure.subplots(1, 2)
    known = [length for length in remedy.lengths if length.interval_mm is not None]
    for row, length in enumerate(known):
        low, high = length.interval_mm or (0.0, 0.0)
        acts = length.action != "none"
        left.plot([low, high], [row, row], color=MARK if acts else INK)
        left.plot([length.error_mm], [row], "s" if acts else "o", color=MARK if acts else INK)
    left.set_yticks(range(len(known)), [length.part for length in known])
    left.axvline(0.0, color=LIMIT, linewidth=0.8)
    left.set_xlabel("length error, + = too long [mm]")
    left.margins(y=0.3)
    for partial in remedy.fit.partials:
        right.plot([partial.partial] * 2, partial.interval_cents, color=INK)
        right.plot([partial.partial], [partial.residual_cents], "o", color=INK)
    right.axhline(0.0, color=LIMIT, linewidth=0.8)
    right.set_xlabel("partial")
    right.set_ylabel("residual, + = sharp [cent]")


def draw_pairs(
    figure: Any, pairing: Pairing, limits: tuple[float, float], inner_run: Tubes, outer_run: Tubes
) -> None:
    """Draw pairs on top, the tubes before pairing below: pairing must not hide a drifting die."""
    top, inner, outer = figure.subplots(3, 1)
    for row, pair in enumerate(pairing.pairs):
        color = INK if pair.inside else MARK
        top.plot([row, row], [pair.least_um, pair.greatest_um], color=color)
        top.plot([row], [pair.mean_um], "o" if pair.inside else "X", color=color)
    for limit in limits:
        top.axhline(limit, color=LIMIT, linestyle="--", linewidth=0.8)
    names = [f"{pair.inner}/{pair.outer}" for pair in pairing.pairs]
    top.set_xticks(range(len(names)), names, rotation=60, fontsize=7)
    top.set_ylabel("clearance [um]")
    for axes, (side, means_mm, drifting) in ((inner, inner_run), (outer, outer_run)):
        axes.plot(range(1, len(means_mm) + 1), means_mm, "o-", color=MARK if drifting else INK)
        axes.set_ylabel(f"{side} [mm]")
    outer.set_xlabel("tube, in the order of the file (before pairing)")


def draw_wear(figure: Any, tools: Sequence[Worn], value: str, against: str) -> None:
    """Draw each tool's values with its line, its limit and the count to change it by."""
    panels = figure.subplots(len(tools), 1, squeeze=False)[:, 0]
    for axes, (tool, counts, values, line) in zip(panels, tools, strict=True):
        axes.plot(counts, values, "o", color=INK)
        if line is not None:
            ends = [counts[0], max(counts[-1], line.change_by_count or 0)]
            axes.plot(ends, [line.intercept + line.slope * end for end in ends], color=INK)
            if line.limit is not None:
                axes.axhline(line.limit, color=LIMIT, linestyle="--", linewidth=0.8)
            if line.change_by_count is not None:
                axes.axvline(line.change_by_count, color=MARK, linestyle=":")
        axes.set_ylabel(f"{tool} {value}".strip())
    panels[-1].set_xlabel(against)


def draw_coat(
    figure: Any, areas: Sequence[AreaThickness], spots: Sequence[Spot], nominal_um: float, lower_um: float
) -> None:
    """Draw spots by area: where it is thin."""
    axes = figure.subplots()
    for column, area in enumerate(areas):
        found = [spot.um for spot in spots if spot.area == area.area]
        thin = [um for um in found if um < lower_um]
        axes.plot([column] * len(found), found, "o", color=INK, alpha=0.6)
        axes.plot([column] * len(thin), thin, "X", color=MARK)
        axes.plot([column - 0.25, column + 0.25], [area.mean] * 2, color=INK)
    axes.set_xticks(range(len(areas)), [area.area for area in areas])
    axes.axhline(nominal_um, color=LIMIT, linewidth=0.8)
    axes.axhline(lower_um, color=LIMIT, linestyle="--", linewidth=0.8)
    axes.set_ylabel("thickness [um]")
