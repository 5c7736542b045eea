"""Time the same upload into a small and into large stores; print the ratio (budget 1.2).

Each store holds readings of five figures a piece at five stages, one piece after the other. The window of
every series is full in each of them and holds the same figures; only the past differs. Then the same cards of
fresh pieces are uploaded one after the other, checked, stored and judged as those of a bench would be.

    python tests/benchmarks/bench_upload.py [readings ...]
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from qc.jobs.upload import upload
from qc.jobs.workshop import Workshop, open_workshop
from qc.plan import EVENT, READING
from qc.store import NewSheet, sheet_hash

SIZES = (10_000, 1_000_000)
BUDGET = 1.2
UPLOADS = 9
A_DAY, A_SHEET = 200, 20_000  # pieces
LASTING = 2_000  # pieces after which the figures come again: more than a window holds
TODAY = date(2026, 11, 24)
MOMENT = datetime(2026, 11, 24, 12, tzinfo=UTC)
FIGURES = ("leak", "force", "play", "mass", "gloss")
PLAN = """
workshop: {name: Long Trial Works, serial_prefix: LT-, time_zone: UTC, today: 2026-11-24}
models: [{id: tenor, name: Tenor, family: tenor, pedal_midi: 34, length_mm: 2931.6}]
cards:
  - {id: trial, title: Trial card, source: bench, stage: s0, characteristics: [leak]}
people: [{code: AB}]
stages:
"""
KINDS = {"str": pl.String, "int": pl.Int64, "float": pl.Float64, "bool": pl.Boolean, "date": pl.Date}
KINDS["datetime"] = pl.Datetime("us", "UTC")


def make_workshop(folder: Path, readings: int) -> Workshop:
    """Make a workshop with so many readings in its past, put straight into the store."""
    folder.mkdir(parents=True)
    stages = [
        f"  - {{id: s{i}, name: Stage {i}, characteristics: [{{id: {name}, name: {name}, unit: mm, "
        "pool: all, resolution: 0.001, limits: [{target: 10, lower: 5, upper: 15}]}]}\n"
        for i, name in enumerate(FIGURES)
    ]
    further = [
        f"  - {{id: t{i}, title: Further card {i}, source: bench, stage: s{i}, characteristics: [{name}]}}\n"
        for i, name in enumerate(FIGURES)
        if i
    ]
    text = PLAN.replace("people:", f"{''.join(further)}people:")
    (folder / "plan.yaml").write_text(text + "".join(stages), "utf-8")
    workshop = open_workshop(folder)
    pieces = readings // len(FIGURES)
    for first in range(0, pieces, A_SHEET):
        numbers = np.arange(first, min(first + A_SHEET, pieces))
        data = f"pieces {first}".encode()
        frame = _past(numbers, pieces)
        sheet = NewSheet(
            f"{first}.csv", sheet_hash(data), data, "trial", frame, _empty(EVENT), pl.DataFrame()
        )
        workshop.store.add_sheets([sheet], who="AB", when=MOMENT)
    return workshop


def time_uploads(workshops: dict[int, Workshop]) -> dict[int, list[float]]:
    """Upload the same cards of fresh pieces one after the other; seconds of processor time for each.

    The stores take turns, card by card, so that whatever else the machine does falls on all of them alike.
    """
    rng = np.random.default_rng(2)
    taken: dict[int, list[float]] = {size: [] for size in workshops}
    for number in range(UPLOADS + 2):
        figures = 10 + rng.normal(0, 0.5, 8)
        for size, workshop in workshops.items():
            lines = ["Card;Trial card", "", "Date;Serial;Model;Person;leak [mm]"]
            for piece, figure in enumerate(figures):
                serial = f"LT-{size // len(FIGURES) + 8 * number + piece:07d}"
                lines.append(f"2026-11-24;{serial};tenor;AB;{figure:.3f}")
            card = (f"today {number}.csv", "\r\n".join(lines).encode())
            began = time.process_time()
            (receipt,) = upload(workshop, [card], who="AB").sheets
            taken[size].append(time.process_time() - began)
            assert receipt.count.accepted == 8, receipt.to_dict()
    # the first ones load the checker and find where the windows begin
    return {size: seconds[2:] for size, seconds in taken.items()}


def write_history(file: Path, readings: int) -> Path:
    """Write so many readings of the same figures as a history: one a row, a piece's figures together."""
    noise = np.random.default_rng(3).normal(10, 0.5, readings)
    with file.open("w", encoding="utf-8") as out:
        out.write("Serial;Model;Date;Stage;Characteristic;Value;Person\n")
        for number, figure in enumerate(noise):
            piece, name = divmod(number, len(FIGURES))
            day = TODAY - timedelta(days=1 + (readings // len(FIGURES) - piece) // A_DAY)
            out.write(f"LT-{piece:07d};tenor;{day};s{name};{FIGURES[name]};{figure:.3f};AB\n")
    return file


def main(sizes: list[int]) -> int:
    """Measure and print; exit 1 over the budget."""
    with tempfile.TemporaryDirectory() as place:
        workshops = {size: make_workshop(Path(place) / str(size), size) for size in sizes}
        taken = time_uploads(workshops)
        for workshop in workshops.values():
            workshop.store.close()
    for size, seconds in taken.items():
        sys.stdout.write(
            f"{size:>11,} readings: {1000 * statistics.median(seconds):.0f} ms an upload "
            f"({1000 * min(seconds):.0f} to {1000 * max(seconds):.0f})\n"
        )
    medians = [statistics.median(taken[size]) for size in sizes]
    ratio = medians[-1] / medians[0]
    sys.stdout.write(f"ratio {ratio:.2f} (budget {BUDGET})\n")
    return 0 if ratio <= BUDGET else 1


def _past(numbers: np.ndarray, pieces: int) -> pl.DataFrame:
    """Return the readings of some pieces, five a piece; those of the newest are the same in every store."""
    noise = np.random.default_rng(1).normal(0, 0.5, (LASTING, len(FIGURES)))[(pieces - 1 - numbers) % LASTING]
    days = [TODAY - timedelta(days=int(1 + (pieces - 1 - n) // A_DAY)) for n in numbers]
    base = pl.DataFrame({"serial": [f"LT-{n:07d}" for n in numbers], "day": days, "row": numbers})
    parts = [
        base.with_columns(
            stage=pl.lit(f"s{i}"),
            characteristic=pl.lit(name),
            value=pl.Series(10 + noise[:, i]).round(3),
        )
        for i, name in enumerate(FIGURES)
    ]
    rows = pl.concat(parts).with_columns(
        model=pl.lit("tenor"),
        unit=pl.lit("mm"),
        person=pl.lit("AB"),
        has_time=pl.lit(False),
        measured_at=pl.col("day").cast(pl.Datetime("us")).dt.replace_time_zone("UTC"),
        text=pl.col("value").cast(pl.String),
    )
    blank = [pl.lit(None, KINDS[k]).alias(n) for n, k in READING.items() if n not in rows.columns]
    return rows.with_columns(blank).select(list(READING))


def _empty(columns: dict[str, str]) -> pl.DataFrame:
    return pl.DataFrame(schema={name: KINDS[kind] for name, kind in columns.items()})


if __name__ == "__main__":
    raise SystemExit(main([int(word) for word in sys.argv[1:]] or list(SIZES)))
