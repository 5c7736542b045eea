"""Single rows: held ones seen, put right and taken along; accepted ones corrected or taken back."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated

import typer

from qc.cli.common import (
    DATA_AT_FAULT,
    AsOfOption,
    HandInOption,
    JsonOption,
    WorkshopOption,
    open_workshop,
    show,
)

MOST_ROWS = 10_000
"""Held rows settled at once; chosen: far more than any batch leaves, and they wait in one transaction."""

_NUMBER = re.compile(r"[0-9]{1,9}")

held = typer.Typer(
    help="Rows that could not be accepted: see them, mend them, export them.", no_args_is_help=True
)


def add_commands(app: typer.Typer) -> None:
    """Add the held rows."""
    app.add_typer(held, name="held", rich_help_panel=None)
    app.command("correct")(correct)


@held.command("list")
def list_rows(
    sheet: Annotated[str, typer.Option(help="Only this sheet and its rows: its file name or number.")] = "",
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the held rows with every reason and the proposed mend, and the sheets that wait for a layout."""
    from qc.jobs.rows import list_held

    show(list_held(open_workshop(workshop, as_of), sheet=sheet), as_json=as_json)


@held.command("mend")
def mend_row(
    rows: Annotated[
        list[str],
        typer.Argument(metavar="ROW...", help="Numbers of held rows, from `qc held list`: 7, or 2-21."),
    ],
    change: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="COLUMN=VALUE",
            help="What to write instead; may be repeated. COLUMN as on the card (date, serial, model, "
            "person, gauge, tool, batch, leg, station, spot ...); the figure is value.",
        ),
    ] = None,
    accept: Annotated[bool, typer.Option("--accept", help="Take the proposed mend.")] = False,
    as_typed: Annotated[
        bool, typer.Option("--as-typed", help="Accept the row as it was typed: it was right after all.")
    ] = False,
    drop: Annotated[
        bool, typer.Option("--drop", help="Set the row aside for good; it stays on record.")
    ] = False,
    who: Annotated[str, typer.Option(help="Code of the person who decides.")] = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put held rows right: by the proposal, by hand, as typed, or not at all."""
    from qc.jobs.rows import Decision, mend_rows

    changes = _changes(change)
    if sum((accept, as_typed, drop, bool(changes))) != 1:
        raise typer.BadParameter("choose one of --accept, --as-typed, --drop or --set COLUMN=VALUE")
    decision = Decision("proposal" if accept else "as-typed" if as_typed else "drop" if drop else "by-hand")
    numbers = [number for text in rows for number in _numbers(text)]
    result = mend_rows(open_workshop(workshop, as_of, writes=True), numbers, decision, changes, who=who)
    show(result, as_json=as_json)
    if any(row.state == "held" for row in result.rows):
        raise typer.Exit(DATA_AT_FAULT)


@held.command("undo")
def undo_rows(
    rows: Annotated[
        list[str], typer.Argument(metavar="ROW...", help="Numbers the rows had while they were held.")
    ],
    who: Annotated[str, typer.Option(help="Code of the person who takes it back.")] = "",
    why: Annotated[str, typer.Option(help="Why the decision was wrong.")] = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take back what was decided about held rows: they wait again, and what came of them counts no more."""
    from qc.jobs.rows import undo_decisions

    numbers = [number for text in rows for number in _numbers(text)]
    show(
        undo_decisions(open_workshop(workshop, as_of, writes=True), numbers, who=who, why=why),
        as_json=as_json,
    )


def correct(
    reading: Annotated[
        list[str],
        typer.Argument(
            metavar="READING...",
            help="Number of the reading, or its piece with what tells it from the others: 4711, or "
            "R1001/gap/upper leg; several are changed alike, all or none. A serial alone, without --set or "
            "--withdraw, lists the piece's readings.",
        ),
    ],
    change: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="COLUMN=VALUE", help="What it should say; may be repeated."),
    ] = None,
    withdraw: Annotated[
        bool, typer.Option("--withdraw", help="Take the reading back: it stays on record and counts no more.")
    ] = False,
    as_typed: Annotated[
        bool, typer.Option("--as-typed", help="It is really so: answer the doubts about it.")
    ] = False,
    who: Annotated[str, typer.Option(help="Code of the person who corrects it.")] = "",
    why: Annotated[str, typer.Option(help="Why; it is kept with the correction.")] = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put accepted readings right, or take them back; what they touched is judged anew at once."""
    from qc.jobs.pieces import with_hold
    from qc.jobs.rows import (
        correct_reading,
        correct_readings,
        readings_of,
        withdraw_reading,
        withdraw_readings,
    )

    changes = _changes(change)
    if changes and withdraw:
        raise typer.BadParameter("choose one of --set COLUMN=VALUE or --withdraw")
    place = open_workshop(workshop, as_of, writes=bool(changes or withdraw))
    first, *more = reading
    if withdraw and more:
        show(with_hold(place, withdraw_readings(place, reading, who=who, why=why)), as_json=as_json)
    elif withdraw:
        show(with_hold(place, withdraw_reading(place, first, who=who, why=why)), as_json=as_json)
    elif changes and more:
        together = correct_readings(place, reading, changes, who=who, why=why, as_typed=as_typed)
        show(with_hold(place, together), as_json=as_json)
    elif changes:
        done = correct_reading(place, first, changes, who=who, why=why, as_typed=as_typed)
        show(with_hold(place, done), as_json=as_json)
    elif who or why or as_typed:
        raise typer.BadParameter("say what it should be: --set COLUMN=VALUE, or --withdraw")
    elif more:
        raise typer.BadParameter("name one piece to see its readings; several are put right with --set")
    else:
        show(readings_of(place, first), as_json=as_json)


def _changes(given: list[str] | None) -> dict[str, str]:
    pairs = [item.partition("=") for item in given or []]
    wrong = [name for name, sign, _ in pairs if not sign]
    if wrong:
        raise typer.BadParameter(f"--set takes COLUMN=VALUE, not '{wrong[0]}'")
    return {name.strip(): value.strip() for name, _, value in pairs}


def _numbers(text: str) -> range:
    first, dash, last = text.partition("-")
    if not _NUMBER.fullmatch(first) or (dash and not _NUMBER.fullmatch(last)):
        raise typer.BadParameter(f"'{text}' is no row number. Write 7, or 2-21 for a run of rows.")
    begin, end = int(first), int(last if dash else first)
    if end < begin:
        raise typer.BadParameter(f"'{text}' runs backwards. Write {end}-{begin}.")
    if end - begin >= MOST_ROWS:
        raise typer.BadParameter(f"'{text}' names more than {MOST_ROWS} rows. Settle them in parts.")
    return range(begin, end + 1)


@held.command("read")
def read_sheets(
    sheet: Annotated[
        str,
        typer.Argument(metavar="[SHEET]", help="File name of one, or the beginning of its hash; else all."),
    ] = "",
    mapping: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Where everything stands on it (a layout); remembered."),
    ] = None,
    who: Annotated[str, typer.Option(help="Code of the person who has it read.")] = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Read sheets that wait for their layout: with a layout, or once more after the plan was changed."""
    from qc.jobs.headings import read_mapping_file
    from qc.jobs.shown import read_waiting

    opened = open_workshop(workshop, as_of, writes=True)
    meant, layouts = read_mapping_file(mapping, opened) if mapping is not None else ((), ())
    found = read_waiting(opened, sheet, who=who, mappings=meant, layouts=layouts)
    show(found, as_json=as_json)
    for sentence in found.refused:
        typer.echo(f"qc: {sentence}", err=True)
    if found.refused:
        raise typer.Exit(DATA_AT_FAULT)


@held.command("put-away")
def put_away(
    sheet: Annotated[
        str, typer.Argument(metavar="SHEET", help="Its file name, or the beginning of its hash.")
    ],
    why: Annotated[str, typer.Option(help="Why it is not read; it is kept with it.")] = "",
    who: Annotated[str, typer.Option(help="Code of the person who decides.")] = "",
    workshop: WorkshopOption = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put away a sheet that waits for its layout: it stays on record, and is asked about no more."""
    from qc.jobs.rows import put_sheet_away

    show(
        put_sheet_away(open_workshop(workshop, as_of, writes=True), sheet, who=who, why=why), as_json=as_json
    )


@held.command("export")
def export_rows(
    out: Annotated[Path, typer.Argument(metavar="FILE", help="csv file to write.")],
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the held rows to a csv file for the person who typed them."""
    from qc.jobs.rows import export_held

    show(export_held(open_workshop(workshop, as_of), out), as_json=as_json)
