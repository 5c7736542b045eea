"""`qc study`: the statistics on any table."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from qc.cli.common import JsonOption, show

CHARTS = """individuals, mean-range, mean-sd, three-way, ewma, cusum, self-starting, changepoint, trend, t2,
mewma, defects, defects-per-unit, number-defective, proportion or time-between."""
LIMITS = "textbook, prediction or guaranteed[:CONFIDENCE]."
FITTED = "Capability by normal, lognormal, weibull, half-normal or empirical."


def _column(text: str) -> Any:
    """Make an option that takes a column."""
    return typer.Option(metavar="COLUMN", help=text, show_default=False)


def _number(text: str) -> Any:
    """Make an option that takes a number."""
    return typer.Option(metavar="NUMBER", help=text, show_default=False)


def _kind(text: str, metavar: str = "KIND") -> Any:
    """Make an option that takes one of a few words, or a file."""
    return typer.Option(metavar=metavar, help=text, show_default=False)


def _flag(name: str, text: str) -> Any:
    """Make an option that is there or not."""
    return typer.Option(name, help=text)


def add_study_command(app: typer.Typer) -> None:
    """Add `study`."""
    app.command("study")(study)


def study(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="csv, parquet or xlsx.")],
    value: Annotated[str, typer.Option(metavar="COLUMN", help="Column of the readings; a,b,c for t2.")],
    chart: Annotated[str, typer.Option(metavar="KIND", help=CHARTS)] = "individuals",
    subgroup: Annotated[str | None, _column("Subgroup (or piece) of a reading.")] = None,
    series: Annotated[str | None, _column("Series a reading belongs to: one chart each.")] = None,
    order: Annotated[str | None, _column("Order of making; else the order of the rows.")] = None,
    size: Annotated[str | None, _column("Number inspected: a column, or one number.")] = None,
    against: Annotated[str | None, _column("Count that a trend, or wear, runs against.")] = None,
    tool: Annotated[str | None, _column("Tool fitted then: each wears anew (changepoint).")] = None,
    place: Annotated[str | None, _column("Place on the piece; its fixed pattern is taken out.")] = None,
    nominal: Annotated[str | None, _column("Target of each piece; deviations are charted.")] = None,
    model: Annotated[str | None, _column("Model; models share a chart if they agree.")] = None,
    baseline: Annotated[str, typer.Option(help="Points that set the limits: all, N or A:B.")] = "all",
    center: Annotated[float | None, _number("Centre, given instead of estimated.")] = None,
    sigma: Annotated[float | None, _number("Sigma of one reading, given instead of estimated.")] = None,
    lower: Annotated[float | None, _number("Lower specification limit.")] = None,
    upper: Annotated[float | None, _number("Upper specification limit.")] = None,
    target: Annotated[float | None, _number("Wanted value.")] = None,
    wanted: Annotated[float, typer.Option(help="Ppk that counts as proven.")] = 1.0,
    resolution: Annotated[float | None, _number("Step of the gauge.")] = None,
    rules: Annotated[str, typer.Option(help="none, limit, all, or rule names with commas.")] = "limit",
    limits: Annotated[str, typer.Option(help=LIMITS)] = "textbook",
    shape: Annotated[str, typer.Option(help="How readings scatter: normal, positive or any.")] = "normal",
    fitted: Annotated[str | None, _kind(FITTED, "SHAPE")] = None,
    gauge_sd: Annotated[float | None, _number("Sd of the gauge: its share, capability without it.")] = None,
    weight: Annotated[float | None, _number("Weight of the newest point (ewma, mewma).")] = None,
    width: Annotated[float | None, _number("Width of the limits in sigma (ewma).")] = None,
    time_varying: Annotated[bool, typer.Option("--time-varying", help="Limits that open up (ewma).")] = False,
    reference: Annotated[float | None, _number("Reference value in sigma (cusum).")] = None,
    decision: Annotated[float | None, _number("Decision interval in sigma (cusum).")] = None,
    fast_start: Annotated[bool, typer.Option("--fast-start", help="Begin half way up (cusum).")] = False,
    false_alarm_rate: Annotated[float | None, _number("Per point (changepoint, t2, mewma).")] = None,
    counts: Annotated[str | None, _kind("defects or pass-fail: judge counts (changepoint).")] = None,
    exact: Annotated[bool, typer.Option("--exact", help="Exact limits for counts.")] = False,
    corrected: Annotated[bool, _flag("--corrected", "Limits for counts that scatter too much.")] = False,
    robust: Annotated[bool, typer.Option("--robust", help="Medians instead of means.")] = False,
    within: Annotated[
        str | None, _kind("Spread within pieces (three-way): range (if left out) or sd.")
    ] = None,
    screen: Annotated[bool, typer.Option("--screen", help="Limits without points beyond them.")] = False,
    checks: Annotated[
        bool, _flag("--checks", "Check distribution, order, groups and gauge step too.")
    ] = False,
    sheet: Annotated[str | None, typer.Option(help="Sheet of a workbook.", show_default=False)] = None,
    signals_only: Annotated[bool, _flag("--signals-only", "Leave the plotted values out.")] = False,
    out: Annotated[Path | None, _kind("Write points and signals.", "FILE.parquet")] = None,
    plot: Annotated[Path | None, _kind("Draw as png, svg or html.", "FILE")] = None,
    as_json: JsonOption = False,
) -> None:
    """Chart, signals and capability of any table of readings."""
    options = {name: given for name, given in locals().items() if name not in ("file", "as_json")}
    from qc.jobs.questions import study as answer

    result = answer(file, options.pop("value"), options.pop("chart"), **options)
    show(result, as_json=as_json)
