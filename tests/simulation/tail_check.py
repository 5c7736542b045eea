"""Check the thresholds for rare false alarms, with other draws than they were made with.

For each rate and length the program prints the hazard (signal now, none before) of each kind over the rate
asked for, and that of all kinds together, which should be 1.

    python tests/simulation/tail_check.py --table docs/reference/detector.md

writes the table between the marks of that page.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path

import numpy as np
from publishing import publish
from rare_signals import draw

from qc.stats import threshold_scores
from qc.stats.change.scan import LEVEL, SHORTEST, SPREAD, TREND

SEED = 9101
RATES = (1e-3, 1e-4, 1e-5)


def hazards(n: int, rate: float, draws: int) -> list[tuple[float, float]]:
    """Hazard of level, spread, trend and all together at reading n, each with its standard error."""
    earlier = {m: threshold_scores(rate, m) for m in range(SHORTEST, n)}
    limits = threshold_scores(rate, n)
    left = (1 - rate) ** (n - SHORTEST)
    out, every = [], []
    for kind in (LEVEL, SPREAD, TREND):
        if not math.isfinite(limits[kind]):
            out.append((0.0, 0.0))
            continue
        random = np.random.default_rng([SEED, kind, n])
        drawn = draw(random, kind, n, float(limits[kind]), earlier, draws)
        counted = drawn.weight * drawn.quiet / left
        over = np.maximum((drawn.scores > limits).sum(axis=1), 1)
        out.append((counted.mean(), counted.std(ddof=1) / math.sqrt(counted.size)))
        once = counted / over  # a stretch in which two kinds signal is drawn for both
        every.append((once.mean(), once.std(ddof=1) / math.sqrt(once.size)))
    out.append((sum(part for part, _ in every), math.hypot(*(error for _, error in every))))
    return out


def table(draws: int, lengths: list[int]) -> str:
    """The check as a Markdown table."""
    lines = ["| rate | length | level | spread | trend | together |", "| --- | --- | --- | --- | --- | --- |"]
    for rate in RATES:
        for n in lengths:
            cells = [
                f"{part / rate:.3f} ± {error / rate:.3f}"
                for part, error in hazards(n, rate, math.ceil(draws * min(1, 200 / n)))
            ]
            lines.append(f"| {rate:g} | {n} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def main() -> None:
    """Write the table to the page, or show it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--draws", type=int, default=6_000)
    parser.add_argument("--table", type=Path)
    parser.add_argument("--lengths", type=int, nargs="+", default=[6, 10, 20, 50, 120, 200, 1000])
    given = parser.parse_args()
    publish(table(given.draws, given.lengths), "tail", given.table)


if __name__ == "__main__":
    main()
