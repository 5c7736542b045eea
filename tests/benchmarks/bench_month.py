"""Time `qc month` where 200 series are charted: all three files, from a cold command, against 30 s.

The workshop is drawn from a stated seed: 20 stages of 10 figures, two models, 15 months, three places a
figure on a third of the stages, gauges with their checks, instruments that leave, rework; a tenth of the
figures step up in the month of the report, a tenth drift through it. Its readings go past the benches
straight into the store and are judged there once, as the uploads of the months would have left it.

    python tests/benchmarks/bench_month.py [--seed 20261130] [--series 200] [--turns 3] [OTHER_CHECKOUT]
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from datetime import time as moment
from pathlib import Path
from statistics import median

import numpy as np
import polars as pl

from qc.jobs.rejudge import rejudge
from qc.jobs.workshop import open_workshop
from qc.plan import EVENT, READING
from qc.store import NewSheet, sheet_hash

HERE = Path(__file__).resolve().parents[2]
BUDGET_S = 30.0
FIGURES = 10
MONTH = "2026-10"
FIRST, LAST = date(2025, 9, 1), date(2026, 11, 24)
HEAD = """
workshop: {name: Large Month Works, time_zone: UTC, today: 2026-11-24, serial_prefix: LM}
models:
  - {id: tenor, name: Tenor, family: tenor, pedal_midi: 34, length_mm: 2931.6}
  - {id: bass, name: Bass, family: bass, pedal_midi: 34, length_mm: 2931.6}
gauges:
  - {id: G-1, name: Gauge 1, gauge_class: gauge, unit: mm, resolution: 0.001, calibrated: [2025-08-01]}
  - {id: G-2, name: Gauge 2, gauge_class: gauge, unit: mm, resolution: 0.001, calibrated: [2026-08-03]}
people: [{code: AA, name: Bench 1}, {code: BB, name: Bench 2}]
cards: [{id: trial, title: Trial card, source: bench, stage: s00, characteristics: [f0]}]
causes: [solder, dent, tuning]
stages:
"""


def make_workshop(folder: Path, series: int, seed: int) -> int:
    """Make the workshop, judged; returns the number of its readings."""
    stages = series // FIGURES
    text = HEAD
    for stage in range(stages):
        text += f"  - id: s{stage:02d}\n    name: Stage {stage + 1}\n    characteristics:\n"
        for figure in range(FIGURES):
            text += f"      - {{id: f{figure}, name: Figure {stage + 1}-{figure + 1}, unit: mm, pool: all, "
            text += "gauge_class: gauge, resolution: 0.001, "
            if stage % 3 == 0:
                text += 'places: {direction: ["0", "60", "120"]}, '
            text += "limits: [{target: 10, lower: 9.96, upper: 10.04}]}\n"
    folder.mkdir(parents=True)
    (folder / "plan.yaml").write_text(text, "utf-8")
    workshop = open_workshop(folder)
    rng = np.random.default_rng(seed)
    days = [FIRST + timedelta(days=n) for n in range((LAST - FIRST).days + 1)]
    made = [day for day in days if day.weekday() < 5 and rng.random() < 0.85]
    sheets = [_readings(stage, made, rng) for stage in range(stages)]
    events = _events(made, rng)
    for n, frame in enumerate([*sheets, None]):
        data = f"sheet {n} of seed {seed}".encode()
        own = events if frame is None else _none(EVENT)
        sheet = NewSheet(
            f"s{n}.csv",
            sheet_hash(data),
            data,
            "trial",
            _none(READING) if frame is None else frame,
            own,
            pl.DataFrame(),
        )
        workshop.store.add_sheets([sheet], who="", when=datetime.combine(LAST, moment(12), UTC))
    rejudge(workshop)
    workshop.store.close()
    return sum(len(frame) for frame in sheets)


def _readings(stage: int, made: Sequence[date], rng: np.random.Generator) -> pl.DataFrame:
    """Draw the readings of a stage: a step or a drift in one figure of five, the rest steady."""
    places = ["0", "60", "120"] if stage % 3 == 0 else [None]
    rows = []
    for figure in range(FIGURES):
        kind = (stage * FIGURES + figure) % 10
        for n, day in enumerate(made):
            into = (day - date(2026, 10, 5)).days
            moved = 0.02 if kind == 0 and into >= 0 else 0.0004 * max(0, into) if kind == 5 else 0.0
            piece = 10 + rng.normal(0, 0.008) + moved
            rows += [(n, day, f"f{figure}", place, piece + rng.normal(0, 0.003)) for place in places]
    number, day, name, place, value = (list(column) for column in zip(*rows, strict=True))
    values = np.round(value, 3)
    moments = [datetime.combine(one, moment(9), UTC) for one in day]
    frame = pl.DataFrame(
        {
            "serial": [f"LM-{n:04d}" for n in number],
            "model": ["bass" if n % 4 == 0 else "tenor" for n in number],
            "characteristic": name,
            "direction": place,
            "value": values,
            "text": [f"{v:.3f}" for v in values],
            "row": range(2, len(rows) + 2),
            "day": day,
            "measured_at": moments,
            "gauge": [f"G-{1 + n % 2}" for n in number],
            "person": ["AA" if n % 3 else "BB" for n in number],
        }
    ).with_columns(
        pl.lit(f"s{stage:02d}").alias("stage"),
        pl.lit("mm").alias("unit"),
        pl.lit(True).alias("has_time"),
        pl.lit(1).alias("repeat"),
        entered_at=pl.col("measured_at"),
    )
    return _whole(frame, READING)


def _events(made: Sequence[date], rng: np.random.Generator) -> pl.DataFrame:
    """Draw what happened: an instrument a day leaves, one in eight after rework; gauge checks."""
    rows = []
    for n, day in enumerate(made):
        serial = f"LM-{n:04d}"
        if rng.random() < 0.125:
            cause = ("solder", "dent", "tuning")[int(rng.integers(3))]
            rows.append(("rework", day, serial, "", cause, float(rng.integers(1, 8)) / 2, "h"))
        if day + timedelta(days=5) <= LAST:
            rows.append(("shipped", day + timedelta(days=5), serial, "", "", None, ""))
        if n % 10 == 0:
            check = round(float(rng.normal(0, 0.001)), 3)
            rows += [("gauge-check", day, "", f"G-{g}", "as-found", check, "mm") for g in (1, 2)]
    kind, day, serial, subject, code, value, unit = (list(column) for column in zip(*rows, strict=True))
    moments = [datetime.combine(one, moment(15), UTC) for one in day]
    frame = pl.DataFrame(
        {
            "kind": kind,
            "day": day,
            "measured_at": moments,
            "entered_at": moments,
            "serial": serial,
            "subject": subject,
            "code": code,
            "value": value,
            "unit": unit,
            "row": range(2, len(rows) + 2),
        }
    )
    return _whole(frame, EVENT)


def _whole(frame: pl.DataFrame, columns: dict[str, str]) -> pl.DataFrame:
    missing = [pl.lit(None).alias(name) for name in columns if name not in frame.columns]
    return frame.with_columns(missing).select(list(columns))


def _none(columns: dict[str, str]) -> pl.DataFrame:
    return pl.DataFrame(schema={name: pl.String for name in columns})


def written(checkout: Path, folder: Path, out: Path) -> tuple[float, float, float]:
    """Write the month by a cold command of a checkout; clock, processor [s], most memory [MB]."""
    env = {**os.environ, "PYTHONPATH": str(checkout)}
    words = [sys.executable, "-m", "qc", "month", MONTH, "--workshop", str(folder), "--out", str(out)]
    begin = time.perf_counter()
    done = subprocess.Popen(words, env=env, cwd=checkout, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    said = done.stderr.read() if done.stderr else b""
    _, status, used = os.wait4(done.pid, 0)
    clock = time.perf_counter() - begin
    done.returncode = os.waitstatus_to_exitcode(status)
    # no progress where nobody sits at a terminal
    assert done.returncode == 0 and not said, said.decode()
    assert {path.suffix for path in out.iterdir()} == {".pdf", ".html", ".xlsx"}
    return clock, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def main(checkouts: list[Path], series: int, seed: int, turns: int) -> int:
    """Print the figures; 1 where this checkout is over its budget."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "workshop"
        readings = make_workshop(folder, series, seed)
        taken: dict[Path, list[tuple[float, float, float]]] = {one: [] for one in checkouts}
        for turn in range(turns):
            for n, checkout in enumerate(checkouts):
                taken[checkout].append(written(checkout, folder, Path(place) / f"out-{turn}-{n}"))
    sys.stdout.write(f"{series} series, {readings:,} readings, seed {seed}, {turns} turns, medians\n")
    for checkout, found in taken.items():
        clock, cpu, memory = (median(column) for column in zip(*found, strict=True))
        sys.stdout.write(f"{checkout}: {clock:.1f} s, processor {cpu:.1f} s, {memory:.0f} MB\n")
    return int(median(cpu for _, cpu, _ in taken[HERE]) > BUDGET_S)


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    asked.add_argument("checkouts", nargs="*", type=Path)
    asked.add_argument("--series", type=int, default=200)
    asked.add_argument("--seed", type=int, default=20261130)
    asked.add_argument("--turns", type=int, default=3)
    told = asked.parse_args()
    sys.exit(main([HERE, *(one.resolve() for one in told.checkouts)], told.series, told.seed, told.turns))
