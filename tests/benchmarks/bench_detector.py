"""Time the detector against its budgets: 4,000 series of 120 points in 10 s, one more point under 5 ms.

python tests/benchmarks/bench_detector.py
"""

from __future__ import annotations

import sys
import time

import numpy as np

from qc.stats import DetectorState, detect_many

SERIES, POINTS, STRETCH = 4000, 120, 500
BATCH_BUDGET, POINT_BUDGET = 10.0, 0.005


def batch_seconds(shape: str) -> float:
    """Seconds for all series at once."""
    values = np.exp(np.random.default_rng(1).normal(1.0, 0.2, (SERIES, POINTS)))
    begin = time.perf_counter()
    detect_many(list(values), shape=shape)
    return time.perf_counter() - begin


def point_seconds(shape: str) -> float:
    """Median seconds for one more point on a long stretch."""
    values = np.exp(np.random.default_rng(2).normal(1.0, 0.2, STRETCH + 50))
    state = DetectorState(shape=shape, false_alarm_rate=1e-6)
    for value in values[:STRETCH]:
        state.add(float(value))
    spent = []
    for value in values[STRETCH:]:
        begin = time.perf_counter()
        state.add(float(value))
        spent.append(time.perf_counter() - begin)
    return float(np.median(spent))


def main() -> int:
    """Print a line for each shape; 1 when a budget is broken."""
    broken = False
    for shape in ("normal", "positive", "any", "auto"):
        batch, point = batch_seconds(shape), point_seconds(shape)
        broken |= batch > BATCH_BUDGET or point > POINT_BUDGET
        sys.stdout.write(
            f"detector {shape}: {SERIES} x {POINTS} in {batch:.2f} s (budget {BATCH_BUDGET:g}), "
            f"one more on {STRETCH} in {1000 * point:.2f} ms (budget {1000 * POINT_BUDGET:g})\n"
        )
    return int(broken)


if __name__ == "__main__":
    raise SystemExit(main())
