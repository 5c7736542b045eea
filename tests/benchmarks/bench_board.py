"""Time the board against its budgets on a large workshop: 200 series of 200 points over a million readings.

First screen within 1 s of the start-up's end, 95 % of the callbacks under 150 ms with eight people acting
every two seconds on stage pages, web process under 400 MB.

python tests/benchmarks/bench_board.py [readings]
"""

from __future__ import annotations

import json
import sys
import tempfile
import threading
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from urllib.request import Request, urlopen

import numpy as np
import polars as pl

from qc.jobs.board.serving import running
from qc.jobs.pieces import outside_up_to_date
from qc.jobs.workshop import open_workshop
from qc.plan import EVENT, READING
from qc.store import NewSheet, sheet_hash
from qc.watch import Point, SeriesKey, SeriesVerdict, StretchResult

STAGES, FIGURES, POINTS = 10, 20, 200
PEOPLE, SECONDS, PAUSE_S = 8, 20, 2.0
FIRST_BUDGET_S, CALLBACK_BUDGET_S, MEMORY_BUDGET_MB = 1.0, 0.150, 400
TODAY = date(2026, 11, 24)
MOMENT = datetime(2026, 11, 24, 12, tzinfo=UTC)
PLAN = """
workshop: {name: Large Trial Works, time_zone: UTC, today: 2026-11-24}
models: [{id: tenor, name: Tenor, family: tenor, pedal_midi: 34, length_mm: 2931.6}]
cards: [{id: trial, title: Trial card, source: bench, stage: s0, characteristics: [f0]}]
stages:
"""


def make_workshop(folder: Path, readings: int) -> None:
    """Make a workshop of this many readings with kept verdicts, past the benches and their checks."""
    text = PLAN
    for stage in range(STAGES):
        text += f"  - id: s{stage}\n    name: Stage {stage}\n    characteristics:\n"
        for figure in range(FIGURES):
            text += f"      - {{id: f{figure}, name: Figure {figure}, unit: mm, pool: all, "
            text += "limits: [{target: 10, lower: 5, upper: 15}]}\n"
    folder.mkdir(parents=True)
    (folder / "plan.yaml").write_text(text, "utf-8")
    workshop = open_workshop(folder)
    rng = np.random.default_rng(1)
    share = readings // STAGES
    for stage in range(STAGES):
        data = f"stage {stage}".encode()
        frame = _readings(stage, share, rng)
        sheet = NewSheet(
            f"s{stage}.csv", sheet_hash(data), data, "trial", frame, _empty(EVENT), pl.DataFrame()
        )
        workshop.store.add_sheets([sheet], who="", when=MOMENT)
    verdicts = [_verdict(s, f, rng).to_dict() for s in range(STAGES) for f in range(FIGURES)]
    workshop.store.save_verdicts(verdicts, as_of=TODAY)
    outside_up_to_date(workshop)  # as the board's worker leaves it when it has judged
    workshop.store.close()


def first_screen(address: str) -> float:
    """Seconds for what the first screen asks of the server, one after the other."""
    begin = time.perf_counter()
    for path in ("", "theme.css", "_dash-layout", "_dash-dependencies"):
        urlopen(address + path).read()
    open_page(address, "/")
    return time.perf_counter() - begin


def open_page(address: str, path: str) -> float:
    """Seconds for one page turn."""
    names = [("main", "children"), ("nav", "children"), ("page-name", "data")]
    body = {
        "output": "..main.children...nav.children...page-name.data..",
        "outputs": [{"id": i, "property": p} for i, p in names],
        "inputs": [{"id": "url", "property": "pathname", "value": path}],
        "changedPropIds": ["url.pathname"],
    }
    kind = {
        "Content-Type": "application/json",
        "Origin": address.rstrip("/"),
    }  # as a page of the board sends it
    request = Request(address + "_dash-update-component", json.dumps(body).encode(), kind)
    begin = time.perf_counter()
    urlopen(request).read()
    return time.perf_counter() - begin


def people_at(address: str, number: int = PEOPLE, seconds: float = SECONDS) -> list[float]:
    """Seconds of every page turn while so many people turn stage pages."""
    spent: list[float] = []
    end = time.monotonic() + seconds

    def person(place: int) -> None:
        rng = np.random.default_rng(place)
        time.sleep(PAUSE_S * place / number)
        while time.monotonic() < end:
            path = f"/stages/s{rng.integers(STAGES)}/f{rng.integers(FIGURES)}/all"
            spent.append(open_page(address, path))
            time.sleep(PAUSE_S)

    people = [threading.Thread(target=person, args=(n,)) for n in range(number)]
    for one in people:
        one.start()
    for one in people:
        one.join()
    return spent


def main(readings: int) -> int:
    """Print the figures; 1 where one is over its budget."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "workshop"
        make_workshop(folder, readings)
        begin = time.perf_counter()
        with running(folder) as (address, process):
            start = time.perf_counter() - begin
            first = first_screen(address)
            spent = people_at(address)
            memory = _resident_mb(process.pid)
    slow = float(np.quantile(spent, 0.95))
    say = sys.stdout.write
    say(f"{readings} readings, {STAGES * FIGURES} series: start-up {start:.2f} s\n")
    say(f"first screen {first:.3f} s (budget {FIRST_BUDGET_S} s)\n")
    say(f"page turns {len(spent)}, median {np.median(spent) * 1e3:.0f} ms, 95 % under {slow * 1e3:.0f} ms ")
    say(f"(budget {CALLBACK_BUDGET_S * 1e3:.0f} ms)\n")
    say(f"web process {memory:.0f} MB (budget {MEMORY_BUDGET_MB} MB)\n")
    return int(first > FIRST_BUDGET_S or slow > CALLBACK_BUDGET_S or memory > MEMORY_BUDGET_MB)


def _readings(stage: int, count: int, rng: np.random.Generator) -> pl.DataFrame:
    number = np.arange(count)
    piece = number // (FIGURES * 25)
    values = rng.normal(10.0, 1.0, count).round(4)
    frame = pl.DataFrame(
        {
            "serial": [f"L-{p:05d}" for p in piece],
            "characteristic": [f"f{n}" for n in number // 25 % FIGURES],
            "spot": (number % 25 + 1).astype(np.int32),
            "value": values,
            "text": [f"{v:.4f}" for v in values],
            "row": number.astype(np.int64) + 2,
            "day": [TODAY - timedelta(days=int(p) % 700) for p in piece],
        }
    ).with_columns(
        model=pl.lit("tenor"),
        stage=pl.lit(f"s{stage}"),
        unit=pl.lit("mm"),
        measured_at=pl.lit(MOMENT),
        entered_at=pl.lit(MOMENT),
        has_time=pl.lit(False),
        repeat=pl.lit(1),
    )
    missing = [pl.lit(None).alias(name) for name in READING if name not in frame.columns]
    return frame.with_columns(missing).select(list(READING))


def _empty(columns: dict[str, str]) -> pl.DataFrame:
    return pl.DataFrame(schema={name: pl.String for name in columns})


def _verdict(stage: int, figure: int, rng: np.random.Generator) -> SeriesVerdict:
    values = rng.normal(10.0, 1.0, POINTS)
    points = tuple(
        Point(
            n + 1, f"L-{n:05d}", TODAY - timedelta(days=POINTS - n), "tenor", float(v), float(v), readings=25
        )
        for n, v in enumerate(values)
    )
    whole = StretchResult(1, POINTS, float(values.mean()), float(values.std()), POINTS, changed=False)
    return SeriesVerdict(
        key=SeriesKey(f"s{stage}", f"f{figure}", "all"),
        stage_name=f"Stage {stage}",
        name=f"Figure {figure}",
        unit="mm",
        kind="measured",
        pieces=POINTS,
        behaviour="steady",
        capable="proven",
        ppk=1.6,
        ppk_low=1.4,
        ppk_high=1.8,
        ppk_reason="",
        outside_share=0.0,
        outside_low=0.0,
        outside_high=0.001,
        target=10.0,
        lower=5.0,
        upper=15.0,
        natural_lower=7.0,
        natural_upper=13.0,
        present=tuple(range(1, POINTS + 1)),
        sd_between=1.0,
        sd_within=0.5,
        centered=False,
        points=points,
        stretches=(whole,),
        signals=(),
    )


def _resident_mb(pid: int) -> float:
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / 1024


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000))
