"""Rate and delay of the detector by plain loops over all splits, on draws used nowhere else.

    python tests/simulation/independent_rates.py [--series 4000]

Nothing of the detector is used: the two-sample t comes from means and variances of the two parts, the ratio
of the spreads from Bartlett's formula as textbooks print it, the climb from least squares, the normal score
from the distributions of a general-purpose library, and the thresholds straight from `thresholds.csv`. The
program prints the share of points at risk that signal beside the rate asked for, and the median delay after
two sigma.
"""

from __future__ import annotations

import argparse
import csv
import math
import sys
from pathlib import Path

import numpy as np
from scipy import stats

SEED = 77003
TABLE = Path(__file__).parents[2] / "qc" / "stats" / "change" / "thresholds.csv"
KINDS = ("level", "spread", "trend")


def thresholds(rate: float) -> dict[int, dict[str, float]]:
    """Rows of the table for normal readings at one tabulated rate."""
    with TABLE.open(encoding="ascii") as file:
        rows = [
            row for row in csv.DictReader(file) if row["shape"] == "normal" and float(row["rate"]) == rate
        ]
    return {int(row["length"]): {kind: float(row[kind] or math.inf) for kind in KINDS} for row in rows}


def scores(x: np.ndarray) -> dict[str, float]:
    """Largest score of each kind in one stretch."""
    n = len(x)
    best = dict.fromkeys(KINDS, 0.0)
    for k in range(1, n):
        a, b = x[:k], x[k:]
        pooled = (((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum()) / (n - 2)
        t = abs(a.mean() - b.mean()) / math.sqrt(pooled * (1 / k + 1 / (n - k)))
        best["level"] = max(best["level"], t)
        if 4 <= k <= n - 4:
            va, vb = a.var(ddof=1), b.var(ddof=1)
            both = ((k - 1) * va + (n - k - 1) * vb) / (n - 2)
            ratio = (n - 2) * math.log(both) - (k - 1) * math.log(va) - (n - k - 1) * math.log(vb)
            bartlett = ratio / (1 + (1 / (k - 1) + 1 / (n - k - 1) - 1 / (n - 2)) / 3)
            best["spread"] = max(best["spread"], math.sqrt(max(bartlett, 0.0)))
        if k <= n - 5:
            ramp = np.maximum(np.arange(1, n + 1) - k, 0.0)
            r = abs(np.corrcoef(ramp, x)[0, 1])
            best["trend"] = max(best["trend"], r * math.sqrt((n - 2) / (1 - r * r)))
    for kind in ("level", "trend"):
        best[kind] = float(stats.norm.isf(stats.t.sf(best[kind], n - 2)))
    return best


def first_signal(x: np.ndarray, limits: dict[int, dict[str, float]]) -> int:
    """Length at which a series first signals, 0 if it never does."""
    known = sorted(limits)
    for n in range(4, len(x) + 1):
        found = scores(x[:n])
        if any(found[kind] > _limit(limits, known, n, kind) for kind in KINDS):
            return n
    return 0


def hazard(series: int, length: int, rate: float) -> tuple[float, float]:
    """First signals over points at risk, with the standard error."""
    limits = thresholds(rate)
    values = np.random.default_rng([SEED, length, round(1 / rate)]).standard_normal((series, length))
    first = np.array([first_signal(row, limits) for row in values])
    at_risk = np.where(first > 0, first, length).sum() - 3 * series
    return float((first > 0).sum() / at_risk), float(math.sqrt((first > 0).sum()) / at_risk)


def median_delay(series: int, size: float, after: int, rate: float) -> float:
    """Median points from a step to the signal, series with an earlier one left out."""
    limits = thresholds(rate)
    values = np.random.default_rng([SEED, after, round(10 * size)]).standard_normal((series, after + 25))
    values[:, after:] += size
    first = np.array([first_signal(row, limits) for row in values])
    return float(np.median(np.where(first == 0, after + 26, first)[(first == 0) | (first > after)])) - after


def _limit(limits: dict[int, dict[str, float]], known: list[int], n: int, kind: str) -> float:
    """Threshold at a length, straight in the logarithm of the length between tabulated ones."""
    if n in limits:
        return limits[n][kind]
    right = next(i for i, length in enumerate(known) if length > n)
    low, high = known[right - 1], known[right]
    share = math.log(n / low) / math.log(high / low)
    return limits[low][kind] + share * (limits[high][kind] - limits[low][kind])


def main() -> None:
    """Write rates and a delay to the standard output."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--series", type=int, default=4000)
    series = parser.parse_args().series
    for rate in (0.01, 0.001):
        found, error = hazard(series, 30, rate)
        sys.stdout.write(f"asked {rate:g}: {found / rate:.2f} ± {error / rate:.2f} of it, 30 points\n")
    delay = median_delay(series // 10, 2.0, 20, 0.001)
    sys.stdout.write(f"median delay after 2 sigma from the 21st point on: {delay:g}\n")


if __name__ == "__main__":
    main()
