"""Remedies: what to do to which instrument, tube, tool or booth."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from qc.cli.common import AsOfOption, JsonOption, WorkshopOption, show

PlotOption = Annotated[
    Path | None,
    typer.Option("--plot", metavar="FILE", help="Draw it as png, svg or pdf.", show_default=False),
]


def _number(words: str) -> Any:
    return typer.Option(metavar="X", help=words, show_default=False)


def _text(words: str) -> Any:
    return typer.Option(metavar="NAME", help=words, show_default=False)


def _path(words: str) -> Any:
    return typer.Option(metavar="FILE", help=words, show_default=False)


def add_remedy_commands(app: typer.Typer) -> None:
    """Add tune, pair, wear and coat."""
    app.command("tune")(tune)
    app.command("pair")(pair)
    app.command("wear")(wear)
    app.command("coat")(coat)


def tune(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="Note set, csv or xlsx.", show_default=False)
    ] = None,
    serial: Annotated[str | None, _text("Take the notes of this piece from the workshop.")] = None,
    model: Annotated[str | None, _text("Model of the plan.")] = None,
    plan: Annotated[Path | None, _path("Plan file; else the workshop's.")] = None,
    length_mm: Annotated[float | None, _number("Effective length of the open instrument.")] = None,
    valve: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME=ADDED_MM", help="A valve and the tube it adds; repeat for more.", show_default=False
        ),
    ] = None,
    reading_sd: Annotated[float | None, _number("Known spread of one reading, in cents.")] = None,
    sitting_sd: Annotated[float | None, _number("Known day-to-day spread of a player, in cents.")] = None,
    reference_air_c: Annotated[float | None, _number("Temperature the workshop tunes for.")] = None,
    a4: Annotated[float | None, _number("Tuner's A4 in Hz, for a column hz or a recording.")] = None,
    reference: Annotated[Path | None, _path("Notes of the shared reference instrument.")] = None,
    before: Annotated[Path | None, _path("Notes before the last change; with --changed.")] = None,
    changed: Annotated[str | None, _text("What was changed: main=-6 or F=-16, mm of tube.")] = None,
    wav: Annotated[Path | None, _path("Recording of the card's notes in order.")] = None,
    plot: PlotOption = None,
    workshop: WorkshopOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say how much to cut, where and in what order, from a note set."""
    from qc.jobs.remedies import tune_from

    result = tune_from(
        file,
        serial=serial,
        workshop=workshop,
        model=model,
        plan=plan,
        length_mm=length_mm,
        valves=valve or [],
        reading_sd=reading_sd,
        sitting_sd=sitting_sd,
        reference_air_c=reference_air_c,
        a4_hz=a4,
        reference=reference,
        before=before,
        changed=changed,
        wav=wav,
    )
    _draw_and_show(result, plot, as_json)


def pair(
    inner: Annotated[Path | None, _path("Inner tubes: tube, station, direction, od_mm.")] = None,
    outer: Annotated[Path | None, _path("Outer tubes: tube, station, direction, id_mm.")] = None,
    target_um: Annotated[float | None, _number("Diametral clearance wanted.")] = None,
    lower_um: Annotated[float | None, _number("Least clearance allowed.")] = None,
    upper_um: Annotated[float | None, _number("Greatest clearance allowed.")] = None,
    cost: Annotated[
        str,
        typer.Option(
            help="mean-squares, mean-absolute, leg-squares, station-squares, least-squares; else as planned.",
            show_default=False,
        ),
    ] = "",
    lock: Annotated[
        list[str] | None,
        typer.Option(
            metavar="INNER=OUTER", help="Two tubes that stay together; repeat for more.", show_default=False
        ),
    ] = None,
    plot: PlotOption = None,
    workshop: WorkshopOption = None,
    as_json: JsonOption = False,
) -> None:
    """Propose which inner tube of the rack goes into which outer."""
    from qc.jobs.remedies import pair_from

    result = pair_from(
        inner,
        outer,
        workshop=workshop,
        target_um=target_um,
        lower_um=lower_um,
        upper_um=upper_um,
        cost=cost,
        lock=lock or [],
    )
    _draw_and_show(result, plot, as_json)


def wear(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="One row a piece, csv or xlsx.", show_default=False)
    ] = None,
    value: Annotated[str | None, _text("Column (or the workshop's characteristic) that wears.")] = None,
    against: Annotated[str | None, _text("Column of the count since the tool was fitted.")] = None,
    tool: Annotated[str | None, _text("Column of the tool's name.")] = None,
    lower: Annotated[float | None, _number("Lower limit.")] = None,
    upper: Annotated[float | None, _number("Upper limit.")] = None,
    per_week: Annotated[float | None, _number("Draws a week, for a date.")] = None,
    as_of: AsOfOption = None,
    plot: PlotOption = None,
    workshop: WorkshopOption = None,
    as_json: JsonOption = False,
) -> None:
    """Forecast when a die or mandrel has to be changed."""
    from qc.jobs.remedies import wear_from

    result = wear_from(
        file,
        workshop=workshop,
        value=value,
        against=against,
        tool=tool,
        lower=lower,
        upper=upper,
        per_week=per_week,
        as_of=as_of,
    )
    _draw_and_show(result, plot, as_json)


def coat(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="area, spot, um; csv or xlsx.", show_default=False)
    ] = None,
    serial: Annotated[str | None, _text("Take the spots of this piece from the workshop.")] = None,
    nominal: Annotated[float | None, _number("Nominal thickness in um.")] = None,
    lower: Annotated[float | None, _number("Lower limit in um.")] = None,
    upper: Annotated[float | None, _number("Upper limit in um.")] = None,
    wet_um: Annotated[float | None, _number("Wet film, with --solids.")] = None,
    solids: Annotated[float | None, _number("Share of solids by volume, 0 to 1.")] = None,
    wall_mm: Annotated[float | None, _number("Wall under the coat, to check the probe.")] = None,
    probe_mhz: Annotated[float, typer.Option(metavar="X", help="Frequency of the probe.")] = 2.0,
    plot: PlotOption = None,
    workshop: WorkshopOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge lacquer by area, by the house rule, and at its lower limit."""
    from qc.jobs.remedies import coat_from

    result = coat_from(
        file,
        serial=serial,
        workshop=workshop,
        nominal_um=nominal,
        lower_um=lower,
        upper_um=upper,
        wet_um=wet_um,
        solids=solids,
        wall_mm=wall_mm,
        probe_mhz=probe_mhz,
    )
    _draw_and_show(result, plot, as_json)


def _draw_and_show(result: Any, plot: Path | None, as_json: bool) -> None:
    if plot is not None:
        from qc.jobs.remedies import draw_remedy

        draw_remedy(result, plot)
    show(result, as_json=as_json)
