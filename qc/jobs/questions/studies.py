"""`qc study`: the statistics on any table of readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal, Unpack

import polars as pl

from qc.ingest.reading import Table, TableSource
from qc.jobs.questions.by_plan import PlannedFigure, by_workshop, figure_as_planned, plan_in
from qc.jobs.questions.study_parts import is_dataset, study_dataset
from qc.jobs.questions.study_pieces import SPELT, unnamed_pieces
from qc.jobs.questions.study_read import (
    faults_named,
    number_columns,
    question_frame,
    read_study_table,
    sort_rows,
)
from qc.jobs.questions.study_write import points_table, signals_table, write_tables
from qc.plain import JsonObject, as_meant
from qc.report.terminal import checks_text, study_text, taken_text
from qc.stats import (
    KINDS,
    SeriesChecks,
    SeriesStudy,
    StatisticsUsageError,
    StudyQuestion,
    Tabled,
    checks_together,
    study_checks,
    study_frame,
)
from qc.stats.studies import StudyOptions, check_fit, columns, complete, question_of

if TYPE_CHECKING:
    from qc.jobs.remedies import Given
    from qc.jobs.upload import ShowProgress


@dataclass(frozen=True, slots=True)
class StudyResult(Tabled):
    """Answers of a study by series name; `named` is False where there is only one series without a name.

    `checks` are there when they were asked for; `idle` says which options had no effect.
    """

    file: str
    value: str
    question: StudyQuestion
    answers: Mapping[str, SeriesStudy]
    named: bool
    signals_only: bool = False
    checks: Mapping[str, SeriesChecks] | None = None
    idle: tuple[str, ...] = ()
    taken: tuple[str, ...] = ()

    def to_dict(self) -> JsonObject:
        """Return the object that `--json` prints; `taken` where something came from a plan."""
        return self._plain() | ({"taken": list(self.taken)} if self.taken else {})

    def _plain(self) -> JsonObject:
        found = {name: answer.to_dict(points=not self.signals_only) for name, answer in self.answers.items()}
        if self.checks is None:
            return {"series": found} if self.named else next(iter(found.values()))
        for name, checks in self.checks.items():
            found[name]["checks"] = checks.to_dict()
        if not self.named:
            return next(iter(found.values()))
        return {"series": found, "checks": checks_together(self.checks).to_dict()}

    def to_text(self) -> str:
        """Return what a person reads: the finding in a sentence, then figures, then the points."""
        text = study_text(self.answers, self.question, self.value, self.file)
        if self.named:  # the answers of many series do not tell their warnings one by one
            text = "\n".join([text, *(f"Note: {sentence}." for sentence in self.idle)])
        if self.checks is not None:
            several = checks_together(self.checks) if self.named else None
            text = f"{text}\n\n{checks_text(self.checks, several)}"
        return taken_text(text, self.taken)

    def to_frame(self, what: Literal["points", "signals"] = "points") -> pl.DataFrame:
        """Return one row per point, or per signal, of every series; the tables that `--out` writes."""
        return points_table(self.answers) if what == "points" else signals_table(self.answers)


@as_meant
def study(
    path: TableSource,
    value: str | Sequence[str],
    chart: str = "individuals",
    *,
    workshop: Path | None = None,
    cluster: str | None = None,
    progress: ShowProgress | None = None,
    **options: Unpack[StudyOptions],
) -> StudyResult:
    """Answer a question about a table of readings.

    Parameters
    ----------
    path : path, polars DataFrame or pandas DataFrame
        A csv, parquet or xlsx file with names in its first row, a frame, or a card as a bench writes it; rows
        in order of making. A folder of parquet files is one table, in the order of their names, of any size:
        it is studied part by part.
    value : str or sequence of str
        Column of the readings; for `t2` and `mewma` several, in a list or separated by commas.
    chart : str
        Kind of chart.
    workshop : Path, optional
        Workshop whose plan gives limits, target and step of a figure named as `value`, where left out.
    cluster : str, optional
        Address of a scheduler (dask.distributed) whose workers do the parts; the answer is the same. They
        read the folder themselves, so it has to bear the same name there.
    progress : callable, optional
        Told how many parts are done.
    **options
        As `StudyOptions` lists them; which chart takes which is told by `qc.KINDS`.

    Returns
    -------
    StudyResult
        With `to_dict()` (the agreed JSON) and `to_text()`.

    Raises
    ------
    StatisticsUsageError
        The question is wrong: an unknown chart, rule or option, a column option that is missing.
    StatisticsError
        The data are at fault; the message says where and what to do.
    """
    asked = complete(options)
    value = value if isinstance(value, str) else ",".join(value)
    idle = check_fit(asked, chart)
    question = question_of(asked, chart)
    values = number_columns(value) if KINDS[chart].several else [value]
    if cluster is not None or is_dataset(path):
        _refuse_limits_of(workshop)
        return _of_dataset(path, values, question, asked, idle, cluster=cluster, progress=progress)
    return _of_table(path, values, question, asked, idle, by_workshop(workshop))


def _of_table(
    path: TableSource,
    values: Sequence[str],
    question: StudyQuestion,
    asked: StudyOptions,
    idle: tuple[str, ...],
    by: Given | None,
) -> StudyResult:
    """Answer it of one table in memory."""
    chart = question.chart
    table = read_study_table(
        path,
        asked["sheet"],
        numbers=[*values, *columns(asked, "numbers").values(), asked["order"]],
        labels=list(columns(asked, "labels").values()),
        figures=values,
        plan=plan_in(by),
        beside=SPELT,
    )
    planned = _planned(by, values, table, asked)
    if planned.taken:
        question = question_of(asked, chart)
    if asked["order"] is not None:
        table = sort_rows(table, asked["order"])
    frame = question_frame(table, values, chart, asked)
    counted = KINDS[chart].counts_pieces and asked["counts"] is None
    if counted and (found := unnamed_pieces(table, asked)) is not None:
        question = replace(question, piece_column=found[0])
        frame = frame.with_columns(piece=found[1])
    with faults_named(table):
        answers = study_frame(frame, question)
        checks = study_checks(frame, question) if asked["checks"] else None
    answers = _with_idle(answers, idle)
    named = asked["series"] is not None
    result = StudyResult(
        table.name,
        ",".join(values),
        question,
        answers,
        named,
        asked["signals_only"],
        checks,
        idle,
        planned.taken,
    )
    _put_beside(answers, question, result.value, asked)
    return result


def _put_beside(
    answers: Mapping[str, SeriesStudy], question: StudyQuestion, value: str, asked: StudyOptions
) -> None:
    """Write the tables and the picture that were asked for."""
    if asked["out"] is not None:
        write_tables(answers, Path(asked["out"]))
    if asked["plot"] is not None:
        from qc.report.drawings import plot_study

        plot_study(answers, question, value, Path(asked["plot"]))


def _refuse_limits_of(workshop: Path | None) -> None:
    if workshop is not None:
        raise StatisticsUsageError(
            "--workshop gives limits to one table: of a dataset say --lower, --upper and --resolution"
        )


def _planned(by: Given | None, values: Sequence[str], table: Table, asked: StudyOptions) -> PlannedFigure:
    """Fill limits, target and step from the plan where one figure is studied; they go into what is asked."""
    given_now = PlannedFigure(asked["target"], asked["lower"], asked["upper"], asked["resolution"])
    if len(values) != 1:
        return given_now
    found = figure_as_planned(by, values[0], table, given_now)
    asked["target"], asked["lower"], asked["upper"] = found.target, found.lower, found.upper
    asked["resolution"] = found.resolution
    return found


def _of_dataset(
    path: TableSource,
    values: Sequence[str],
    question: StudyQuestion,
    asked: StudyOptions,
    idle: tuple[str, ...],
    *,
    cluster: str | None,
    progress: ShowProgress | None,
) -> StudyResult:
    """Answer it part by part, here or on a cluster."""
    found = study_dataset(path, values, question, asked, cluster=cluster, progress=progress)
    return StudyResult(
        found.name,
        ",".join(values),
        found.question,
        _with_idle(found.answers, idle),
        asked["series"] is not None,
        asked["signals_only"],
        found.checks,
        idle,
    )


def _with_idle(answers: dict[str, SeriesStudy], idle: tuple[str, ...]) -> dict[str, SeriesStudy]:
    """Say with each answer which options had no effect."""
    if not idle:
        return answers
    return {name: replace(one, warnings=one.warnings + idle) for name, one in answers.items()}
