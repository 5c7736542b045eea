"""Make `qc/stats/thresholds.csv`: simulate the detector's thresholds at every length of stretch.

At each length the thresholds of the three scans are set so that, among the simulated stretches that have
not signalled yet, the share that signals now is the wanted rate, of which the level has 0.8 and spread and
trend 0.1 each (a kind not yet possible leaves its share to the others). `run` makes one independent set of
thresholds; `combine` averages the sets, smooths them over the length and writes the table with its standard
errors, which come from the scatter between the sets.

    python tests/simulation/calibrate_thresholds.py run --shape normal --seed 1 --stretches 200000 --out
    n1.npz python tests/simulation/calibrate_thresholds.py combine n1.npz n2.npz ... --table
    qc/stats/thresholds.csv

The table in the repository: seeds 101-108 for each shape, 200,000 stretches each, a few minutes a set.
"""

from __future__ import annotations

import argparse
import csv
import math
from pathlib import Path

import numpy as np

from qc.stats.detector_ranks import extend_ranks, rank_scores
from qc.stats.detector_scan import (
    SHORTEST,
    SPREAD_SIDE,
    TREND_SIDE,
    Sums,
    normal_score,
    scan,
    statistic_limit,
)
from qc.stats.thresholds import LEVEL_SIDE

RATES = (2e-2, 1e-2, 5e-3, 2e-3, 1e-3, 5e-4, 2e-4, 1e-4)
SHARES = np.array([0.8, 0.1, 0.1])
LONGEST = 200
BLOCK = 64  # stretches scanned at once: their arrays stay in the processor's cache
FEWEST = (
    60  # exceedances a quantile rests on; a rarer one is reached by an exponential tail in the squared score
)
FEWEST_UNION = 300  # exceedances the overlap of the three kinds rests on
FILTER = 0.06  # share of stretches, by each kind, among which the low rates look for exceedances
FILTERED_RATE = 5e-3
KNOTS = [*range(4, 31), 32, 35, 38, 42, 46, 50, 55, 60, 70, 80, 90, 100, 120, 140, 160, 180, 200]


class Ensemble:
    """Stretches of one shape that grow by one reading at a time."""

    def __init__(self, shape: str, stretches: int, seed: int) -> None:
        self.shape, self.stretches = shape, stretches
        self.random = np.random.default_rng([seed, 0 if shape == "normal" else 1])
        self.length = 0
        rows = math.ceil(stretches / BLOCK)
        self.sizes = [min(BLOCK, stretches - i * BLOCK) for i in range(rows)]
        if shape == "normal":
            self.sums = [Sums.empty(size, LONGEST) for size in self.sizes]
            self.first = [np.zeros(size) for size in self.sizes]
        else:
            self.values = [np.empty((size, LONGEST), dtype=np.float32) for size in self.sizes]
            self.ranks = [np.empty((size, 0), dtype=np.int16) for size in self.sizes]

    def grow(self) -> np.ndarray:
        """Add a reading to every stretch; the statistics of all three kinds, shape (stretches, 3)."""
        self.length += 1
        return np.concatenate([self._grow_block(i, size) for i, size in enumerate(self.sizes)])

    def _grow_block(self, block: int, size: int) -> np.ndarray:
        n = self.length
        if self.shape == "normal":
            value = self.random.standard_normal(size)
            if n == 1:
                self.first[block] = value
            self.sums[block].write(n - 1, np.arange(size), value - self.first[block])
            sums = self.sums[block].take(slice(None), n) if n >= SHORTEST else None
        else:
            self.values[block][:, n - 1] = self.random.random(size, dtype=np.float32)
            seen = self.values[block][:, :n]
            self.ranks[block] = extend_ranks(self.ranks[block], seen, seen).astype(np.int16)
            sums = Sums.of(rank_scores(n)[self.ranks[block]]) if n >= SHORTEST else None
        if sums is None:
            return np.zeros((size, 3))
        return scan(sums, np.zeros(size), level_side=LEVEL_SIDE[self.shape]).statistic


def shares_at(length: int) -> np.ndarray:
    """Share of each kind, those not yet possible set to 0."""
    shares = SHARES * [1, length >= 2 * SPREAD_SIDE, length > TREND_SIDE]
    return shares / shares.sum()


def limit(statistics: np.ndarray, kind: int, length: int, expected: float) -> float:
    """Score exceeded by `expected` of the `statistics`; an exponential tail where that is too few."""
    if expected <= 0:
        return math.inf
    reach = min(int(max(expected, FEWEST)) + 2, len(statistics))
    top = np.zeros((reach, 3))
    top[:, kind] = np.sort(np.partition(statistics, len(statistics) - reach)[-reach:])[::-1]
    low = int(expected)
    if expected >= FEWEST:
        score = normal_score(top[low - 1 : low + 1], length)[:, kind]
        return float(score[0] + (expected - low) * (score[1] - score[0]))
    squares = normal_score(top[:FEWEST], length)[:, kind] ** 2
    excess = float(np.mean(squares[:-1] - squares[-1]))
    return math.sqrt(squares[-1] + excess * math.log(FEWEST / expected))


def limits(statistics: np.ndarray, length: int, expected: np.ndarray) -> np.ndarray:
    """Threshold scores of the three kinds that `expected` of the stretches exceed."""
    return np.array([limit(statistics[:, j], j, length, expected[j]) for j in range(3)])


def run(shape: str, stretches: int, seed: int) -> np.ndarray:
    """One set of thresholds, shape (rates, lengths to `LONGEST`, 3)."""
    ensemble = Ensemble(shape, stretches, seed)
    table = np.full((len(RATES), LONGEST + 1, 3), np.inf)
    alive = np.ones((len(RATES), stretches), dtype=bool)
    for n in range(1, LONGEST + 1):
        statistics = ensemble.grow()
        if n < SHORTEST:
            continue
        shares, stretch = shares_at(n), 1.0
        reach = int(FILTER * stretches)
        filtered = (statistics >= np.partition(statistics, stretches - reach, axis=0)[stretches - reach]).any(
            axis=1
        )
        for i, rate in enumerate(RATES):
            rows = np.flatnonzero(alive[i] & filtered if rate <= FILTERED_RATE else alive[i])
            expected = shares * rate * alive[i].sum()
            if expected.sum() >= FEWEST_UNION:
                stretch = union_factor(statistics[rows], n, expected)
            table[i, n] = limits(statistics[rows], n, expected * stretch)
            over = (statistics[rows] > statistic_limit(table[i, n], n)).any(axis=1)
            alive[i, rows[over]] = False
    return table


def union_factor(statistics: np.ndarray, length: int, expected: np.ndarray) -> float:
    """How much more than `expected` the kinds may have between them, since their signals overlap."""
    low, high = 1.0, 1.6
    for _ in range(9):
        middle = (low + high) / 2
        over = statistics > statistic_limit(limits(statistics, length, expected * middle), length)
        low, high = (middle, high) if over.any(axis=1).sum() < expected.sum() else (low, middle)
    return (low + high) / 2


def smooth(raw: np.ndarray, shape: str) -> np.ndarray:
    """Local straight lines in log length; short stretches, where thresholds bend, stay as they are."""
    lengths = np.arange(raw.shape[1])
    bend = {"normal": 9, "any": 25}[shape]
    out = raw.copy()
    for n in range(bend, raw.shape[1]):
        near = np.arange(bend - 1, raw.shape[1])
        gap = np.log(near / n)
        weight = np.exp(-0.5 * (gap / (0.05 + 0.1 * min(1.0, (n - bend) / 30))) ** 2)
        design = np.stack([np.ones_like(gap), gap], axis=1) * np.sqrt(weight)[:, None]
        solve = np.linalg.pinv(design)[0] * np.sqrt(weight)
        out[:, lengths[n]] = np.einsum("k,rkj->rj", solve, raw[:, near])
    return out


def combine(files: list[Path], table: Path) -> None:
    """Average the sets of each shape, smooth, and write the table."""
    with table.open("w", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(
            ["shape", "rate", "length", "level", "spread", "trend", "se_level", "se_spread", "se_trend"]
        )
        for shape in ("normal", "any"):
            sets = [np.load(file)["table"] for file in files if str(np.load(file)["shape"]) == shape]
            fine = np.array([smooth(one, shape) for one in sets])
            centre = fine.mean(axis=0)
            with np.errstate(invalid="ignore"):
                error = (
                    fine.std(axis=0, ddof=1) / math.sqrt(len(sets))
                    if len(sets) > 1
                    else np.full(centre.shape, 0)
                )
            for i, rate in enumerate(RATES):
                for n in KNOTS:
                    figures = [*centre[i, n], *error[i, n]]
                    writer.writerow([shape, f"{rate:g}", n, *(_text(f) for f in figures)])


def _text(figure: float) -> str:
    return f"{math.ceil(figure * 1e4 - 1e-6) / 1e4:.4f}" if math.isfinite(figure) else ""


def main() -> None:
    """Read the words after the program's name."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    commands = parser.add_subparsers(dest="command", required=True)
    make = commands.add_parser("run")
    make.add_argument("--shape", choices=["normal", "any"], required=True)
    make.add_argument("--seed", type=int, required=True)
    make.add_argument("--stretches", type=int, default=200_000)
    make.add_argument("--out", type=Path, required=True)
    join = commands.add_parser("combine")
    join.add_argument("files", type=Path, nargs="+")
    join.add_argument("--table", type=Path, required=True)
    given = parser.parse_args()
    if given.command == "run":
        np.savez(given.out, table=run(given.shape, given.stretches, given.seed), shape=given.shape)
    else:
        combine(given.files, given.table)


if __name__ == "__main__":
    main()
