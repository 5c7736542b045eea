"""`qc average`, `qc uncertainty` and `qc fit`: figures that a workshop reckons now and then."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from qc.cli.common import JsonOption, option, show
from qc.errors import UsageError

LIMITS = "Two limit deviations from the nominal size, in micrometres, such as 0,18."


def add_figure_commands(app: typer.Typer) -> None:
    """Add `average`, `uncertainty` and `fit`."""
    for command in (average, uncertainty, fit):
        app.command(command.__name__)(command)


def average(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="csv, parquet or xlsx, one reading a row.")],
    value: Annotated[str, typer.Option(metavar="COLUMN", help="Column of the readings.")],
    lot: Annotated[
        str | None, option("What readings share: a lot, or the piece that was read several times.", "COLUMN")
    ] = None,
    series: Annotated[str | None, option("A series for each value of it.", "COLUMN")] = None,
    expected: Annotated[float | None, option("Mean to test against, both sides.")] = None,
    expected_sd: Annotated[float | None, option("Standard deviation to test against, both sides.")] = None,
    confidence: Annotated[float, typer.Option(help="Confidence of the intervals.")] = 0.95,
    sheet: Annotated[str | None, typer.Option(help="Sheet of a workbook.", show_default=False)] = None,
    as_json: JsonOption = False,
) -> None:
    """Give mean and standard deviation with intervals, and say whether they are what was expected."""
    from qc.jobs.questions import average as answer

    _check(confidence)
    result = answer(
        file,
        value,
        lot=lot,
        series=series,
        expected=expected,
        expected_sd=expected_sd,
        confidence=confidence,
        sheet=sheet,
    )
    show(result, as_json=as_json)


def uncertainty(
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="[FILE]", help="Table with columns cause, value and optionally kind, df, times."
        ),
    ] = None,
    cause: Annotated[
        list[str] | None,
        option(
            "A cause; KIND is standard, expanded (twice), rectangular, triangular, u-shaped or step.",
            "NAME=VALUE[,KIND[,DF[,TIMES]]]",
        ),
    ] = None,
    confidence: Annotated[float, typer.Option(help="Chance that the interval holds the true value.")] = 0.95,
    sheet: Annotated[str | None, typer.Option(help="Sheet of a workbook.", show_default=False)] = None,
    as_json: JsonOption = False,
) -> None:
    """Say how far a reading may lie from the true value: certificate, temperature, repeats, step."""
    from qc.jobs.questions import uncertainty as answer

    _check(confidence)
    show(answer(file, cause or (), confidence=confidence, sheet=sheet), as_json=as_json)


def fit(
    hole: Annotated[str, typer.Option(metavar="UM,UM", help=LIMITS)],
    shaft: Annotated[str, typer.Option(metavar="UM,UM", help="The same of the shaft, such as -17,-6.")],
    as_json: JsonOption = False,
) -> None:
    """Give the fit of a hole and a shaft from the limits of both (terms of ISO 286-1)."""
    from qc.jobs.questions import fit_of_limits

    show(fit_of_limits(_pair(hole, "--hole"), _pair(shaft, "--shaft")), as_json=as_json)


def _pair(text: str, name: str) -> tuple[float, float]:
    """Read two numbers with a comma between."""
    try:
        low, high = (float(cell.replace("\u2212", "-")) for cell in text.split(","))
    except ValueError as error:
        raise UsageError(f"{name} is '{text}': write two numbers such as -17,-6") from error
    return low, high


def _check(confidence: float) -> None:
    if not 0 < confidence < 1:
        raise UsageError(f"--confidence is {confidence:g}: it must lie between 0 and 1, such as 0.95")
