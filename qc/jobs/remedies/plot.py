"""Drawings of remedies: every axis with its unit, every mark by shape as well as colour."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from qc.jobs.remedies.coating import CoatResult
from qc.jobs.remedies.errors import RemedyUsageError
from qc.jobs.remedies.pairing import PairResult
from qc.jobs.remedies.tool_wear import WearResult
from qc.jobs.remedies.tuning import TuneResult

SUFFIXES = (".png", ".svg", ".pdf")
INK, LIMIT, APART = "#22303c", "#6b7f8e", "#b5471f"


def draw_remedy(result: TuneResult | PairResult | WearResult | CoatResult, path: Path) -> None:
    """Draw a remedy into a file.

    Parameters
    ----------
    result : TuneResult, PairResult, WearResult or CoatResult
        What a remedy command answered.
    path : Path
        Ends in .png, .svg or .pdf.

    Raises
    ------
    RemedyUsageError
        Another suffix, or a folder that is not there.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    if path.suffix.lower() not in SUFFIXES:
        raise RemedyUsageError(f"--plot {path.name}: a drawing ends in {', '.join(SUFFIXES)}")
    if not path.parent.is_dir():
        raise RemedyUsageError(f"--plot {path.parent}: there is no such folder. Make it first")
    figure = Figure(figsize=(8.0, 4.8), layout="constrained")
    FigureCanvasAgg(figure)
    if isinstance(result, TuneResult):
        _draw_tuning(figure, result)
    elif isinstance(result, PairResult):
        _draw_pairs(figure, result)
    elif isinstance(result, WearResult):
        _draw_wear(figure, result)
    else:
        _draw_coat(figure, result)
    figure.savefig(path, dpi=150)


def _draw_tuning(figure: Any, result: TuneResult) -> None:
    """Lengths with intervals on the left, partial residuals on the right."""
    left, right = figure.subplots(1, 2)
    known = [length for length in result.remedy.lengths if length.interval_mm is not None]
    for row, length in enumerate(known):
        low, high = length.interval_mm or (0.0, 0.0)
        acts = length.action != "none"
        left.plot([low, high], [row, row], color=APART if acts else INK)
        left.plot([length.error_mm], [row], "s" if acts else "o", color=APART if acts else INK)
    left.set_yticks(range(len(known)), [length.part for length in known])
    left.axvline(0.0, color=LIMIT, linewidth=0.8)
    left.set_xlabel("length error, + = too long [mm]")
    left.margins(y=0.3)
    for partial in result.remedy.fit.partials:
        right.plot([partial.partial] * 2, partial.interval_cents, color=INK)
        right.plot([partial.partial], [partial.residual_cents], "o", color=INK)
    right.axhline(0.0, color=LIMIT, linewidth=0.8)
    right.set_xlabel("partial")
    right.set_ylabel("residual, + = sharp [cent]")


def _draw_pairs(figure: Any, result: PairResult) -> None:
    """Pairs on top, the tubes before pairing below: pairing must not hide a drifting die."""
    top, inner, outer = figure.subplots(3, 1)
    for row, pair in enumerate(result.pairing.pairs):
        color = INK if pair.inside else APART
        top.plot([row, row], [pair.least_um, pair.greatest_um], color=color)
        top.plot([row], [pair.mean_um], "o" if pair.inside else "X", color=color)
    for limit in (result.lower_um, result.upper_um):
        top.axhline(limit, color=LIMIT, linestyle="--", linewidth=0.8)
    names = [f"{pair.inner}/{pair.outer}" for pair in result.pairing.pairs]
    top.set_xticks(range(len(names)), names, rotation=60, fontsize=7)
    top.set_ylabel("clearance [um]")
    for axes, run in ((inner, result.inner_run), (outer, result.outer_run)):
        axes.plot(range(1, len(run.means_mm) + 1), run.means_mm, "o-", color=APART if run.drifting else INK)
        axes.set_ylabel(f"{run.side} [mm]")
    outer.set_xlabel("tube, in the order of the file (before pairing)")


def _draw_wear(figure: Any, result: WearResult) -> None:
    panels = figure.subplots(len(result.tools), 1, squeeze=False)[:, 0]
    for axes, tool in zip(panels, result.tools, strict=True):
        axes.plot(tool.counts, tool.values, "o", color=INK)
        line = tool.line
        if line is not None:
            ends = [tool.counts[0], max(tool.counts[-1], line.change_by_count or 0)]
            axes.plot(ends, [line.intercept + line.slope * end for end in ends], color=INK)
            if line.limit is not None:
                axes.axhline(line.limit, color=LIMIT, linestyle="--", linewidth=0.8)
            if line.change_by_count is not None:
                axes.axvline(line.change_by_count, color=APART, linestyle=":")
        axes.set_ylabel(f"{tool.tool} {result.value}".strip())
    panels[-1].set_xlabel(result.against)


def _draw_coat(figure: Any, result: CoatResult) -> None:
    """Spots by area: where it is thin."""
    axes = figure.subplots()
    for column, area in enumerate(result.areas):
        spots = [spot.um for spot in result.spots if spot.area == area.area]
        thin = [um for um in spots if um < result.lower_um]
        axes.plot([column] * len(spots), spots, "o", color=INK, alpha=0.6)
        axes.plot([column] * len(thin), thin, "X", color=APART)
        axes.plot([column - 0.25, column + 0.25], [area.mean] * 2, color=INK)
    axes.set_xticks(range(len(result.areas)), [area.area for area in result.areas])
    axes.axhline(result.nominal_um, color=LIMIT, linewidth=0.8)
    axes.axhline(result.lower_um, color=LIMIT, linestyle="--", linewidth=0.8)
    axes.set_ylabel("thickness [um]")
