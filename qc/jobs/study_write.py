"""Write what a study found as parquet tables: one of points, one of signals beside it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from qc.stats import Chart, SeriesStudy, StatisticsUsageError

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
    if path.suffix.lower() != ".parquet":
        raise StatisticsUsageError(f"{path.name}: tables are written as .parquet; give a name that ends so")
    if not path.parent.is_dir():
        raise StatisticsUsageError(f"{path.parent}: there is no such folder; make it first")
    charted = {name: answer.chart for name, answer in answers.items() if answer.chart is not None}
    parts = [_points(name, chart) for name, chart in charted.items()]
    points = pl.concat(parts, how="diagonal") if parts else pl.DataFrame()
    rows = [
        signal.to_dict() | {"series": name} for name, answer in answers.items() for signal in answer.signals
    ]
    beside = path.with_name(f"{path.stem}-signals{path.suffix}")
    points.write_parquet(path)
    pl.DataFrame(rows, schema=SIGNAL_COLUMNS).write_parquet(beside)
    return path, beside


def _points(name: str, chart: Chart) -> pl.DataFrame:
    """One row per point: values, centre, limits and whether it signalled."""
    values = chart.values if isinstance(chart.values, Mapping) else {"value": chart.values}
    count = len(next(iter(values.values())))
    flagged = np.zeros(count, dtype=bool)
    flagged[[signal.point - 1 for signal in chart.signals]] = True
    columns: dict[str, Any] = {"series": [name] * count, "point": np.arange(1, count + 1), **values}
    columns["center"] = np.full(count, np.nan if chart.center is None else chart.center)
    columns["lower"] = _limit(chart.lowers, chart.lower, count)
    columns["upper"] = _limit(chart.uppers, chart.upper, count)
    return pl.DataFrame(columns).fill_nan(None).with_columns(signal=pl.Series(flagged))


def _limit(each: Any, all_points: float | None, count: int) -> Any:
    if each is not None:
        return each
    return np.full(count, np.nan if all_points is None else all_points)
