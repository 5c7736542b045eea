"""`qc average`: a mean and a spread from any table, how sure they are, and whether they are as expected."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from qc.ingest.reading import TableSource
from qc.jobs.questions.study_read import faults_named, read_study_table, take_labels, take_numbers
from qc.plain import JsonObject, as_meant
from qc.report.terminal import average_text
from qc.stats import MeanAndSd, StatisticsError, Tabled, frame_of, mean_and_sd


@dataclass(frozen=True, slots=True)
class Averages(Tabled):
    """Mean and sd of the column `value` of a file, by series; one without a name where none was asked."""

    file: str
    value: str
    series: dict[str, MeanAndSd]
    expected_mean: float | None = None
    expected_sd: float | None = None

    def to_dict(self) -> JsonObject:
        """Return the object that `--json` prints: the figures, or with series an object of them by name."""
        found: JsonObject = {name: one.to_dict() for name, one in self.series.items()}
        return found[""] if list(found) == [""] else {"series": found}

    def to_text(self) -> str:
        """Return what a person reads: mean and sd with their intervals, and what the tests say."""
        expected = self.expected_mean, self.expected_sd
        return average_text(self.series, expected, self.value, self.file)

    def to_frame(self) -> pl.DataFrame:
        """Return one row a series."""
        return frame_of([{"series": name or None} | one.to_dict() for name, one in self.series.items()])


@as_meant
def average(
    path: TableSource,
    value: str,
    *,
    lot: str | None = None,
    series: str | None = None,
    expected: float | None = None,
    expected_sd: float | None = None,
    confidence: float = 0.95,
    sheet: str | None = None,
) -> Averages:
    """Say how large the mean and the spread of a column are, how sure that is, and test them.

    Parameters
    ----------
    path : path, polars DataFrame or pandas DataFrame
        A csv, parquet or xlsx file or a frame, one reading a row, in order of making.
    value : str
        Column of the readings.
    lot : str, optional
        Column of what readings share: a lot, or the piece where a piece is read several times.
    series : str, optional
        Column that parts the table into series, each answered by itself.
    expected, expected_sd : float, optional
        Mean and sd to test against, both sides. [unit of the readings]
    confidence : float, 0..1
        Confidence of each interval.
    sheet : str, optional
        Sheet of a workbook.

    Raises
    ------
    StatisticsUsageError
        There is no such file.
    StatisticsError
        The data are at fault; the message says where and what to do.
    """
    table = read_study_table(path, sheet, numbers=[value], labels=[lot, series])
    columns = {"value": take_numbers(table, value)}
    for name, column in (("lot", lot), ("series", series)):
        if column is not None:
            columns[name] = take_labels(table, column).cast(pl.String)
    frame = pl.DataFrame(columns)
    parts = {"": frame}
    if series is not None:
        parts = {str(key): own for (key,), own in frame.group_by("series", maintain_order=True)}
    found = {}
    with faults_named(table):
        for name, own in parts.items():
            try:
                found[name] = mean_and_sd(
                    own["value"].to_numpy(),
                    None if lot is None else own["lot"].to_list(),
                    expected_mean=expected,
                    expected_sd=expected_sd,
                    confidence=confidence,
                )
            except StatisticsError as error:
                raise type(error)(f"{series} {name}: {error}" if name else str(error)) from error
    return Averages(table.name, value, found, expected, expected_sd)
