"""The three moments: end-of-day upload, morning board, monthly report; and the demo that shows them."""

from __future__ import annotations

import re
import shlex
import sys
from collections.abc import Iterable, Sequence
from datetime import timedelta
from pathlib import Path
from typing import Annotated

import typer

from qc.cli.common import (
    DATA_AT_FAULT,
    AsOfOption,
    HandInOption,
    JsonOption,
    KnownOption,
    Progress,
    SinceOption,
    WorkshopOption,
    open_workshop,
    option,
    show,
)
from qc.errors import UsageError

_UPLOAD = re.compile(r"qc upload [^`\n]+? (--propose-mapping|--mapping FILE)")
"""A further upload that an answer names; `FILE` alone, in a rule for any sheet, stays as it is."""


def add_commands(app: typer.Typer) -> None:
    """Add demo, upload, import, status, month and board."""
    app.command("demo")(demo)
    app.command("upload")(upload)
    app.command("import")(bring_in)
    app.command("status")(status)
    app.command("month")(month)
    app.command("board")(board)


def demo(
    workshop: Annotated[
        Path, typer.Option("--workshop", metavar="DIR", help="Where the sample workshop is made.")
    ] = Path("workshop"),
    port: Annotated[int, typer.Option(help="Port of the board; 0 takes a free one.")] = 8050,
    no_serve: Annotated[bool, typer.Option("--no-serve", help="Stop before serving the board.")] = False,
    once: Annotated[bool, typer.Option("--once", help="Serve, fetch the first page once, and stop.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Make the sample workshop by the real upload, write last month's report, show stages, serve the board.

    A second run uses the workshop it finds.
    """
    from qc.jobs.demo import make_demo

    result = make_demo(workshop, progress=Progress())
    show(result, as_json=as_json)
    if not no_serve:
        _serve(result.folder, "127.0.0.1", port, once=once, link=True)


def upload(
    files: Annotated[
        list[Path] | None,
        typer.Argument(metavar="FILE...", help="Sheets: csv or xlsx."),
    ] = None,
    folder: Annotated[
        Path | None, option("Take in the sheets that lie in this folder, those of a scheduled run.", "DIR")
    ] = None,
    then_archive: Annotated[
        bool, typer.Option("--then-archive", help="Move those that were stored into DIR/archive.")
    ] = False,
    workshop: WorkshopOption = None,
    who: Annotated[str, typer.Option(help="Code of the person who uploads.")] = "",
    mapping: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="What their headings mean, or where everything stands on them (a layout); remembered.",
            show_default=False,
        ),
    ] = None,
    propose_mapping: Annotated[
        bool,
        typer.Option("--propose-mapping", help="Print such a file to edit, and take nothing in."),
    ] = False,
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take in the day's bench sheets and answer with a receipt for each.

    Rows in doubt are held with every reason, the rest is accepted; the same sheet twice changes nothing.
    """
    if mapping is not None and propose_mapping:
        raise UsageError("Give --mapping or --propose-mapping, not both: one prints what the other takes.")
    if (folder is None) != bool(files):
        raise UsageError("Name the sheets, or with --folder the folder they lie in; one of the two.")
    if folder is None and then_archive:
        raise UsageError("--then-archive clears a folder: name it with --folder.")
    if folder is not None and (mapping is not None or propose_mapping):
        raise UsageError("A mapping is for sheets by name: hand those in first, then the folder.")
    from qc.jobs.ahead import start_reader

    start_reader()  # before the libraries below are loaded, which takes longer
    if folder is not None:
        return _upload_folder(folder, then_archive, workshop, who, as_of, as_json)
    files = files or []
    from qc.jobs.headings import propose_mapping as propose
    from qc.jobs.headings import read_mapping_file
    from qc.jobs.upload import read_files
    from qc.jobs.upload import upload as take_in

    def told(text: str) -> str:
        return _as_given(text, files, workshop)

    opened = open_workshop(workshop, as_of, writes=not propose_mapping)
    if propose_mapping:
        proposal = propose(opened, read_files(files))
        show(proposal, as_json=as_json, told=told)
        return _refused(map(told, proposal.refused))
    meant, layouts = read_mapping_file(mapping, opened) if mapping is not None else ((), ())
    receipt = take_in(
        opened, read_files(files), who=who, progress=Progress(), mappings=meant, layouts=layouts
    )
    show(receipt, as_json=as_json, told=told)
    _refused(map(told, receipt.refused))


def bring_in(
    paths: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE...", help="Csv or Parquet files with a reading a row, or folders of them."
        ),
    ],
    dates: Annotated[
        str,
        typer.Option(
            metavar="ORDER", help="How 10/11/2026 is meant: day-first or month-first.", show_default=False
        ),
    ] = "",
    again: Annotated[
        bool, typer.Option("--again", help="Check parts once more that are on record already.")
    ] = False,
    workshop: WorkshopOption = None,
    who: Annotated[str, typer.Option(help="Code of the person who brings them in.")] = "",
    as_of: HandInOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bring in years of readings from files of your own; the same command goes on where it was interrupted.

    Rows in doubt are held as in an upload. Everything is judged once at the end.
    """
    from qc.jobs.history import bring_in as take_in

    opened = open_workshop(workshop, as_of, writes=True)
    found = take_in(opened, paths, who=who, dates=dates, again=again, progress=Progress())
    show(found, as_json=as_json)


def _upload_folder(
    folder: Path,
    then_archive: bool,
    workshop: Path | None,
    who: str,
    as_of: HandInOption,
    as_json: bool,
) -> None:
    """Take in what lies in a folder."""
    from qc.jobs.inbox import upload_folder

    opened = open_workshop(workshop, as_of, writes=True)
    found = upload_folder(opened, folder, then_archive=then_archive, who=who, progress=Progress())
    show(found, as_json=as_json)
    _refused(found.receipt.refused)


def _as_given(text: str, files: Sequence[Path], workshop: Path | None) -> str:
    """Let the uploads that a text names run as they stand: with the paths and the workshop given here."""
    from qc.words import command_words, kept_name

    paths = {kept_name(path.name): kept_name(str(path)) for path in files}
    ending = () if workshop is None else ("--workshop", str(workshop))

    def given(found: re.Match[str]) -> str:
        words = (paths.get(word, word) for word in shlex.split(found[0])[1:])
        return command_words(*words, *ending)

    return _UPLOAD.sub(given, text)


def _refused(sentences: Iterable[str]) -> None:
    """Say why files were refused, and end so."""
    said = list(sentences)
    for sentence in said:
        typer.echo(f"qc: {sentence}", err=True)
    if said:
        raise typer.Exit(DATA_AT_FAULT)


def status(
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    known: KnownOption = None,
    since: SinceOption = None,
    group: Annotated[
        Path | None,
        typer.Option("--group", metavar="DIR", help="All workshops whose folders lie in DIR, worst first."),
    ] = None,
    compare: Annotated[
        str,
        option("With --group: compare this figure between the workshops, as slide/clearance.", "FIGURE"),
    ] = "",
    model: Annotated[str, option("With --compare: this model alone.", "MODEL")] = "",
    as_json: JsonOption = False,
) -> None:
    """Show every series, worst first: whether it has moved, and whether it keeps its limits."""
    if (compare and group is None) or (model and not compare):
        raise UsageError("--compare goes with --group, and --model with --compare.")
    if group is not None:
        if workshop is not None or known is not None or since is not None:
            raise UsageError(
                "--group asks each workshop as it stands: leave out --workshop, --known, --since."
            )
        from qc.jobs.shops import compare_shops, status_of_shops

        if compare:
            show(compare_shops(group, compare, model=model, as_of=as_of), as_json=as_json)
            return
        together = status_of_shops(group, as_of=as_of)
        show(together, as_json=as_json)
        if together.faults:
            raise typer.Exit(DATA_AT_FAULT)
        return
    from qc.jobs.status import status as stages

    show(stages(open_workshop(workshop, as_of, known=known), since=since), as_json=as_json)


def month(
    which: Annotated[
        str | None,
        typer.Argument(metavar="YYYY-MM", help="The month to report on; else the last whole one."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder to write to; else reports/YYYY-MM.")
    ] = None,
    close: Annotated[
        bool,
        typer.Option("--close", help="Write it for good: later runs return these files. Needs --who."),
    ] = False,
    who: Annotated[str, typer.Option(help="Code of the quality lead who closes the month.")] = "",
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
    known: KnownOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the month's report: two pages first, then a panel for each series."""
    from qc.jobs.monthly import close_month
    from qc.jobs.monthly import month as write

    if close and which is None:
        raise UsageError("Closing is for good: name the month, as in `qc month 2026-10 --close --who LEAD`.")
    opened = open_workshop(workshop, as_of, known=known, writes=close)
    which = which or f"{opened.today.replace(day=1) - timedelta(days=1):%Y-%m}"
    if close:
        show(close_month(opened, which, who=who, out=out, progress=Progress()), as_json=as_json)
    else:
        show(write(opened, which, out=out, progress=Progress()), as_json=as_json)


def board(
    host: Annotated[
        str, typer.Option(help="Address to listen on; only this machine's own, or any with --lan.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port; 0 takes a free one.")] = 8050,
    lan: Annotated[
        bool, typer.Option("--lan", help="Open it to the shop's network, by TLS; takes a list of people.")
    ] = False,
    cert: Annotated[Path | None, option("With --lan: the certificate, PEM.", "FILE")] = None,
    key: Annotated[Path | None, option("With --lan: its key, PEM.", "FILE")] = None,
    name: Annotated[
        list[str] | None, option("A further name under which others reach it; may be given again.", "NAME")
    ] = None,
    behind_proxy: Annotated[
        str | None,
        option("A proxy on this machine speaks TLS under this name, and says for whom it asks.", "NAME"),
    ] = None,
    group: Annotated[
        Path | None,
        option("A page for the lead over all workshops whose folders lie in DIR, worst first.", "DIR"),
    ] = None,
    workshop: WorkshopOption = None,
    as_of: AsOfOption = None,
) -> None:
    """Serve the board until stopped; prints its address once it listens."""
    door = _door(lan, cert, key, name or [], behind_proxy or "")
    if group is not None:
        door += ["--group", str(group)]
    opened = open_workshop(workshop, as_of)
    if lan and host == "127.0.0.1":
        host = "0.0.0.0"  # every address of this machine
    _serve(opened.folder, host, port, as_of=as_of, door=door)


def _door(lan: bool, cert: Path | None, key: Path | None, names: Sequence[str], proxy: str) -> list[str]:
    """Return how the board is reached from elsewhere, as words for its process."""
    if lan and proxy:
        raise UsageError("Give --lan or --behind-proxy, not both: one speaks TLS itself, the other does not.")
    if lan and (cert is None or key is None):
        raise UsageError(
            "On the network the board speaks TLS only: name the certificate with --cert and its key with "
            "--key. How to make them: docs/how-to/put-the-board-on-the-shops-network.md"
        )
    if (cert or key) and not lan:
        raise UsageError(
            "--cert and --key go with --lan: on this machine alone nothing travels that others read."
        )
    words = ["--lan", "--cert", str(cert), "--key", str(key)] if lan else []
    words += [word for one in names for word in ("--name", one)]
    return words + (["--behind-proxy", proxy] if proxy else [])


def _serve(
    folder: Path,
    host: str,
    port: int,
    *,
    once: bool = False,
    as_of: AsOfOption = None,
    door: Sequence[str] = (),
    link: bool = False,
) -> None:
    from qc.jobs.board import fetch_once, serve

    def ready(address: str) -> None:
        typer.echo(address)
        # whoever started the board through a pipe waits for this line
        sys.stdout.flush()
        if once:
            fetch_once(address)

    def tell(address: str) -> None:
        typer.echo(f"Signs you in as the lead of the plan, once: {address}")
        sys.stdout.flush()

    serve(
        folder,
        host=host,
        port=port,
        on_ready=ready,
        as_of=as_of,
        once=once,
        door=door,
        on_link=tell if link else None,
    )
