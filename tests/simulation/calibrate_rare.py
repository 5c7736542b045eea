"""Thresholds for rates of 1 in 1,000 and rarer, by stretches that are bound to signal (`rare_signals`).

    python tests/simulation/calibrate_rare.py --seed 201 --out r1.npz

makes one independent set for normal readings; `calibrate_thresholds.py combine` puts the sets into the
table. The table in the repository: seeds 201-204, 1,500 stretches for each kind, length and rate.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from calibrate_thresholds import KNOTS, RARE_RATES, shares_at
from rare_signals import Draws, draw
from scipy import special

from qc.stats.change.scan import SHORTEST

BELOW = 0.3  # how far under the threshold of the length before the stretches are drawn
FIRST_BELOW = 0.7  # the same for a kind that can be judged for the first time


def run(draws: int, seed: int) -> np.ndarray:
    """One set of thresholds, shape (rates, knots, 3)."""
    table = np.full((len(RARE_RATES), len(KNOTS), 3), np.inf)
    for i, rate in enumerate(RARE_RATES):
        solved: dict[int, np.ndarray] = {}
        for j, n in enumerate(KNOTS):
            random = np.random.default_rng([seed, i, n])
            table[i, j] = solved[n] = solve(random, n, rate, solved, draws)
    return table


def solve(
    random: np.random.Generator, n: int, rate: float, solved: dict[int, np.ndarray], draws: int
) -> np.ndarray:
    """Thresholds at length `n` that give the rate among stretches quiet till then."""
    shares = shares_at(n)
    earlier = {m: between(solved, m) for m in range(SHORTEST, n)}
    target = shares * rate * (1 - rate) ** (n - SHORTEST)
    drawn: dict[int, Draws] = {}
    for kind in np.flatnonzero(shares):
        known = solved[max(solved)][kind] if solved else np.inf
        start = known - BELOW if np.isfinite(known) else -special.ndtri(shares[kind] * rate / 2) - FIRST_BELOW
        drawn[int(kind)] = draw(random, int(kind), n, float(start), earlier, draws)
    low, high = 1.0, 1.6
    for _ in range(12):
        middle = (low + high) / 2
        limits = np.full(3, np.inf)
        for kind, one in drawn.items():
            limits[kind] = limit(one, kind, target[kind] * middle)
        low, high = (middle, high) if union(drawn, limits) < target.sum() else (low, middle)
    return limits


def limit(drawn: Draws, kind: int, target: float) -> float:
    """Score of `kind` exceeded, without a signal before, with probability `target`."""
    order = np.argsort(-drawn.scores[:, kind])
    chance = np.cumsum((drawn.weight * drawn.quiet)[order]) / order.size
    at = int(np.searchsorted(chance, target))
    if at >= order.size:
        raise RuntimeError("stretches were drawn above the threshold: lower BELOW")
    return float(drawn.scores[order[at], kind])


def union(drawn: dict[int, Draws], limits: np.ndarray) -> float:
    """Chance that any kind signals; a stretch in which two do is drawn for both and counted for half."""
    total = 0.0
    for kind, one in drawn.items():
        over = one.scores > limits
        total += float(np.mean(one.weight * one.quiet * over[:, kind] / np.maximum(over.sum(axis=1), 1)))
    return total


def between(solved: dict[int, np.ndarray], m: int) -> np.ndarray:
    """Threshold at any length up to the last solved one, straight in its logarithm; beyond, the last."""
    if m in solved:
        return solved[m]
    right = next((n for n in sorted(solved) if n > m), None)
    left = max(n for n in solved if n < m)
    if right is None:
        return solved[left]
    share = (np.log(m) - np.log(left)) / (np.log(right) - np.log(left))
    return solved[left] + share * (solved[right] - solved[left])


def main() -> None:
    """Read the words after the program's name."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--draws", type=int, default=1_500)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    np.savez(given.out, table=run(given.draws, given.seed), shape="rare")


if __name__ == "__main__":
    main()
