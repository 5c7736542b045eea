"""The three moments, timed: upload of a 5,000-row workbook, the board's first page, the report.

Budgets (design): 6 s cold and 1 s warm for the workbook, 0.3 s for help, 5 s for the report, 1 s for the
first page, 400 MB for the web process. Run: python tests/benchmarks/bench_main.py
"""

import random
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import xlsxwriter

from qc.ingest import keep_reader
from qc.jobs.board.serving import fetch_once, running
from qc.jobs.demo import make_demo
from qc.jobs.monthly import month
from qc.jobs.upload import read_files, upload
from qc.jobs.workshop import open_workshop

ROWS = 5_000
GAUGE = "BM-1"
PIECES = 250
KNOWN = 220  # instruments of the sample workshop; their models are on record
PLACES = [(station, direction) for station in range(1, 6) for direction in (0, 90, 180, 270)]


def bell_workbook(path, first_day):
    """Write a bell wall map of 250 bells, 20 places each: 5,000 readings on one sheet."""
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("Bell")
        for row, (label, value) in enumerate((("Card", "Bell wall map"), ("Person", "EL"), ("Gauge", GAUGE))):
            sheet.write_row(row, 0, (label, value))
        sheet.write_row(4, 0, ("Date", "Serial", "Model", "Station", "Direction", "Bell wall [mm]"))
        row = 5
        noise = random.Random(first_day.toordinal())
        for piece in range(PIECES):
            level = noise.gauss(0.5, 0.01)
            day = first_day + timedelta(days=piece % 20)
            for station, direction in PLACES:
                wall = level + noise.gauss(0, 0.02)
                cells = (
                    day.isoformat(),
                    f"QH-{1001 + piece}",
                    "tenor" if piece >= KNOWN else "",
                    str(station),
                    str(direction),
                    f"{wall:.2f}",
                )
                sheet.write_row(row, 0, cells)
                row += 1
    return path


def timed(work):
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def command(*words):
    done = subprocess.run([sys.executable, "-m", "qc", *map(str, words)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


def memory_mb(pid):
    """Resident memory of a process [MB]."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return float("nan")


def tell(what, seconds, budget, more=""):
    print(f"{what:<36} {seconds:6.2f} s   (budget {budget})   {more}".rstrip())


def main():
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "workshop"
        seconds, _ = timed(lambda: make_demo(folder))
        tell("sample workshop, 280 sheets", seconds, 60)
        tell("qc --help", min(timed(lambda: command("--help"))[0] for _ in range(3)), 0.3)
        cold = bell_workbook(Path(place) / "cold.xlsx", date(2026, 9, 1))
        warm = bell_workbook(Path(place) / "warm.xlsx", date(2026, 10, 1))
        seconds, said = timed(lambda: command("upload", cold, "--workshop", folder))
        tell(f"upload of {ROWS} rows, cold command", seconds, 6, said.splitlines()[0])
        workshop = open_workshop(folder)
        keep_reader()  # as the board's worker does
        seconds, receipt = timed(lambda: upload(workshop, read_files([warm])))
        tell("the same inside a warm process", seconds, 1, receipt.to_text().splitlines()[0])
        seconds, _ = timed(lambda: month(workshop, "2026-10", out=Path(place) / "report"))
        tell("monthly report, 27 series, 3 ways", seconds, 5)
        workshop.store.close()
        with running(folder) as (address, process):
            seconds, _ = timed(lambda: fetch_once(address))
            again = min(timed(lambda: fetch_once(address))[0] for _ in range(5))
            tell("first page after start-up", seconds, 1, f"then {again:.3f} s")
            print(f"web process: {memory_mb(process.pid):.0f} MB (budget 400)")


if __name__ == "__main__":
    main()
