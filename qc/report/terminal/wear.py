"""Worn tools as a person reads them: one sentence a tool, the most urgent first, then the figures."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from qc.report.terminal.columns import Row, block, figures
from qc.trade import WearLine

Forecast = tuple[str, int, WearLine | None, date | None, Sequence[str]]
"""Name of the tool, pieces, its line, the day to change it by, and what to know before believing it."""


def wear_text(tools: Sequence[Forecast], cautions: Sequence[str]) -> str:
    """Say when each tool has to be changed."""
    ordered = sorted(tools, key=_urgency)
    rows: list[Row] = [("tool", "pieces", "per 100", "from", "to", "limit", "crossing", "change by")]
    rows += [_row(*tool[:3]) for tool in ordered]
    lines = [*(_sentence(tool) for tool in ordered), "", *figures(rows)]
    for name, *_, warnings in ordered:
        lines += [f"{name or 'tool'}: {warning}" for warning in warnings]
    return "\n".join(lines + block("Cautions", cautions))


def _urgency(tool: Forecast) -> float:
    line = tool[2]
    if line is None or line.change_by_count is None:
        return float("inf")
    return line.change_by_count - line.last_count


def _row(name: str, pieces: int, line: WearLine | None) -> Row:
    if line is None:
        return name or "(all)", str(pieces)
    slopes = (f"{100 * slope:.4g}" for slope in (line.slope, *line.slope_interval))
    limit = "-" if line.limit is None else f"{line.limit:g}"
    crossing = "-" if line.line_crossing is None else f"{line.line_crossing[0]:.0f}"
    change = "-" if line.change_by_count is None else str(line.change_by_count)
    return name or "(all)", str(pieces), *slopes, limit, crossing, change


def _sentence(tool: Forecast) -> str:
    name, _, line, change_by_date, warnings = tool
    name = name or "The tool"
    if line is None or line.change_by_count is None:
        return f"{name}: no change to plan by count ({warnings[0]})" if warnings else f"{name}: no limit"
    left = line.change_by_count - line.last_count
    if left < 0:
        return f"{name}: change now; it was due at count {line.change_by_count}"
    when = f", about {change_by_date:%Y-%m-%d}" if change_by_date else ""
    return f"{name}: change by count {line.change_by_count} ({left:.0f} left{when})"
