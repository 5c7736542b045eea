"""`qc gauge`: gauge studies."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from qc.cli.common import JsonOption, option, show
from qc.errors import UsageError
from qc.plain import Arguments


def add_gauge_command(app: typer.Typer) -> None:
    """Add `gauge`."""
    app.command("gauge")(gauge)


def gauge(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="csv, parquet or xlsx, one reading a row.")],
    value: Annotated[str, typer.Option(metavar="COLUMN", help="Column of the readings (or verdicts).")],
    part: Annotated[str | None, option("Part that was measured.", "COLUMN")] = None,
    person: Annotated[
        str | None, option("Person who measured; else a study by one person.", "COLUMN")
    ] = None,
    lower: Annotated[float | None, option("Lower specification limit.")] = None,
    upper: Annotated[float | None, option("Upper specification limit.")] = None,
    resolution: Annotated[float | None, option("Step of the gauge.")] = None,
    nested: Annotated[
        bool, typer.Option("--nested", help="Each person measured parts of their own.")
    ] = False,
    keep_interaction: Annotated[
        bool, typer.Option("--keep-interaction", help="Keep person x part even where no test shows it.")
    ] = False,
    by_hand: Annotated[
        bool, typer.Option("--by-hand", help="Also the figures by averages and ranges.")
    ] = False,
    reference: Annotated[str | None, option("True value: bias and linearity instead.", "COLUMN")] = None,
    day: Annotated[str | None, option("Day of each reading: the gauge over days instead.", "COLUMN")] = None,
    run: Annotated[str | None, option("Run of each reading, with --day: what runs add.", "COLUMN")] = None,
    check_standard: Annotated[
        bool, typer.Option("--check-standard", help="One standard, with --day: limits, days outside.")
    ] = False,
    factor: Annotated[
        float | None, option("Limits at so many sds, with --check-standard; 2 when left out.")
    ] = None,
    sd: Annotated[
        str | None, option("Sd of each average, with --day; --value holds averages.", "COLUMN")
    ] = None,
    repeats: Annotated[int | None, option("Readings behind each --sd.")] = None,
    agreement: Annotated[
        bool, typer.Option("--agreement", help="The readings are verdicts by eye: who agrees with whom.")
    ] = False,
    truth: Annotated[str | None, option("True verdict, with --agreement.", "COLUMN")] = None,
    bad: Annotated[str | None, option("Verdict on a bad piece, with --truth.", "WORD")] = None,
    confidence: Annotated[float, typer.Option(help="Confidence of the intervals.")] = 0.95,
    sheet: Annotated[str | None, typer.Option(help="Sheet of a workbook.", show_default=False)] = None,
    workshop: Annotated[Path | None, option("Workshop whose plan gives limits and step.", "DIR")] = None,
    as_json: JsonOption = False,
) -> None:
    """Say what a gauge and the people who use it add to a reading, and what the gauge is good for."""
    options = {name: given for name, given in locals().items() if name != "as_json"}

    result = _ask(**options)
    show(result, as_json=as_json)


def _ask(
    *,
    file: Path,
    value: str,
    part: str | None,
    person: str | None,
    reference: str | None,
    agreement: bool,
    truth: str | None,
    bad: str | None,
    day: str | None,
    run: str | None,
    check_standard: bool,
    factor: float | None,
    sd: str | None,
    repeats: int | None,
    confidence: float,
    sheet: str | None,
    **study: Any,
) -> Any:
    """Choose the job: over days, references, verdicts by eye, or a study of readings."""
    from qc.jobs.questions import (
        gauge_agreement,
        gauge_check_standard,
        gauge_linearity,
        gauge_over_days,
        gauge_study,
    )

    shared: Arguments = {"confidence": confidence, "sheet": sheet}
    if not 0 < confidence < 1:
        raise UsageError(f"--confidence is {confidence:g}: it must lie between 0 and 1, such as 0.95")
    verdicts = {"--agreement": agreement, "--truth": truth, "--bad": bad}
    over_days: Arguments = {"sd": sd, "repeats": repeats}
    if day is not None:
        others = verdicts | {"--person": person, "--reference": reference}
        if check_standard:
            _refuse(study | others | {"--part": part, "--run": run}, "--check-standard")
            return gauge_check_standard(file, value, day, factor=factor, **over_days, **shared)
        limits = {name: study.pop(name) for name in ("lower", "upper")}
        _refuse(study | others | {"--factor": factor}, "--day without --check-standard")
        return gauge_over_days(file, value, day, part=part, run=run, **limits, **over_days, **shared)
    _need_day(over_days | {"run": run, "check_standard": check_standard, "factor": factor})
    if reference is not None:
        _refuse(study | verdicts | {"--part": part, "--person": person}, "--reference")
        return gauge_linearity(file, value, reference, **shared)
    if part is None:
        raise UsageError("a gauge study needs --part COLUMN: which part each reading was taken on")
    if agreement:
        _refuse(study, "--agreement")
        if person is None:
            raise UsageError("--agreement needs --person COLUMN: who gave each verdict")
        return gauge_agreement(file, value, part, person, truth=truth, bad=bad, **shared)
    _refuse({"--truth": truth, "--bad": bad}, "a study of readings")
    return gauge_study(file, value, part, person, **study, **shared)


def _need_day(options: Mapping[str, object]) -> None:
    """Ask for the day where an option only makes sense with it."""
    given = _given(options)
    if given:
        raise UsageError(f"{given[0]} needs --day COLUMN: which day each reading was taken on")


def _refuse(options: Mapping[str, object], question: str) -> None:
    """Refuse options that do not go with the question, rather than leave them out unsaid."""
    given = _given(options)
    if given:
        raise UsageError(f"{given[0]} does not go with {question}: leave one of them out")


def _given(options: Mapping[str, object]) -> list[str]:
    """Names of the options that were given, as they are written."""
    given = [name for name, option in options.items() if option is not None and option is not False]
    return [name if name.startswith("--") else "--" + name.replace("_", "-") for name in given]
