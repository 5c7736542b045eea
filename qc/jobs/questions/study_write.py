"""Write what a study found as parquet tables: one of points, one of signals beside it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import polars as pl

from qc.stats import SeriesStudy, StatisticsUsageError

SIGNAL_COLUMNS = {
    "series": pl.String,
    "point": pl.Int64,
    "rule": pl.String,
    "side": pl.String,
    "start": pl.Int64,
    "size": pl.Float64,
    "size_sigma": pl.Float64,
}


def write_tables(answers: Mapping[str, SeriesStudy], path: Path) -> tuple[Path, Path]:
    """Write points to `path` and signals to the same name with `-signals` before the suffix.

    Parameters
    ----------
    answers : mapping of series name to SeriesStudy
    path : Path
        Ends in .parquet.

    Returns
    -------
    tuple of Path
        Where points and signals are.

    Raises
    ------
    StatisticsUsageError
        Another suffix, or a folder that is not there.
    """
    beside = signals_beside(path)
    points_table(answers).write_parquet(path)
    signals_table(answers).write_parquet(beside)
    return path, beside


def signals_beside(path: Path) -> Path:
    """Return where the signals go beside the points; StatisticsUsageError where nothing can be written."""
    if path.suffix.lower() != ".parquet":
        raise StatisticsUsageError(f"{path.name}: tables are written as .parquet; give a name that ends so")
    if not path.parent.is_dir():
        raise StatisticsUsageError(f"{path.parent}: there is no such folder; make it first")
    return path.with_name(f"{path.stem}-signals{path.suffix}")


def points_table(answers: Mapping[str, SeriesStudy]) -> pl.DataFrame:
    """Return one row per point of every series: values, centre, limits and whether it signalled."""
    charted = {name: answer.chart for name, answer in answers.items() if answer.chart is not None}
    parts = [
        chart.to_frame().select(pl.lit(name).alias("series"), pl.all()) for name, chart in charted.items()
    ]
    return pl.concat(parts, how="diagonal") if parts else pl.DataFrame()


def signals_table(answers: Mapping[str, SeriesStudy]) -> pl.DataFrame:
    """Return one row per signal of every series."""
    rows = [
        signal.to_dict() | {"series": name} for name, answer in answers.items() for signal in answer.signals
    ]
    return pl.DataFrame(rows, schema=SIGNAL_COLUMNS)
