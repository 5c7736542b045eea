"""`qc study`: the statistics on any table."""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from functools import wraps
from pathlib import Path
from typing import Annotated, Any, get_args

import typer

from qc.cli.common import JsonOption, Progress, option, show


def add_study_command(app: typer.Typer) -> None:
    """Add `study`; its options are those that a study takes, each with what is known of it."""
    spelt_out = wraps(study)(lambda **words: study(**words))
    spelt_out.__dict__["__signature__"] = inspect.Signature(list(_parameters()))
    app.command("study")(spelt_out)


def study(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="csv, parquet, xlsx, or a folder of parquet.")],
    value: Annotated[str, typer.Option(metavar="COLUMN", help="Column of the readings; a,b,c for t2.")],
    chart: str = "individuals",
    *,
    workshop: Annotated[Path | None, option("Workshop whose plan gives limits and step.", "DIR")] = None,
    cluster: Annotated[str | None, option("Scheduler whose workers do the parts.", "ADDRESS")] = None,
    as_json: JsonOption = False,
    **options: Any,
) -> None:
    """Chart, signals and capability of any table of readings."""
    from qc.jobs.questions import study as answer

    found = answer(file, value, chart, workshop=workshop, cluster=cluster, progress=Progress(), **options)
    show(found, as_json=as_json)


def _parameters() -> Iterator[inspect.Parameter]:
    """Spell out the parameters of `study`, so that the command line can see them."""
    from qc.jobs.questions import CHART_KINDS, STUDY_OPTIONS, takers

    file, value, chart, workshop, cluster, as_json, _ = inspect.signature(
        study, eval_str=True
    ).parameters.values()
    *kinds, last = CHART_KINDS
    known = typer.Option(metavar="KIND", help=f"{', '.join(kinds)} or {last}.")
    yield from (file, value, chart.replace(annotation=Annotated[str, known]))
    for name, one in STUDY_OPTIONS.items():
        kind, names = one.type, []
        if Path in get_args(kind):
            kind = Path | None
        if kind is bool:  # a flag has no opposite
            names.append(f"--{name.replace('_', '-')}")
        said = one.meaning.format(charts=", ".join(takers(name)))
        found = typer.Option(*names, metavar=one.shown, help=said, show_default=one.default is not None)
        yield as_json.replace(name=name, default=one.default, annotation=Annotated[kind, found])
    yield workshop
    yield cluster
    yield as_json
