"""`qc run-length`: what a chart costs in false signals and how fast it finds a shift."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from qc.cli.common import JsonOption, show

KINDS = "limits, rules, ewma, cusum, mewma or estimated (limits estimated from a baseline)."


def _number(text: str) -> Any:
    """Make an option that takes a number."""
    return typer.Option(metavar="NUMBER", help=text, show_default=False)


def _numbers(text: str) -> list[float]:
    """Read numbers with commas between."""
    try:
        return [float(part) for part in text.split(",")]
    except ValueError as error:
        raise typer.BadParameter(f"'{text}' is no list of numbers such as 0.5,1,2") from error


def add_run_length_command(app: typer.Typer) -> None:
    """Add `run-length`."""
    app.command("run-length")(run_length)


def run_length(
    kind: Annotated[str, typer.Argument(metavar="KIND", help=KINDS)],
    wanted: Annotated[
        float | None, _number("Wanted points to a false signal: finds factor, width, decision or limit.")
    ] = None,
    shifts: Annotated[str, typer.Option(metavar="LIST", help="Shifts in sigma.")] = "0,0.5,1,1.5,2,3",
    factor: Annotated[float | None, _number("Limits at this many sigma (limits, estimated); else 3.")] = None,
    n: Annotated[int | None, _number("Readings in a plotted point (limits, estimated); else 1.")] = None,
    rules: Annotated[
        str | None,
        typer.Option(metavar="RULES", help="Rule names with commas (rules); else all.", show_default=False),
    ] = None,
    weight: Annotated[float | None, _number("Weight of the newest point (ewma 0.2, mewma 0.1).")] = None,
    width: Annotated[float | None, _number("Width of the limits in sigma (ewma); else 3.")] = None,
    start: Annotated[float | None, _number("Where it starts, in sigma (ewma); else 0.")] = None,
    time_varying: Annotated[bool, typer.Option("--time-varying", help="Limits that open up (ewma).")] = False,
    reference: Annotated[float | None, _number("Reference value in sigma (cusum); else 0.5.")] = None,
    decision: Annotated[float | None, _number("Decision interval in sigma (cusum); else 5.")] = None,
    sides: Annotated[int | None, _number("1 or 2 sums (cusum); else 2.")] = None,
    fast_start: Annotated[bool, typer.Option("--fast-start", help="Begin half way up (cusum).")] = False,
    figures: Annotated[int | None, _number("Figures judged together (mewma).")] = None,
    limit: Annotated[float | None, _number("Limit on the squared distance (mewma).")] = None,
    points: Annotated[int | None, _number("Points that the limits rest on (estimated).")] = None,
    estimator: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="sd, sd-unbiased, moving-range or range (estimated).", show_default=False
        ),
    ] = None,
    confidence: Annotated[
        float | None, _number("Share of baselines that keep the wanted run length (estimated); else 0.9.")
    ] = None,
    under: Annotated[
        str | None,
        typer.Option(
            metavar="LIST", help="Run lengths whose chance is asked (estimated).", show_default=False
        ),
    ] = None,
    spread: Annotated[float | None, _number("True spread over the assumed one; else 1.")] = None,
    judged: Annotated[float | None, _number("Points judged in all: false signals to expect.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Points until a chart's first signal, false or true, and the setting for a wanted run length."""
    options = {name: given for name, given in locals().items() if name not in ("kind", "shifts", "as_json")}
    options["under"] = None if under is None else _numbers(under)
    over = _numbers(shifts)
    from qc.jobs.questions import run_lengths

    result = run_lengths(kind, shifts=over, **options)
    show(result, as_json=as_json)
