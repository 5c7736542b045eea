"""Make `qc/stats/change/thresholds.csv`: simulate the detector's thresholds at every length of stretch.

At each length the thresholds of the three scans are set so that, among the simulated stretches that have
not signalled yet, the share that signals now is the wanted rate, of which the level has 0.8 and spread and
trend 0.1 each (a kind not yet possible leaves its share to the others). `run` makes one independent set of
thresholds; `combine` averages the sets, smooths them over the length and writes the table with its standard
errors, which come from the scatter between the sets. For normal readings and rates of 1 in 1,000 and rarer
`calibrate_rare.py` makes the sets.

    cd tests/simulation
    python calibrate_thresholds.py run --shape normal --seed 101 --out n1.npz
    python calibrate_rare.py --seed 201 --out r1.npz
    python calibrate_thresholds.py combine n1.npz ... r1.npz ... --table ../../qc/stats/change/thresholds.csv

The table in the repository: seeds 101-103 for each shape, 200,000 stretches each.
"""

from __future__ import annotations

import argparse
import csv
import math
from pathlib import Path
from typing import Any

import numpy as np

from qc.stats.change.ranks import extend_ranks, rank_scores
from qc.stats.change.scan import SHORTEST, SPREAD_SIDE, TREND_SIDE, Sums, normal_score, scan, statistic_limit
from qc.stats.change.thresholds import LEVEL_SIDE

RATES = (2e-2, 1e-2, 5e-3, 2e-3, 1e-3, 5e-4, 2e-4, 1e-4)
RARE_RATES = (1e-3, 5e-4, 2e-4, 1e-4, 1e-5, 1e-6)  # for normal readings made by `calibrate_rare.py`
SHARES = np.array([0.8, 0.1, 0.1])
LONGEST = 200
BLOCK = 64  # stretches scanned at once: their arrays stay in the processor's cache
FEWEST = 60  # exceedances a quantile rests on; a rarer one is reached by an exponential tail
FEWEST_UNION = 300  # exceedances the overlap of the three kinds rests on
FILTER = 0.06  # share of stretches, by each kind, among which the low rates look for exceedances
FILTERED_RATE = 5e-3
BEND = {"normal": 9, "any": 25}  # lengths from which on thresholds are smooth
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


def smooth(raw: np.ndarray, lengths: np.ndarray, bend: int) -> np.ndarray:
    """Local straight lines in log length; shorter than `bend` thresholds bend and stay as they are."""
    out = raw.copy()
    near = np.flatnonzero(lengths >= bend - 1)
    for at in np.flatnonzero(lengths >= bend):
        gap = np.log(lengths[near] / lengths[at])
        width = 0.05 + 0.1 * min(1.0, (lengths[at] - bend) / 30)
        root = np.exp(-0.25 * (gap / width) ** 2)
        solve = np.linalg.pinv(np.stack([root, gap * root], axis=1))[0] * root
        out[:, at] = np.einsum("k,rkj->rj", solve, raw[:, near])
    return out


def combine(files: list[Path], table: Path) -> None:
    """Average the sets of each kind, smooth, and write the table."""
    lengths = np.arange(LONGEST + 1)
    loaded = [(str(np.load(file)["shape"]), np.load(file)["table"]) for file in files]
    knots = np.array(KNOTS)
    fine = {
        shape: np.array(
            [smooth(one, lengths, BEND[shape])[:, knots] for name, one in loaded if name == shape]
        )
        for shape in ("normal", "any")
    }
    rare = np.array([smooth(one, knots, BEND["normal"]) for name, one in loaded if name == "rare"])
    with table.open("w", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        kinds = ["level", "spread", "trend"]
        writer.writerow(["shape", "rate", "length", *kinds, *(f"se_{kind}" for kind in kinds)])
        common = [i for i, rate in enumerate(RATES) if rate > RARE_RATES[0]]
        _write(writer, "normal", [RATES[i] for i in common], fine["normal"][:, common])
        _write(writer, "normal", list(RARE_RATES), rare)
        _write(writer, "any", list(RATES), fine["any"])


def _write(writer: Any, shape: str, rates: list[float], sets: np.ndarray) -> None:
    """Mean and standard error of the sets."""
    with np.errstate(invalid="ignore"):
        error = sets.std(axis=0, ddof=1) / math.sqrt(len(sets))
    for i, rate in enumerate(rates):
        for j, n in enumerate(KNOTS):
            figures = [_text(figure) for figure in (*sets.mean(axis=0)[i, j], *error[i, j])]
            writer.writerow([shape, f"{rate:g}", n, *figures])


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
