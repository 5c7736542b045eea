"""Writers are killed in the middle, and write at the same time: no accepted row is lost, none is halved."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from qc.store import open_store

ROOT = Path(__file__).resolve().parents[2]
KILLS = int(os.environ.get("QC_KILLS", "8"))  # a long run found nothing either: set it to hundreds
ROWS = 40  # readings of a sheet

WRITER = """
import sys
import time
from datetime import UTC, date, datetime
from pathlib import Path
import polars as pl
from qc.store import NewSheet, open_store, sheet_hash

folder, name, first, many, rows = Path(sys.argv[1]), sys.argv[2], *map(int, sys.argv[3:6])
pause = float(sys.argv[6])
store = open_store(folder)
print("ready", flush=True)
sys.stdin.readline()
for number in range(first, first + many):
    data = f"{name} {number}".encode()
    frame = pl.DataFrame({
        "serial": [f"{name}-{number}-{i}" for i in range(rows)],
        "day": [date(2026, 5, 14)] * rows,
        "stage": "slide", "characteristic": "inner_od",
        "value": [float(i) for i in range(rows)],
    })
    sheet = NewSheet(f"{name}-{number}.csv", sheet_hash(data), data, "card", frame)
    (count,) = store.add_sheets([sheet], who=name, when=datetime(2026, 5, 14, tzinfo=UTC))
    print(f"accepted {number} {count.accepted}", flush=True)  # from here on the bench has its receipt
    time.sleep(pause)
"""


def start(folder, name, first, many, pause=0.0):
    arguments = [str(folder), name, str(first), str(many), str(ROWS), str(pause)]
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def let_go(*writers):
    """Wait until every writer has opened the store, then let all of them write."""
    for writer in writers:
        assert writer.stdout.readline().strip() == "ready"
    for writer in writers:
        writer.stdin.write("go\n")
        writer.stdin.flush()


def accepted(output):
    return [int(line.split()[1]) for line in output.splitlines() if line.startswith("accepted")]


@pytest.mark.slow
def test_killed_writers_lose_nothing_that_was_accepted_and_leave_nothing_half_written(tmp_path):
    """Each writer is killed (SIGKILL) at a random moment of its writing; the next goes on in its store."""
    chance = random.Random(20260514)
    promised = set()
    open_store(tmp_path).close()
    for kill in range(KILLS):
        writer = start(tmp_path, f"w{kill}", 0, 100_000)
        let_go(writer)
        first = writer.stdout.readline()  # so the kill falls into the writing, not before it
        time.sleep(chance.uniform(0.0, 0.06))
        os.kill(writer.pid, signal.SIGKILL)
        output, _ = writer.communicate()
        promised |= {(f"w{kill}", number) for number in accepted(first + output)}
    assert len(promised) >= KILLS
    with open_store(tmp_path) as store:
        assert store.verify() == []
        rows = store.readings().group_by("sheet").len()
        assert rows["len"].unique().to_list() == [ROWS]  # a sheet is there with all its rows or not at all
        files = {sheet.file for sheet in store.sheets()}
        assert {f"{name}-{number}.csv" for name, number in promised} <= files
        assert rows.height == len(files)
        assert all(store.sheet_bytes(digest) for digest in rows["sheet"])


@pytest.mark.slow
def test_two_processes_writing_at_once_lose_no_row(tmp_path):
    open_store(tmp_path).close()
    # without a pause one may be done on a busy machine while the other still sleeps before its next try
    writers = [start(tmp_path, name, 0, 30, pause=0.01) for name in ("one", "two")]
    let_go(*writers)
    outputs = [writer.communicate(timeout=120)[0] for writer in writers]
    assert [writer.returncode for writer in writers] == [0, 0]
    assert [accepted(output) for output in outputs] == [list(range(30))] * 2
    with open_store(tmp_path) as store:
        assert store.verify() == []
        assert store.readings().height == 2 * 30 * ROWS
        names = [entry.who for entry in store.entries()]
    assert {name: names.count(name) for name in ("one", "two")} == {"one": 30, "two": 30}
    assert names != sorted(names)  # they did take turns


@pytest.mark.slow
def test_two_processes_with_the_same_sheets_store_each_row_once(tmp_path):
    open_store(tmp_path).close()
    writers = [start(tmp_path, "same", 0, 20) for _ in range(2)]
    let_go(*writers)
    for writer in writers:
        writer.communicate(timeout=120)
    with open_store(tmp_path) as store:
        assert store.readings().height == 20 * ROWS
        assert len(store.sheets()) == 20
        assert store.verify() == []
