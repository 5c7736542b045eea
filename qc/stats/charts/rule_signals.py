"""From flags to signals: which points of a table of charts offend, since when and by how much."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
import polars as pl

from qc.stats.charts.chart import Side, Signal
from qc.stats.charts.table import ChartTable, Found, signals_by_series
from qc.stats.numbers import LIMIT, SLACK, Floats, Rule, column_names, flags_in_blocks

SIDES: dict[str, Side] = {"above": "above", "below": "below", "both": "both"}


def table_flags(table: ChartTable, rules: Sequence[Rule]) -> pl.DataFrame:
    """Flag every point of a table of charts by all rules, a row a point as `rule_flags` does (source there).

    Parameters
    ----------
    table : ChartTable
        Charts of one kind for many series.
    rules : sequence of Rule
        Rules to apply.

    Examples
    --------
    >>> from qc.stats.charts.measured import individuals_table
    >>> from qc.stats.numbers.rules import parse_rules
    >>> table = individuals_table(pl.DataFrame({"value": [1.0, 2.0, 1.5]}))
    >>> table_flags(table, parse_rules("limit")).columns
    ['beyond-limit above', 'beyond-limit below']
    """
    return flags_in_blocks(table.points.height, rules, partial(_standardised, table))


def find_signals(table: ChartTable, rules: Sequence[Rule]) -> dict[str, tuple[Signal, ...]]:
    """Signals of every series, by point and then by rule name; asked as `table_flags`, source too.

    Returns
    -------
    dict of series name to tuple of Signal
        One signal per offending point and rule; series without signals are left out. `start` is the first
        point of the pattern, `size` the mean deviation from the centre since then.

    Examples
    --------
    >>> from qc.stats.charts.measured import individuals_table
    >>> from qc.stats.numbers.rules import parse_rules
    >>> from qc.stats.numbers.setting import Setting
    >>> frame = pl.DataFrame({"value": [1.0, 2.0, 1.0, 2.0, 9.0]})
    >>> table = individuals_table(frame, Setting(center=1.5, sigma=1.0))
    >>> [(s.point, s.side) for s in find_signals(table, parse_rules("limit"))[""]]
    [(5, 'above')]
    """
    if not rules:
        return {}
    flags = table_flags(table, sorted(rules))
    columns = [(rule, column) for rule in sorted(rules) for column in column_names(rule)]
    found = [(int(row), rule, column) for rule, column in columns for row in flags[column].arg_true()]
    if not found:
        return {}
    z = _standardised(table, 0, table.points.height)["z"].fill_null(np.nan).to_numpy()
    scale = table.column("sd").to_numpy()
    starts_of = _Starts(z, table.points["point"].to_numpy() == 1)
    total = np.cumsum(np.nan_to_num(z) * np.nan_to_num(scale))

    def told(row: int, rule: Rule, column: str) -> Found:
        """Say since when and by how much on average."""
        side = SIDES[column.rsplit(" ", 1)[1]]
        start = starts_of.row(rule, side, row)
        size = z[row] * scale[row]
        if start < row:
            size = (total[row] - (total[start - 1] if start else 0.0)) / (row - start + 1)
        return row, rule.name, side, start, float(size)

    return signals_by_series(table, [told(*one) for one in sorted(found, key=lambda one: one[:2])])


def _standardised(table: ChartTable, begin: int, end: int) -> pl.DataFrame:
    """Put the rows from `begin` to `end` as the rules want them, in their own sds about their own centre."""
    rows = table.points.slice(begin, end - begin)
    counts = table.levels["points"].to_numpy().astype(np.int64)
    last = np.cumsum(counts)
    inside = np.clip(last, begin, end) - np.clip(last - counts, begin, end)

    def each(name: str, level: str) -> pl.Series:
        if name in rows.columns:
            return rows[name]
        return pl.Series(np.repeat(table.levels[level].to_numpy(), inside))

    center, sd = each("center", "center"), each("sd", "sigma")
    z = (rows["value"] - center) / sd

    def limit(name: str) -> pl.Series:
        if name in rows.columns:
            return (rows[name] - center) / sd
        level = (table.levels[name] - table.levels["center"]) / table.levels["sigma"]
        return pl.Series(np.repeat(level.to_numpy(), inside))

    return pl.DataFrame(
        {
            "series": rows["series"],
            "point": rows["point"],
            "z": pl.select(
                pl.when(z.is_finite()).then(z)
            ).to_series(),  # a series without spread has no z and never offends
            "z_lower": limit("lower"),
            "z_upper": limit("upper"),
        }
    )


class _Starts:
    """First row of the pattern that a signal ends."""

    def __init__(self, z: Floats, first: np.ndarray) -> None:
        self.z, self.first = z, first
        self.rows = np.arange(z.size)
        self.runs: dict[str, np.ndarray] = {}

    def row(self, rule: Rule, side: str, at: int) -> int:
        """Row where the pattern begins."""
        if rule.name == LIMIT:
            return at
        if rule.name in ("two-of-three-outer", "four-of-five-middle"):
            window, line = (3, 2.0) if rule.name == "two-of-three-outer" else (5, 1.0)
            sign = 1.0 if side == "above" else -1.0
            rows = [
                row
                for row in range(max(0, at - window + 1), at + 1)
                if not self.first[row + 1 : at + 1].any()
            ]
            return next(row for row in rows if sign * self.z[row] > line + SLACK)
        if rule.name not in self.runs:
            self.runs[rule.name] = self._run_starts(rule.name)
        return int(self.runs[rule.name][at])

    def _run_starts(self, name: str) -> np.ndarray:
        """For each row, where the unbroken run that holds it began."""
        z, first = self.z, self.first
        with np.errstate(invalid="ignore"):
            if name == "same-side":
                sign = np.where(np.abs(z) <= SLACK, 0.0, np.sign(z))
                broken = first | (sign == 0) | np.append(True, sign[1:] != sign[:-1])
            elif name in ("hugging-center", "avoiding-center"):
                inside = np.abs(z) <= 1 + SLACK
                holds = inside if name == "hugging-center" else np.abs(z) > 1 + SLACK
                broken = first | ~holds | np.append(True, ~holds[:-1])
            else:
                step = np.append(0.0, np.diff(z))
                way = np.where(first | (np.abs(step) <= SLACK), 0.0, np.sign(step))
                before = np.append(0.0, way[:-1])
                ends = way == 0 if name == "steady-climb" else (way == 0) | np.isnan(way)
                turns = way != before if name == "steady-climb" else way != -before
                # a run of steps begins one point before its first step
                step_broken = first | ends | turns
                begin = np.maximum.accumulate(np.where(step_broken, self.rows, 0))
                return np.where(first[begin] | (way[begin] == 0), begin, begin - 1)
        return np.maximum.accumulate(np.where(broken, self.rows, 0))
