"""What every benchmark measures by: seconds by the clock and of the processor, turn by turn; their growth.

A busy machine stretches the clock more than the work. So whatever is compared takes turns (A B A B ...), each
ratio is that of one turn, and the processor's seconds stand beside those of the clock.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np


@dataclass(frozen=True)
class Spent:
    """Seconds by the clock and of the processor, children that ended included."""

    clock: float
    processor: float


def spent(work: Callable[[], object]) -> Spent:
    """Run some work once."""
    before, begin = _processor(), time.perf_counter()
    work()
    return Spent(time.perf_counter() - begin, _processor() - before)


def turn_by_turn(works: Mapping[str, Callable[[], object]], turns: int) -> dict[str, list[Spent]]:
    """Run several works one after the other, again and again; the first round warms up and is not counted."""
    taken: dict[str, list[Spent]] = {name: [] for name in works}
    for turn in range(turns + 1):
        for name, work in works.items():
            found = spent(work)
            if turn:
                taken[name].append(found)
    return taken


def middle(taken: Sequence[Spent]) -> Spent:
    """Return the medians."""
    return Spent(
        statistics.median(one.clock for one in taken), statistics.median(one.processor for one in taken)
    )


def ratio(above: Sequence[Spent], below: Sequence[Spent]) -> Spent:
    """Return the median of the ratios of the turns, each of two runs that followed each other."""
    pairs = list(zip(above, below, strict=True))
    return Spent(
        statistics.median(a.clock / b.clock for a, b in pairs),
        statistics.median(a.processor / b.processor for a, b in pairs),
    )


def exponent(sizes: Sequence[float], costs: Sequence[float]) -> float:
    """Fit cost = c size^k by least squares of the logarithms; returns k.

    Examples
    --------
    >>> round(exponent([1, 10, 100], [3, 30, 300]), 6), round(exponent([1, 10, 100], [5, 5, 5]), 6)
    (1.0, 0.0)
    """
    return float(np.polyfit(np.log(sizes), np.log(costs), 1)[0])


def command(words: Sequence[str]) -> Callable[[], object]:
    """Return work that is a command from a cold start."""

    def run() -> None:
        done = subprocess.run(words, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr

    return run


def of_process(pid: int) -> tuple[float, float]:
    """Return the processor seconds and the resident memory [MB] of a process; NaN where neither is told."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except OSError:
        return float("nan"), float("nan")
    resident = next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / 1024
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK"), resident


def _processor() -> float:
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + ended.ru_utime + ended.ru_stime
