"""Rules, limits and capability over millions of rows, as ratios to their plain mean and spread.

Run: ``python tests/benchmarks/bench_charts.py [--rows MILLIONS] [--series N] [--json]``. The floor is the
mean and sd of every series from a Parquet file by polars; the comparison is the same eight rules by pandas
``groupby.rolling``, on a share of the rows and scaled up, since it takes minutes otherwise. Budgets: rules at
most 3 times the floor, individuals limits + rules + capability at most 6 times, pandas at least 20 times the
rules. The last rows are `study_frame` with limits over 4,000 series of 120 points (chart, signals, capability
with every interval, normality, order: the whole answer as a dictionary), against the floor of the same file.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
from scipy.special import ndtr

from qc.stats import StudyQuestion, individuals_table, parse_rules, rule_flags, study_frame, table_flags

ALL = parse_rules("all")
REPEATS = 3
STUDIED, STUDIED_POINTS = 4000, 120
PANDAS_SHARE = 20  # pandas sees one row in twenty


def main() -> int:
    """Measure and print."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--rows", type=float, default=10.0, help="millions of rows")
    arguments.add_argument("--series", type=int, default=2000)
    arguments.add_argument("--json", action="store_true")
    asked = arguments.parse_args()
    per_series = int(asked.rows * 1e6 / asked.series)
    rng = np.random.default_rng(20240501)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "readings.parquet"
        write_readings(file, rng, asked.series, per_series)
        floor = best(lambda: floor_of(file))
        rules = best(lambda: rules_of(file))
        whole = best(lambda: whole_of(file))
        few = max(2, asked.series // PANDAS_SHARE)
        slow = best(lambda: pandas_of(file, few), repeats=1) * asked.series / few
        many = Path(folder) / "many.parquet"
        write_readings(many, rng, STUDIED, STUDIED_POINTS)
        many_floor = best(lambda: floor_of(many))
        charted = best(lambda: study_of(many, StudyQuestion("individuals")))
        studied = best(lambda: study_of(many, StudyQuestion("individuals", lower=93.0, upper=107.0)))
    found = {
        "rows": asked.series * per_series,
        "floor_s": floor,
        "rules_s": rules,
        "rules_over_floor": rules / floor,
        "limits_rules_capability_s": whole,
        "limits_rules_capability_over_floor": whole / floor,
        "pandas_s": slow,
        "pandas_over_rules": slow / rules,
        "study_series": STUDIED,
        "study_floor_s": many_floor,
        "study_without_limits_s": charted,
        "study_with_limits_s": studied,
        "study_with_limits_over_floor": studied / many_floor,
        "study_with_over_without_limits": studied / charted,
    }
    if asked.json:
        sys.stdout.write(json.dumps(found) + "\n")
    else:
        for name, figure in found.items():
            sys.stdout.write(f"{name:36} {figure:12.3f}\n")
    return 0


def best(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """Shortest of some runs, in seconds."""
    times = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return min(times)


def write_readings(file: Path, rng: np.random.Generator, series: int, points: int) -> None:
    """Write a Parquet file of readings about 100 with an sd of 2, series after series."""
    names = np.repeat(np.arange(series, dtype=np.int32), points)
    pl.DataFrame({"series": names, "value": rng.normal(100.0, 2.0, names.size)}).write_parquet(file)


def floor_of(file: Path) -> pl.DataFrame:
    """Mean and sd of every series: what any answer must at least cost."""
    both = (pl.col("value").mean().alias("mean"), pl.col("value").std().alias("sd"))
    return pl.scan_parquet(file).group_by("series").agg(both).collect()


def standard_rows(file: Path) -> pl.DataFrame:
    """Readings with known centre and sigma as the rules want them."""
    frame = pl.read_parquet(file)
    per_series = frame.height // frame["series"].n_unique()
    point = np.tile(np.arange(1, per_series + 1, dtype=np.uint32), frame.height // per_series)
    return frame.select(
        z=(pl.col("value") - 100.0) / 2.0, z_lower=pl.lit(-3.0), z_upper=pl.lit(3.0), point=pl.Series(point)
    )


def rules_of(file: Path) -> pl.DataFrame:
    """Flag every row by all eight rules, from the file on."""
    return rule_flags(standard_rows(file), ALL)


def whole_of(file: Path) -> pl.DataFrame:
    """Estimated limits, all eight rules and the capability figures of every series, from the file on."""
    table = individuals_table(pl.read_parquet(file))
    flags = table_flags(table, ALL)
    levels = table.levels.with_columns(
        pp=20.0 / (6 * pl.col("sd")),
        ppk=(10.0 - (pl.col("mean") - 100.0).abs()) / (3 * pl.col("sd")),
        cp=20.0 / (6 * pl.col("sigma")),
    )
    outside = ndtr(-3 * levels["ppk"].to_numpy())
    return pl.concat([flags.sum(), levels.select("pp", "ppk", "cp").mean()], how="horizontal").with_columns(
        outside=pl.lit(float(outside.mean()))
    )


def study_of(file: Path, question: StudyQuestion) -> list[dict[str, object]]:
    """The whole answer of every series, as the command prints it without the points."""
    return [answer.to_dict(points=False) for answer in study_frame(pl.read_parquet(file), question).values()]


def pandas_of(file: Path, few: int) -> pd.DataFrame:
    """The same eight rules by groupby and rolling windows, on the first series."""
    part = pl.read_parquet(file).filter(pl.col("series") < few)
    frame = pd.DataFrame({name: part[name].to_numpy() for name in part.columns})
    z = (frame["value"] - 100.0) / 2.0
    keys = frame["series"]

    def window(mask: pd.Series, length: int) -> pd.Series:
        found = mask.astype(float).groupby(keys).rolling(length).sum()
        return found.reset_index(level=0, drop=True)

    step = z.groupby(keys).diff()
    up, down = step > 0, step < 0
    before_up, before_down = up.groupby(keys).shift(1) == True, down.groupby(keys).shift(1) == True  # noqa: E712
    turn = (up & before_down) | (down & before_up)
    flags = {"beyond-limit": z.abs() > 3}
    for sign in (1, -1):
        flags[f"same-side {sign}"] = window(sign * z > 0, 9) == 9
        flags[f"steady-climb {sign}"] = window(sign * step > 0, 5) == 5
        flags[f"two-of-three {sign}"] = (window(sign * z > 2, 3) >= 2) & (sign * z > 2)
        flags[f"four-of-five {sign}"] = (window(sign * z > 1, 5) >= 4) & (sign * z > 1)
    flags["zigzag"] = window(turn, 12) == 12
    flags["hugging"] = window(z.abs() <= 1, 15) == 15
    flags["avoiding"] = window(z.abs() > 1, 8) == 8
    return pd.DataFrame(flags)


if __name__ == "__main__":
    sys.exit(main())
