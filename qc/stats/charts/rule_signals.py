"""From flags to signals: which points of a table of charts offend, since when and by how much."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from qc.stats.charts.chart import Signal
from qc.stats.charts.table import ChartTable, spread_out
from qc.stats.numbers import (
    BLOCK,
    LIMIT,
    SLACK,
    WIDEST_WINDOW,
    Floats,
    Rule,
    block_flags,
    column_names,
    in_blocks,
)


def standardised(table: ChartTable) -> pl.DataFrame:
    """Rows of a chart table as the rules want them: `series, point, z, z_lower, z_upper`."""
    return _standardised(table, 0, table.points.height)


def table_flags(table: ChartTable, rules: Sequence[Rule]) -> pl.DataFrame:
    """Flag every point of a table of charts by all rules.

    Parameters
    ----------
    table : ChartTable
        Charts of one kind for many series.
    rules : sequence of Rule
        Rules to apply.

    Returns
    -------
    DataFrame
        As `qc.stats.rules.rule_flags` gives it, one row per point.

    References
    ----------
    .. [1] As `qc.stats.rules.rule_flags`.

    Examples
    --------
    >>> from qc.stats.charts.measured import individuals_table
    >>> from qc.stats.numbers.rules import parse_rules
    >>> table = individuals_table(pl.DataFrame({"value": [1.0, 2.0, 1.5]}))
    >>> table_flags(table, parse_rules("limit")).columns
    ['beyond-limit above', 'beyond-limit below']
    """
    if not rules:
        return pl.DataFrame()
    reach = max((rule.length or 0 for rule in rules), default=0) + WIDEST_WINDOW

    def part(begin: int) -> pl.DataFrame:
        ahead = min(begin, reach)
        rows = _standardised(table, begin - ahead, min(begin + BLOCK, table.points.height))
        return block_flags(rows, rules).slice(ahead)

    return in_blocks(table.points.height, part)


def find_signals(table: ChartTable, rules: Sequence[Rule]) -> dict[str, tuple[Signal, ...]]:
    """Signals of every series, by point and then by rule name.

    Parameters
    ----------
    table : ChartTable
        Charts of one kind for many series.
    rules : sequence of Rule
        Rules to apply.

    Returns
    -------
    dict of series name to tuple of Signal
        One signal per offending point and rule; series without signals are left out. `start` is the first
        point of the pattern, `size` the mean deviation from the centre since then.

    References
    ----------
    .. [1] As `qc.stats.rules.rule_flags`.

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
    found: list[tuple[int, Rule, str]] = []
    for rule in sorted(rules):
        for column in column_names(rule):
            side = column.rsplit(" ", 1)[1]
            found += [(int(row), rule, side) for row in flags[column].arg_true()]
    if not found:
        return {}
    found.sort(key=lambda item: (item[0], item[1]))
    z = standardised(table)["z"].fill_null(np.nan).to_numpy()
    scale, level_sigma = table.column("sd").to_numpy(), spread_out(table.levels, "sigma").to_numpy()
    point, names = table.points["point"].to_numpy(), table.points["series"]
    starts_of = _Starts(z, point == 1)
    total = np.cumsum(np.nan_to_num(z) * np.nan_to_num(scale))
    out: dict[str, list[Signal]] = {}
    for row, rule, side in found:
        start = starts_of.row(rule, side, row)
        size = (
            z[row] * scale[row]
            if start == row
            else (total[row] - (total[start - 1] if start else 0.0)) / (row - start + 1)
        )
        name = str(names[row])
        out.setdefault(name, []).append(
            Signal(
                point=int(point[row]),
                rule=rule.name,
                side=side,  # type: ignore[arg-type]
                start=int(point[start]),
                size=float(size),
                size_sigma=float(size / level_sigma[row]) if level_sigma[row] > 0 else None,
                series=name or None,
            )
        )
    return {name: tuple(signals) for name, signals in out.items()}


def _standardised(table: ChartTable, begin: int, end: int) -> pl.DataFrame:
    """Put the rows from `begin` to `end` in units of their own sd about their own centre."""
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
