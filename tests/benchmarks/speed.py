"""Every speed there is a budget for in one run, and how each grows: one table, pictures, a page.

    make bench              # all sizes; half an hour on two quiet cores
    make bench BENCH=short  # the same rows on smaller sizes

What is compared takes turns. The floor of a work is what any answer must at least cost (the mean and spread
of each series, a bare read of the workbook); beside it stands what somebody would write in pandas. Prints
the table; with ``--page`` it writes ``docs/reference/speed.md`` and its picture.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import bench_board
import bench_charts
import bench_detector
import bench_main
import bench_upload
import numpy as np
import pandas as pd
from measuring import Spent, command, middle, of_process, ratio, spent, turn_by_turn
from speed_page import Curve, Line, table_text, write_page

from qc.ingest import keep_reader
from qc.jobs.board.serving import running
from qc.jobs.demo import make_demo
from qc.jobs.history import bring_in
from qc.jobs.monthly import month
from qc.jobs.upload import read_files, upload
from qc.jobs.workshop import open_workshop
from qc.stats import detect_many

QC = [sys.executable, "-m", "qc"]


@dataclass(frozen=True)
class Size:
    """How much a run does."""

    rows: float  # millions, for the rules
    series: int
    turns: int
    growing_rows: tuple[float, ...]
    growing_series: tuple[int, ...]
    growing_history: tuple[int, ...]
    readings_of_board: int
    people: tuple[int, ...]
    seconds: int  # a number of people is watched
    imported: tuple[int, ...]


SHORT = Size(
    rows=1.0,
    series=200,
    turns=3,
    growing_rows=(0.1, 0.3, 1.0),
    growing_series=(100, 400, 1600),
    growing_history=(10_000, 50_000, 250_000),
    readings_of_board=100_000,
    people=(1, 4, 8),
    seconds=6,
    imported=(5_000, 20_000),
)
LONG = Size(
    rows=10.0,
    series=2000,
    turns=5,
    growing_rows=(0.1, 0.3, 1.0, 3.0, 10.0),
    growing_series=(250, 500, 1000, 2000, 4000),
    growing_history=(10_000, 100_000, 1_000_000),
    readings_of_board=1_000_000,
    people=(1, 2, 4, 8, 16),
    seconds=20,
    imported=(10_000, 40_000, 160_000),
)


def rules(size: Size, place: Path) -> tuple[list[Line], list[Curve]]:
    """Eight rules, limits, capability: against the floor and against pandas; then over more and more rows."""
    file = place / "readings.parquet"
    rng = np.random.default_rng(20240501)
    bench_charts.write_readings(file, rng, size.series, int(size.rows * 1e6 / size.series))
    few = max(2, size.series // bench_charts.PANDAS_SHARE)
    works: dict[str, Callable[[], object]] = {
        "floor": lambda: bench_charts.floor_of(file),
        "rules": lambda: bench_charts.rules_of(file),
        "whole": lambda: bench_charts.whole_of(file),
        "pandas": lambda: bench_charts.pandas_of(file, few),
    }
    taken = turn_by_turn(works, size.turns)
    slow = ratio(taken["pandas"], taken["rules"])  # of a share of the series
    own = middle(taken["rules"])
    of_rows = f"{size.rows:g} M rows, {size.series:,} series"
    rules_ratio, whole_ratio = ratio(taken["rules"], taken["floor"]), ratio(taken["whole"], taken["floor"])
    lines = [
        Line(f"mean and spread of {of_rows}: the floor", "s", *_two(middle(taken["floor"]))),
        Line("eight rules over them", "s", *_two(own)),
        Line("eight rules, times the floor", "x", *_two(rules_ratio), budget=3.0),
        Line("limits, rules and capability, times the floor", "x", *_two(whole_ratio), budget=6.0),
        Line(
            "the same eight rules by pandas groupby.rolling, times ours",
            "x",
            slow.clock * size.series / few,
            slow.processor * size.series / few,
            least=20.0,
        ),
    ]
    costs = []
    for millions in size.growing_rows:
        grown = place / f"rows {millions}.parquet"
        bench_charts.write_readings(grown, rng, size.series, int(millions * 1e6 / size.series))
        once: dict[str, Callable[[], object]] = {"rules": lambda own=grown: bench_charts.rules_of(own)}
        costs.append(middle(turn_by_turn(once, size.turns)["rules"]).processor)
    rows = [millions * 1e6 for millions in size.growing_rows]
    return lines, [Curve("eight rules", "rows", rows, costs)]


def detector(size: Size, place: Path) -> tuple[list[Line], list[Curve]]:
    """The detector over many series, and one more point on a long one."""
    many = turn_by_turn({"batch": lambda: bench_detector.batch_seconds("normal")}, 1)["batch"]
    point = bench_detector.point_seconds("normal")
    lines = [
        Line("detector, 4,000 series of 120 points", "s", *_two(middle(many)), budget=10.0),
        Line("one more piece on a series of 500", "ms", 1000 * point, None, budget=5.0),
    ]
    values = np.exp(np.random.default_rng(1).normal(1.0, 0.2, (max(size.growing_series), 120)))
    works: dict[str, Callable[[], object]] = {
        str(series): lambda own=series: detect_many(list(values[:own]), shape="normal")
        for series in size.growing_series
    }
    taken = turn_by_turn(works, 1)
    costs = [middle(taken[str(series)]).processor for series in size.growing_series]
    return lines, [Curve("detector, 120 points each", "series", [*map(float, size.growing_series)], costs)]


def moments(size: Size, place: Path) -> tuple[list[Line], list[Curve]]:
    """The sample workshop by the real upload, help, a large workbook cold and warm, the month."""
    folder = place / "workshop"
    sample = spent(lambda: make_demo(folder))
    names = ["cold", *(f"warm {turn}" for turn in range(size.turns + 1))]
    books = {
        name: bench_main.bell_workbook(place / f"{name}.xlsx", date(2026, 8, 3 + 2 * number))
        for number, name in enumerate(names)
    }
    cold = spent(command([*QC, "upload", str(books["cold"]), "--workshop", str(folder)]))
    shop = open_workshop(folder)
    keep_reader()  # as the board's worker does
    fresh = iter(names[1:])
    works: dict[str, Callable[[], object]] = {
        "floor": lambda: pd.read_excel(books["cold"], header=4, engine="calamine"),
        "warm": lambda: upload(shop, read_files([books[next(fresh)]])),
        "pandas": lambda: _by_pandas(books["cold"], place / "pandas.db"),
        "month": lambda: month(shop, "2026-07", out=place / "report"),
        "help": command([*QC, "--help"]),
    }
    taken = turn_by_turn(works, size.turns)
    shop.store.close()
    lines = [
        Line("sample workshop: 280 sheets, judged, its month", "s", *_two(sample), budget=60.0),
        Line("`qc --help`", "s", *_two(middle(taken["help"])), budget=0.3),
        Line("workbook of 5,000 rows, cold command", "s", *_two(cold), budget=6.0),
        Line("the same in a warm process", "s", *_two(middle(taken["warm"])), budget=1.0),
        Line("the same, times a bare read of the workbook", "x", *_two(ratio(taken["warm"], taken["floor"]))),
        Line(
            "the same, times pandas: read, range checks, means, into SQLite",
            "x",
            *_two(ratio(taken["warm"], taken["pandas"])),
        ),
        Line("month: 27 series, pdf, html, workbook", "s", *_two(middle(taken["month"])), budget=5.0),
    ]
    return lines, []


def history(size: Size, place: Path) -> tuple[list[Line], list[Curve]]:
    """The same card into small and large stores, and a history brought in."""
    shops = {
        readings: bench_upload.make_workshop(place / f"store {readings}", readings)
        for readings in size.growing_history
    }
    taken = bench_upload.time_uploads(shops)
    for shop in shops.values():
        shop.store.close()
    costs = [float(np.median(taken[readings])) for readings in size.growing_history]
    least, most = min(shops), max(shops)
    lines = [
        Line(f"one card into {least:,} readings", "ms", None, 1000 * costs[0]),
        Line(f"the same into {most:,} readings, times as much", "x", None, costs[-1] / costs[0], budget=1.2),
        Line(
            f"a reading on the disk ({most:,} of them)", "byte", _bytes(place / f"store {most}") / most, None
        ),
    ]
    seconds = []
    for readings in size.imported:
        shop = bench_upload.make_workshop(place / f"import {readings}", 0)
        file = bench_upload.write_history(place / f"history {readings}.csv", readings)
        seconds.append(spent(lambda own=shop, path=file: bring_in(own, [path])))
        shop.store.close()
    each = [1000 * one.processor / readings for one, readings in zip(seconds, size.imported, strict=True)]
    lines.append(Line(f"`qc import` of {size.imported[-1]:,} rows, each", "ms", None, each[-1]))
    grown = [float(readings) for readings in size.growing_history]
    imported = Curve("import", "readings", [*map(float, size.imported)], [one.processor for one in seconds])
    return lines, [Curve("one card uploaded", "readings in the store", grown, costs), imported]


def board(size: Size, place: Path) -> tuple[list[Line], list[Curve]]:
    """First screen, page turns while more and more people turn them, memory."""
    folder = place / "board"
    bench_board.make_workshop(folder, size.readings_of_board)
    costs, lines = [], []
    with running(folder) as (address, process):
        before = of_process(process.pid)[0]
        first = bench_board.first_screen(address)
        of_first = of_process(process.pid)[0] - before
        for people in size.people:
            before, begin = of_process(process.pid)[0], time.perf_counter()
            turns = bench_board.people_at(address, people, size.seconds)
            used = of_process(process.pid)[0] - before
            costs.append(used / (time.perf_counter() - begin))
            if people == 8:
                slow = 1000 * float(np.quantile(turns, 0.95))
                lines.append(Line("eight people: 95 % of page turns under", "ms", slow, None, budget=150.0))
                lines.append(Line("a page turn", "ms", None, 1000 * used / len(turns)))
        memory = of_process(process.pid)[1]
    shown = f"first screen, {size.readings_of_board:,} readings in 200 series"
    lines.insert(0, Line(shown, "s", first, of_first, budget=1.0))
    lines.append(Line("web process", "MB", memory, None, budget=400.0))
    people = [*map(float, size.people)]
    return lines, [Curve("processor of the web process", "people", people, costs)]


def main() -> int:
    """Measure everything, print the table, write the page if asked."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--short", action="store_true", help="the same on smaller sizes")
    arguments.add_argument("--page", action="store_true", help="write docs/reference/speed.md too")
    arguments.add_argument("--only", default="", help="rules, detector, moments, history or board")
    asked = arguments.parse_args()
    size = SHORT if asked.short else LONG
    lines: list[Line] = []
    curves: list[Curve] = []
    busy = _load()
    begin = time.perf_counter()
    for part in (rules, detector, moments, history, board):
        if asked.only in {"", part.__name__}:
            with tempfile.TemporaryDirectory() as place:
                own, grown = part(size, Path(place))
            sys.stderr.write(f"{part.__name__}: {time.perf_counter() - begin:.0f} s\n")
            lines += own
            curves += grown
    told = f"{os.cpu_count()} cores, load {busy:.1f} at the start and {_load():.1f} at the end, "
    told += "short run" if asked.short else "long run"
    sys.stdout.write(table_text(lines, curves, told))
    if asked.page:
        write_page(lines, curves, told)
    return 0


def _load() -> float:
    """Return how many processes wanted a processor in the last minute, NaN where that is not told."""
    return os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")


def _two(found: Spent) -> tuple[float, float]:
    return found.clock, found.processor


def _bytes(folder: Path) -> int:
    return sum(file.stat().st_size for file in folder.rglob("*") if file.is_file())


def _by_pandas(book: Path, database: Path) -> None:
    """Do what a practitioner would: read the sheet, check ranges, means of each piece, into a database."""
    import sqlite3

    frame = pd.read_excel(book, header=4, engine="calamine")
    frame["Date"] = pd.to_datetime(frame["Date"])
    wall = pd.to_numeric(frame["Bell wall [mm]"], errors="coerce")
    good = frame[wall.between(0.2, 1.0) & frame["Serial"].str.startswith("QH-")]
    good.groupby("Serial")["Bell wall [mm]"].agg(["mean", "std"])
    with sqlite3.connect(database) as conn:
        good.to_sql("readings", conn, if_exists="append", index=False)
    conn.close()


if __name__ == "__main__":
    sys.exit(main())
