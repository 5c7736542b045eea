"""Time what a person at the bench waits for: commands from a cold start, on the sample workshop.

A slide card of 24 figures handed in, the state of every series, twelve held rows mended. Budgets on a quiet
machine: 2 s, 0.7 s and 1 s. Processor seconds of the command and of what it starts are told beside the time
by the clock, since a busy machine stretches the clock more. Another checkout is timed turn by turn with this.

    python tests/benchmarks/bench_day.py [OTHER_CHECKOUT] [--turns 5] [--workshop DEMO]
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from qc.jobs.demo import make_demo

HERE = Path(__file__).resolve().parents[2]
HEAD = """Card;Slide card
Serial;QH-1214
Model;tenor
Date;2026-11-24
Person;FN
Room C;20.4
Micrometer;MIC-2
Bore gauge;BG-1

Leg;Station;Direction;Surface;Inner OD [mm];Outer bore [mm]
"""
TWELVE_ROWS = "88-99"
"""The two legs of a card whose surface was ticked wrongly; held in the sample workshop."""


def slide_card() -> str:
    """Return a card of 24 figures that are all accepted."""
    noise = random.Random(24)
    places = [
        (leg, station, direction)
        for leg in ("upper", "lower")
        for station in ("mouth", "middle", "crook")
        for direction in (0, 90)
    ]
    lines = [
        f"{leg};{station};{direction};stocking;{13.896 + noise.gauss(0, 0.003):.3f};"
        f"{14.048 + noise.gauss(0, 0.003):.3f}"
        for leg, station, direction in places
    ]
    return HEAD + "\n".join(lines) + "\n"


def timed(checkout: Path, *words: str) -> tuple[float, float]:
    """Run a command of a checkout; seconds by the clock and of the processor."""
    env = {**os.environ, "PYTHONPATH": str(checkout)}
    env.pop("PYTHONDONTWRITEBYTECODE", None)  # what was compiled is kept, as where the program is installed
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    words = (sys.executable, "-m", "qc", *words)
    done = subprocess.run(words, env=env, cwd=checkout, capture_output=True, text=True, check=False)
    spent, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    # 1: some of the twelve are told apart from what is on record and held again
    assert done.returncode in {0, 1} and not done.stderr, done.stdout + done.stderr
    return spent, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main(checkouts: list[Path], turns: int, shop: Path | None) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as place:
        card = Path(place) / "slide-card.csv"
        if shop is None:
            shop = make_demo(Path(place) / "shop").folder
        card.write_text(slide_card(), "utf-8")
        asked = {
            "card of 24 figures": (2.0, ("upload", str(card), "--who", "FN")),
            "state of every series": (0.7, ("status",)),
            "twelve rows mended": (1.0, ("held", "mend", TWELVE_ROWS, "--accept", "--who", "FN")),
        }
        taken = {(what, checkout): [] for what in asked for checkout in checkouts}
        for turn in range(turns + 1):
            for what, (_, words) in asked.items():
                for checkout in checkouts:
                    own = Path(shutil.copytree(shop, Path(place) / "own"))
                    found = timed(checkout, *words, "--workshop", str(own))
                    shutil.rmtree(own)
                    if turn:  # the first turn compiles
                        taken[what, checkout].append(found)
    for what, (budget, _) in asked.items():
        sums = []
        for checkout in checkouts:
            clock, processor = (
                statistics.median(column) for column in zip(*taken[what, checkout], strict=True)
            )
            sums.append(processor)
            name = "" if len(checkouts) == 1 else f"   {checkout}"
            said = f"{clock:5.2f} s by the clock (budget {budget}), processor {processor:5.2f} s{name}"
            sys.stdout.write(f"{what:<22} {said}\n")
        if len(sums) > 1:
            sys.stdout.write(f"{'':<22} {sums[1] / sums[0]:.2f} times the processor time of this checkout\n")


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    asked.add_argument("other", nargs="*", type=Path)
    asked.add_argument("--turns", type=int, default=5)
    asked.add_argument("--workshop", type=Path, help="a sample workshop made before; it is copied")
    given = asked.parse_args()
    main([HERE, *(path.resolve() for path in given.other)], given.turns, given.workshop)
