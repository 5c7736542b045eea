"""A study of a dataset, part by part: the same question to each part, the answers put together again."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeGuard

import numpy as np
import polars as pl

from qc.ingest.reading import Table, TableSource
from qc.jobs.datasets import Dataset, DatasetPart, InParts, in_parts, open_dataset
from qc.jobs.questions.study_pieces import SPELT, piece_column, pieces_named
from qc.jobs.questions.study_read import PLAIN_NUMBER, faults_named, question_frame, sort_rows
from qc.jobs.questions.study_write import points_table, signals_beside, signals_table
from qc.jobs.spread import hands_of
from qc.stats import (
    KINDS,
    SeriesChecks,
    SeriesStudy,
    StatisticsError,
    StatisticsUsageError,
    StudyQuestion,
    study_checks,
    study_frame,
)
from qc.stats.studies import StudyOptions, columns

if TYPE_CHECKING:
    from qc.jobs.upload import ShowProgress

MOST_VALUES = 20_000_000
"""Rows whose plotted values one answer holds; chosen: half a gigabyte. More are only written, by `--out`."""

PART_ROWS: int | None = None
"""Rows of a part; None for what a dataset takes. Tests make parts small by it."""


@dataclass(frozen=True, slots=True)
class DatasetStudy:
    """What a dataset answered: as of one table, by series in the order of their first row."""

    name: str
    question: StudyQuestion
    answers: dict[str, SeriesStudy]
    checks: dict[str, SeriesChecks] | None


@dataclass(frozen=True, slots=True)
class PartQuestion:
    """A part of a dataset and what is asked of it: all that a worker needs.

    `pieces` is the column that names them where it counts; `text_order` that the column of order is text
    somewhere in the dataset; `bare` that plotted values are not sent back; `tables` that rows of points and
    signals are.
    """

    part: DatasetPart
    values: tuple[str, ...]
    question: StudyQuestion
    asked: StudyOptions
    pieces: str | None
    text_order: bool
    bare: bool
    tables: bool


@dataclass(frozen=True, slots=True)
class PartAnswer:
    """What one part came to."""

    answers: dict[str, SeriesStudy]
    checks: dict[str, SeriesChecks]
    points: pl.DataFrame
    signals: pl.DataFrame


def is_dataset(source: TableSource) -> TypeGuard[str | Path]:
    """Whether this is a folder, to be studied part by part."""
    try:
        return isinstance(source, (str, Path)) and Path(source).is_dir()
    except OSError:
        return False  # a name that the system does not take: told where the file is read


def study_dataset(
    source: TableSource,
    values: Sequence[str],
    question: StudyQuestion,
    asked: StudyOptions,
    *,
    cluster: str | None = None,
    progress: ShowProgress | None = None,
) -> DatasetStudy:
    """Answer a question about a dataset of any size.

    Parameters
    ----------
    source : path
        A folder of Parquet files, or one Parquet file.
    values : sequence of str
        Columns of the readings.
    question : StudyQuestion
        What is asked of every series.
    asked : StudyOptions
        The same as options: which columns, and what is written.
    cluster : str, optional
        Address of the scheduler whose workers do the parts; else this process does them in turn.
    progress : callable, optional
        Told how many parts are done.

    Returns
    -------
    DatasetStudy
        Bit for bit the same wherever the parts are done. Against the same rows as one table a size that is a
        mean over several points may differ in its last digit: sums run over other neighbours there.

    Raises
    ------
    StatisticsUsageError
        Something that only one table in memory can be asked; no Parquet files.
    StatisticsError
        The data are at fault; the message says in which file and row.
    MachineError
        A file cannot be read, a table cannot be written, the cluster is not there.
    """
    place = _place(source, asked)
    named = [*values, *columns(asked, "labels").values(), *columns(asked, "numbers").values(), asked["order"]]
    wanted = list(dict.fromkeys(name for name in named if name and not PLAIN_NUMBER.fullmatch(name)))
    dataset = open_dataset(place, wanted, error=StatisticsError, usage=StatisticsUsageError)
    bare = bool(asked["signals_only"]) and asked["series"] is not None
    if not bare and dataset.rows > MOST_VALUES:
        raise StatisticsUsageError(
            f"{dataset.name}: {dataset.rows:,} rows, and one answer holds the plotted values of up to "
            f"{MOST_VALUES:,}: add --signals-only (with --series); --out FILE.parquet writes every point"
        )
    pieces = _repeated_pieces(dataset, wanted, asked, question)
    if pieces is not None:
        question = replace(question, piece_column=pieces)
        wanted = list(dict.fromkeys([*wanted, pieces]))
    common = PartQuestion(
        DatasetPart(dataset, (), 0, 0, 0),
        tuple(values),
        question,
        asked,
        pieces,
        _orders_as_text(dataset, asked),
        bare,
        asked["out"] is not None,
    )
    with ExitStack() as stack:
        hands = stack.enter_context(hands_of(cluster))
        cut = stack.enter_context(
            in_parts(dataset, wanted, asked["series"], asked["order"], error=StatisticsError, rows=PART_ROWS)
        )
        tables = stack.enter_context(_Tables(asked["out"])) if asked["out"] is not None else None
        done = hands(study_part, _questions(cut, common))
        answers, checks = _together(done, cut, tables, progress)
    return DatasetStudy(dataset.name, question, answers, checks if asked["checks"] else None)


def study_part(asked: PartQuestion) -> PartAnswer:
    """Answer the question for the series of one part: what a worker does."""
    table: Table = asked.part.dataset.table(asked.part.read(StatisticsError))
    if asked.asked["order"] is not None:
        table = sort_rows(table, asked.asked["order"], as_text=asked.text_order)
    frame = question_frame(table, asked.values, asked.question.chart, asked.asked)
    if asked.pieces is not None:
        frame = frame.with_columns(piece=pieces_named(table, asked.pieces))
    with faults_named(table):
        answers = study_frame(frame, asked.question)
        checks = dict(study_checks(frame, asked.question)) if asked.asked["checks"] else {}
    points = points_table(answers) if asked.tables else pl.DataFrame()
    signals = signals_table(answers) if asked.tables else pl.DataFrame()
    if asked.bare:
        answers = {name: _without_values(one) for name, one in answers.items()}
    return PartAnswer(answers, checks, points, signals)


def _place(source: TableSource, asked: StudyOptions) -> Path:
    """Return the folder or file; refuse what is asked of one table in memory only."""
    place = Path(source) if isinstance(source, (str, Path)) else None
    if place is None or not place.exists():
        raise StatisticsUsageError(
            "--cluster is for a folder of parquet files or one such file, which its workers can read"
            if place is None
            else f"{place}: there is no such file or folder"
        )
    if place.is_file() and place.suffix.lower() != ".parquet":
        raise StatisticsUsageError(
            f"{place.name}: --cluster is for parquet files; leave it out, or write the table as parquet"
        )
    for option, words in (
        ("sheet", "parquet files have no sheets: leave --sheet out"),
        ("plot", "a dataset is not drawn: write --out FILE.parquet and study the series to be drawn from it"),
    ):
        if dict(asked)[option] is not None:
            raise StatisticsUsageError(f"{place.name}: {words}")
    return place


def _repeated_pieces(
    dataset: Dataset, wanted: Sequence[str], asked: StudyOptions, question: StudyQuestion
) -> str | None:
    """Name the column that names pieces, where some piece has several readings in a series."""
    if not KINDS[question.chart].counts_pieces or asked["counts"] is not None:
        return None
    known = [name for name in dataset.columns if name in {*wanted, *SPELT}]
    column = piece_column(known, asked)
    if column is None:
        return None
    keys = [column] + ([asked["series"]] if asked["series"] is not None else [])
    text = pl.col(column).cast(pl.String).str.strip_chars()
    rows = dataset.scan(keys).filter(text != "").group_by(keys).len().filter(pl.col("len") > 1)
    return None if rows.head(1).collect(engine="streaming").is_empty() else column


def _orders_as_text(dataset: Dataset, asked: StudyOptions) -> bool:
    """Whether the column of order is text that is no number somewhere: then all parts are sorted as text."""
    order = asked["order"]
    if order is None or dataset.columns[order] != pl.String:
        return False
    numbers = pl.col(order).str.strip_chars().cast(pl.Float64, strict=False)
    return bool(dataset.scan([order]).select(numbers.is_null().any()).collect(engine="streaming").item())


def _questions(cut: InParts, common: PartQuestion) -> Iterator[PartQuestion]:
    return (replace(common, part=part) for part in cut.parts)


def _together(
    done: Iterator[PartAnswer], cut: InParts, tables: _Tables | None, progress: ShowProgress | None
) -> tuple[dict[str, SeriesStudy], dict[str, SeriesChecks]]:
    """Take the answers of the parts in their order."""
    answers: dict[str, SeriesStudy] = {}
    checks: dict[str, SeriesChecks] = {}
    for number, one in enumerate(done, 1):
        answers |= one.answers
        checks |= one.checks
        if tables is not None:
            tables.add(one)
        if progress is not None:
            progress(number, cut.count, f"Studying {cut.series} series, part")
    return answers, checks


class _Tables:
    """The tables of `--out`, gathered beside their place part by part and put there at the end."""

    def __init__(self, out: str | Path) -> None:
        self.out = Path(out)
        self.beside = signals_beside(self.out)
        self._scratch = tempfile.TemporaryDirectory(prefix=".qc-parts-", dir=self.out.parent)
        self._parts: Mapping[Path, list[Path]] = {self.out: [], self.beside: []}

    def __enter__(self) -> _Tables:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        try:
            if kind is None:
                for place, parts in self._parts.items():
                    half = Path(self._scratch.name) / place.name
                    rows = pl.concat([pl.scan_parquet(p) for p in parts], how="diagonal") if parts else None
                    (pl.LazyFrame() if rows is None else rows).sink_parquet(half)
                    half.replace(place)
        finally:
            self._scratch.cleanup()

    def add(self, answer: PartAnswer) -> None:
        """Keep the rows of one part; a part without a chart has none."""
        for place, frame in ((self.out, answer.points), (self.beside, answer.signals)):
            if frame.width:
                file = Path(self._scratch.name) / f"{place.stem}-part-{len(self._parts[place])}.parquet"
                frame.write_parquet(file)
                self._parts[place].append(file)


def _without_values(answer: SeriesStudy) -> SeriesStudy:
    """Leave out what is plotted: of a large dataset it does not fit into memory."""
    chart = answer.chart
    if chart is None:
        return answer
    none = np.empty(0)
    companion = chart.companion and replace(chart.companion, values=none, lowers=None, uppers=None)
    return replace(answer, chart=replace(chart, values=none, lowers=None, uppers=None, companion=companion))
