"""`qc factors`: chart constants and limit factors."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from qc.cli.common import JsonOption, option, show
from qc.errors import UsageError
from qc.plain import Arguments


def add_factors_command(app: typer.Typer) -> None:
    """Add `factors`."""
    app.command("factors")(factors)


def factors(
    numbers: Annotated[
        list[int],
        typer.Argument(metavar="N...", help="Readings in a sample (2 to 100); or pieces, with --tolerance."),
    ],
    tolerance: Annotated[
        bool, typer.Option("--tolerance", help="Tolerance, prediction and guaranteed factors for N pieces.")
    ] = False,
    content: Annotated[float | None, option("Share to be held (--tolerance); else that of 3 sigma.")] = None,
    confidence: Annotated[float | None, option("Confidence of the promise (--tolerance); else 0.9.")] = None,
    one_sided: Annotated[bool, typer.Option("--one-sided", help="One limit (--tolerance).")] = False,
    known: Annotated[str | None, option("center or sigma is known (--tolerance).", "WHAT")] = None,
    df: Annotated[
        float | None, option("Degrees of freedom of the sd (--tolerance); else pieces - 1.")
    ] = None,
    future: Annotated[int | None, option("Further pieces whose mean is predicted (--tolerance).")] = None,
    k: Annotated[float | None, option("Factor whose own confidence is asked (--tolerance); else 3.")] = None,
    figures: Annotated[int | None, option("Limits of T2 for so many figures, N points.")] = None,
    false_alarm_rate: Annotated[float | None, option("Per point (--tolerance, --figures).")] = None,
    as_json: JsonOption = False,
) -> None:
    """Chart constants for samples of N; or how far limits from N pieces must stand off the mean."""
    asked = {"content": content, "confidence": confidence, "known": known, "df": df, "future": future, "k": k}
    given: Arguments = {name: option for name, option in asked.items() if option is not None}
    if one_sided:
        given["sides"] = 1

    result = _ask(numbers, tolerance, given, figures, false_alarm_rate)
    show(result, as_json=as_json)


def _ask(
    numbers: list[int], tolerance: bool, given: Arguments, figures: int | None, rate: float | None
) -> Any:
    """Choose the job: chart constants, limit factors or limits of T2."""
    from qc.jobs.questions import chart_factors, limit_factors, t2_limits

    if tolerance and figures is not None:
        raise UsageError("--tolerance and --figures are two questions: ask one of them")
    if not tolerance and given:
        name = "one-sided" if "sides" in given else next(iter(given))
        raise UsageError(f"--{name} goes with --tolerance only")
    if tolerance:
        return limit_factors(numbers, rate=rate, **given)
    if figures is not None:
        return t2_limits(numbers, figures, **({} if rate is None else {"rate": rate}))
    if rate is not None:
        raise UsageError("--false-alarm-rate goes with --tolerance or --figures only")
    return chart_factors(numbers)
