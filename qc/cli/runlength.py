"""`qc run-length`: what a chart costs in false signals and how fast it finds a shift."""

from __future__ import annotations

from typing import Annotated

import typer

from qc.cli.common import JsonOption, option, show

KINDS = "limits, rules, ewma, cusum, mewma or estimated (limits estimated from a baseline)."


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
        float | None, option("Wanted points to a false signal: finds factor, width, decision or limit.")
    ] = None,
    shifts: Annotated[str, typer.Option(metavar="LIST", help="Shifts in sigma.")] = "0,0.5,1,1.5,2,3",
    factor: Annotated[float | None, option("Limits at this many sigma (limits, estimated); else 3.")] = None,
    n: Annotated[int | None, option("Readings in a plotted point (limits, estimated); else 1.")] = None,
    rules: Annotated[str | None, option("Rule names with commas (rules); else all.", "RULES")] = None,
    weight: Annotated[float | None, option("Weight of the newest point (ewma 0.2, mewma 0.1).")] = None,
    width: Annotated[float | None, option("Width of the limits in sigma (ewma); else 3.")] = None,
    start: Annotated[float | None, option("Where it starts, in sigma (ewma); else 0.")] = None,
    time_varying: Annotated[bool, typer.Option("--time-varying", help="Limits that open up (ewma).")] = False,
    reference: Annotated[float | None, option("Reference value in sigma (cusum); else 0.5.")] = None,
    decision: Annotated[float | None, option("Decision interval in sigma (cusum); else 5.")] = None,
    sides: Annotated[int | None, option("1 or 2 sums (cusum); else 2.")] = None,
    fast_start: Annotated[bool, typer.Option("--fast-start", help="Begin half way up (cusum).")] = False,
    figures: Annotated[int | None, option("Figures judged together (mewma).")] = None,
    limit: Annotated[float | None, option("Limit on the squared distance (mewma).")] = None,
    points: Annotated[int | None, option("Points that the limits rest on (estimated).")] = None,
    estimator: Annotated[
        str | None, option("sd, sd-unbiased, moving-range or range (estimated).", "NAME")
    ] = None,
    confidence: Annotated[
        float | None, option("Share of baselines that keep the wanted run length (estimated); else 0.9.")
    ] = None,
    under: Annotated[str | None, option("Run lengths whose chance is asked (estimated).", "LIST")] = None,
    spread: Annotated[float | None, option("True spread over the assumed one; else 1.")] = None,
    judged: Annotated[float | None, option("Points judged in all: false signals to expect.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Points until a chart's first signal, false or true, and the setting for a wanted run length."""
    options = {name: given for name, given in locals().items() if name not in ("kind", "shifts", "as_json")}
    options["under"] = None if under is None else _numbers(under)
    over = _numbers(shifts)
    from qc.jobs.questions import run_lengths

    result = run_lengths(kind, shifts=over, **options)
    show(result, as_json=as_json)
