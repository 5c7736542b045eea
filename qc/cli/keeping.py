"""Starting a workshop, its plan, and the proof that nothing was lost or altered."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from qc.cli.common import (
    DATA_AT_FAULT,
    AsOfOption,
    HandInOption,
    JsonOption,
    WorkshopOption,
    open_workshop,
    option,
    show,
)

plan = typer.Typer(help="The measuring plan: check it, show it.", no_args_is_help=True)


def add_commands(app: typer.Typer) -> None:
    """Add new, plan, verify, backup, restore and export."""
    app.command("new")(new)
    app.add_typer(plan, name="plan")
    app.command("verify")(verify)
    app.command("backup")(backup)
    app.command("restore")(restore)
    app.command("export")(export)


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to make; must be new or empty.")],
    sheets: Annotated[
        list[Path] | None,
        typer.Option(
            "--from",
            metavar="SHEET",
            help="Sheet as the bench fills it in, or a folder of them, to propose the plan from; repeatable.",
        ),
    ] = None,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make an empty workshop with a commented plan to edit, or with --from one proposed from your sheets.

    With --as-of it is founded on that day.
    """
    from qc.jobs.new import new_workshop, sheets_in

    show(new_workshop(folder, sheets=sheets_in(sheets or ()), as_of=as_of), as_json=as_json)


@plan.command("check")
def check(
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="Plan file; else the workshop's.")
    ] = None,
    workshop: WorkshopOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say everything that is wrong in a plan, with line, field and what to write instead."""
    from qc.jobs.plans import check_plan

    result = check_plan(file, workshop)
    show(result, as_json=as_json)
    if result.faults:
        raise typer.Exit(DATA_AT_FAULT)


@plan.command("show")
def show_plan(workshop: WorkshopOption = None, as_of: AsOfOption = None, as_json: JsonOption = False) -> None:
    """Print the plan: stages, characteristics, limits, gauges, and its dated versions."""
    from qc.jobs.plans import describe_plan

    show(describe_plan(open_workshop(workshop, as_of)), as_json=as_json)


def verify(
    against: Annotated[
        str | None,
        option("A hash noted earlier (12 to 64 digits): it must still be in the chain.", "HASH"),
    ] = None,
    workshop: WorkshopOption = None,
    as_json: JsonOption = False,
) -> None:
    """Check that no entry, row or sheet was lost or altered since it was accepted."""
    from qc.jobs.verify import verify_workshop

    result = verify_workshop(workshop, against=against)
    show(result, as_json=as_json)
    if result.faults:
        raise typer.Exit(DATA_AT_FAULT)


def backup(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Where backups lie; best on another disk.")],
    workshop: WorkshopOption = None,
    as_json: JsonOption = False,
) -> None:
    """Copy the whole workshop into a dated folder of DIR and prove the copy; others may work meanwhile."""
    from qc.jobs.backup import backup as back_up

    result = back_up(open_workshop(workshop, None), folder)
    show(result, as_json=as_json)
    if result.faults:
        raise typer.Exit(DATA_AT_FAULT)


def restore(
    source: Annotated[Path, typer.Argument(metavar="BACKUP", help="The dated folder of a backup.")],
    folder: Annotated[Path, typer.Argument(metavar="NEW_DIR", help="Folder to make; must be new or empty.")],
    into: Annotated[
        str,
        typer.Option(
            "--into",
            metavar="URL",
            help="Empty PostgreSQL database that takes the rows, postgresql://user@host/name; NEW_DIR "
            "holds the rest and names it.",
        ),
    ] = "",
    as_json: JsonOption = False,
) -> None:
    """Bring a backup back into an empty folder, proven before it stands there."""
    from qc.jobs.backup import restore as bring_back

    show(bring_back(source, folder, into=into), as_json=as_json)


def export(
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for the tables; made where missing.")],
    form: Annotated[
        Literal["parquet", "csv", "xlsx"],
        typer.Option("--format", help="A file for each table, or one workbook (xlsx)."),
    ] = "parquet",
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write readings, pieces, signals, limits and plan as tidy tables, with a data dictionary."""
    from qc.jobs.export import ExportFormat, export_tables

    opened = open_workshop(workshop, as_of)
    show(export_tables(opened, out, ExportFormat(form), whole=as_of is None), as_json=as_json)
