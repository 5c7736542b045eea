"""Draw a study: points, centre and limits, signals marked by shape as well as colour."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from qc.stats import Chart, Companion, SeriesStudy, StatisticsUsageError, StudyQuestion

SUFFIXES = (".png", ".svg", ".html")
MOST_SERIES = 12  # chosen: more panels are too flat to be read
INK, LIMIT, MARK, SPEC = (
    "#22303c",
    "#6b7f8e",
    "#b5471f",
    "#4a6fa5",
)  # told apart without colour by dash and shape


def plot_study(answers: Mapping[str, SeriesStudy], question: StudyQuestion, value: str, path: Path) -> None:
    """Draw one panel for each chart (and its companion) into a file.

    Parameters
    ----------
    answers : mapping of series name to SeriesStudy
    question : StudyQuestion
    value : str
        What is drawn, for the axis.
    path : Path
        Ends in .png, .svg or .html.

    Raises
    ------
    StatisticsUsageError
        Another suffix, a folder that is not there, or more series than fit one drawing.
    """
    if path.suffix.lower() not in SUFFIXES:
        raise StatisticsUsageError(f"{path.name}: a chart is drawn as .png, .svg or .html; give such a name")
    if not path.parent.is_dir():
        raise StatisticsUsageError(f"{path.parent}: there is no such folder; make it first")
    charts = {name: answer.chart for name, answer in answers.items() if answer.chart is not None}
    if len(charts) > MOST_SERIES:
        raise StatisticsUsageError(
            f"{len(charts)} series do not fit one drawing: choose at most {MOST_SERIES}"
        )
    figure = _draw(charts, question, value)
    if path.suffix.lower() == ".html":
        path.write_text(_page(figure, value), encoding="utf-8")
    else:
        path.write_bytes(_saved(figure, path.suffix.lower()[1:]))


def _draw(charts: Mapping[str, Chart], question: StudyQuestion, value: str) -> Any:
    """Draw by the file backend alone: no window system is asked for, so it works over a wire and in tests."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    panels: list[tuple[str, Chart | Companion, Chart]] = []
    for name, chart in charts.items():
        title = f"{name}: {chart.kind}" if name else chart.kind
        panels.append((title, chart, chart))
        if chart.companion is not None:
            panels.append((chart.companion.kind, chart.companion, chart))
    figure = Figure(figsize=(9, 2.6 * len(panels) + 0.4), layout="constrained")
    FigureCanvasAgg(figure)
    for row, (title, part, chart) in enumerate(panels):
        axes = figure.add_subplot(len(panels), 1, row + 1)
        _panel(axes, part, chart if part is chart else None)
        axes.set_title(title, loc="left", fontsize=10)
        axes.set_xlabel("point")
        axes.set_ylabel(f"{value} [sigma]" if isinstance(part.values, Mapping) else value)
        if part is chart and chart.kind in ("individuals", "three-way"):
            for limit in (question.lower, question.upper):
                if limit is not None:
                    axes.axhline(limit, color=SPEC, linestyle=":", linewidth=1)
                    axes.annotate(f"limit {limit:.6g}", (0, limit), fontsize=7, color=SPEC)
    return figure


def _panel(axes: Any, part: Chart | Companion, signals_of: Chart | None) -> None:
    lines = part.values if isinstance(part.values, Mapping) else {"": part.values}
    count = len(next(iter(lines.values())))
    at = np.arange(1, count + 1)
    for name, values in lines.items():
        # both sums count upwards; the low one is drawn downwards, where its limit is
        drawn = -values if name == "low" else values
        axes.plot(at, drawn, color=INK, linewidth=1, marker="o", markersize=3, label=name)
        if signals_of is not None:
            hit = [signal.point - 1 for signal in signals_of.signals if _belongs(signal.side, name)]
            axes.plot(at[hit], drawn[hit], color=MARK, linestyle="none", marker="D", markersize=6)
    if part.center is not None and "low" not in lines:
        axes.axhline(part.center, color=LIMIT, linewidth=0.8)
    for each, level in ((part.lowers, part.lower), (part.uppers, part.upper)):
        if each is not None:
            axes.step(at, each, where="mid", color=LIMIT, linestyle="--", linewidth=1)
        elif level is not None:
            axes.axhline(level, color=LIMIT, linestyle="--", linewidth=1)
            axes.annotate(f"{level:.6g}", (count, level), fontsize=7, color=LIMIT, ha="right", va="bottom")


def _belongs(side: str, line: str) -> bool:
    return line == "" or (line == "high") == (side == "above")


def _saved(figure: Any, kind: str) -> bytes:
    """Save so that the same study gives the same bytes: no date, no random names."""
    from io import BytesIO

    from matplotlib import rc_context

    buffer = BytesIO()
    with rc_context({"svg.hashsalt": "study"}):
        figure.savefig(buffer, format=kind, dpi=150, metadata={"Date": None} if kind == "svg" else None)
    return buffer.getvalue()


def _page(figure: Any, value: str) -> str:
    """Make a page that loads nothing from anywhere: the drawing is inside."""
    from html import escape

    drawing = _saved(figure, "svg").decode("utf-8")
    drawing = drawing[drawing.index("<svg") :]
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(value)}</title></head>\n"
        f"<body>\n{drawing}</body></html>\n"
    )
