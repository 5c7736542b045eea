"""Work down a list of held rows at the board, key by key; print how long each takes and what it costs.

A board of a workshop with 120 held rows and a browser are started; on the page of sheets each row is decided
about by its button, from the key press until the row says what became of it and the next one has the focus.
The goal is 0.3 s (median) on a machine with nothing else to do; the load stands beside it, since on a busy
one the clock says more about the others. Needs a Chromium on the path, and Linux for the processor times.

    python tests/benchmarks/bench_mends.py [mends] [seconds between two]
"""

from __future__ import annotations

import os
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright

from qc.jobs.board.serving import running
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from sample_measurements import folder as sample_folder

GOAL_S = 0.3
MENDS, APART_S = 30, 2.0
SETTLES_S = 3.0  # a person reads the first row of a page before deciding
ROWS, BATCH = 120, 20  # in one go the last serials would lie far beyond the first, and be asked about too
FIRST = 1214  # the sample's cards of slide forces go as far
SETTLED = "name => !document.getElementById(name)?.querySelector('form')"
"""Whether a row has nothing left to decide."""
TICKS = os.sysconf("SC_CLK_TCK")


def make_workshop(folder: Path) -> None:
    """Make a workshop with the sample's slide forces and 120 cards with a figure ten times too large."""
    folder.mkdir()
    (folder / "plan.yaml").write_bytes((sample_folder() / "plan.yaml").read_bytes())
    workshop = open_workshop(folder)
    forces = sorted((sample_folder() / "sheets").rglob("slide-force*.csv"))
    upload(workshop, [(path.name, path.read_bytes()) for path in forces], who="IS")
    head = ["Card,Slide force card,,,", "Gauge,SB-1,,,", ",,,,", "Date,Serial,Model,Person,Slide force [N]"]
    sheets = []
    for n in range(FIRST, FIRST + 2 * ROWS, 2):
        good = f"{workshop.today},QH-{n},tenor,FN,{0.85 + n % 20 / 100:.2f}"
        slip = f"{workshop.today},QH-{n + 1},tenor,FN,{8 + n % 40 / 20:.2f}"
        sheets.append((f"card-{n}.csv", "\n".join([*head, good, slip]).encode()))
    for at in range(0, ROWS, BATCH):
        upload(workshop, sheets[at : at + BATCH], who="IS")
    held = workshop.store.held()
    workshop.store.close()
    bare = sum(not row.proposal for row in held)
    assert len(held) >= ROWS and bare < ROWS // 10, f"{len(held)} rows, {bare} without a mend"


def used_s(process: int) -> float:
    """Return the processor time of a process and of those it started [s]."""
    spent = 0.0
    for one in (process, *_started_by(process)):
        fields = Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split()
        spent += (int(fields[11]) + int(fields[12])) / TICKS
    return spent


def _started_by(process: int) -> list[int]:
    found = []
    for one in Path(f"/proc/{process}/task").iterdir():
        for child in map(int, (one / "children").read_text().split()):
            found += [child, *_started_by(child)]
    return found


def mend(page: Page) -> float:
    """Accept the mend of the first row that waits; return how long that took [s].

    Where the page of the list has none left, as after ten, the next page is what a reload shows.
    """
    row = page.locator(".held-row:not(.settled)", has=page.locator("button[data-mend]")).first
    if not row.count():
        page.reload()
        page.locator("#held-who").select_option(index=1)
        row.wait_for()
        time.sleep(SETTLES_S)
    name = row.get_attribute("id")
    button = row.get_by_role("button", name="Accept")
    button.focus()
    begun = time.perf_counter()
    page.keyboard.press("Enter")
    page.wait_for_function(
        SETTLED,
        arg=name,
        polling=5,
    )
    return time.perf_counter() - begun


def main(mends: int, apart_s: float) -> int:
    """Print what each mend took; 1 where the median is over the goal."""
    say = sys.stdout.write
    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        folder = Path(place) / "shop"
        make_workshop(folder)
        more: dict[str, Any] = {"args": ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]}
        browser = playwright.chromium.launch(executable_path=found, **more)
        with running(folder) as (address, process):
            page = browser.new_page()
            page.goto(f"{address}sheets")
            page.locator("#held-who").select_option(index=1)
            time.sleep(20.0)  # the worker starts, and loads what it needs
            mend(page)
            before = used_s(process.pid)
            times = []
            for _ in range(mends):
                time.sleep(apart_s)
                times.append(mend(page))
            spent = (used_s(process.pid) - before) / mends
        browser.close()
    median = statistics.median(times)
    say(f"{mends} mends of {ROWS} rows, {apart_s:.1f} s apart: median {median:.2f} s ")
    say(f"(goal {GOAL_S} s), {min(times):.2f} to {max(times):.2f} s\n")
    say(f"server {spent:.2f} s of processor a mend, with what is checked ahead and judged between\n")
    say(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors\n")
    return int(median > GOAL_S)


if __name__ == "__main__":
    asked = sys.argv[1:]
    sys.exit(main(int(asked[0]) if asked else MENDS, float(asked[1]) if len(asked) > 1 else APART_S))
