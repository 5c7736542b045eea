"""How often the interval of a fitted shape holds the true Ppk where pieces have several readings.

    python tests/simulation/nested_shapes.py [--draws 1000] [--seed 41407]

Normal scores that share a part of their variance within a piece become readings of the shape by its
quantiles; the truth is that of the shape for its own upper limit, a true Ppk of 1.33. Printed are the shares
of samples whose 95 % interval holds it, of readings counted by their pieces and, for comparison, taken for
single ones.
The table stands in docs/reference/capability.md.
"""

from __future__ import annotations

import argparse

import numpy as np
from scipy import stats

from qc.stats.capable import Limits, shape_figures

TRUTH = 4 / 3
DISTRIBUTIONS = {
    "positive": stats.lognorm(0.4),
    "weibull": stats.weibull_min(2.0),
    "half-normal": stats.halfnorm(),
}
PIECES = (25, 60)
READINGS = 4
BETWEEN = (0.2, 0.5, 0.8)
"""Shares of the variance of the scores between pieces."""


def limit_of(distribution):
    """Upper limit at which the Ppk by percentiles is the truth."""
    middle, high = distribution.ppf([0.5, 0.99865])
    return float(middle + TRUTH * (high - middle))


def draw(rng, distribution, pieces, between):
    """Readings of one sample, with their pieces."""
    piece = np.repeat(np.arange(pieces), READINGS)
    scores = np.sqrt(between) * rng.standard_normal(pieces)[piece]
    scores += np.sqrt(1 - between) * rng.standard_normal(piece.size)
    return distribution.ppf(stats.norm.cdf(scores)), piece


def coverage(rng, shape, pieces, between, draws):
    """Share of samples whose interval holds the truth: by pieces, and taken for single readings."""
    distribution = DISTRIBUTIONS[shape]
    limits, hits = Limits(None, limit_of(distribution)), np.zeros(2)
    for _ in range(draws):
        readings, piece = draw(rng, distribution, pieces, between)
        for at, own in enumerate((piece, None)):
            low, high = shape_figures(readings, limits, shape, piece=own).ppk_interval
            hits[at] += low <= TRUTH <= high
    return hits / draws


def main():
    """Print the coverage of each shape, number of pieces and share between them."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--draws", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=41407)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    error = np.sqrt(0.95 * 0.05 / options.draws)
    print(f"standard error of a coverage of 0.95: {error:.4f}")
    for shape in DISTRIBUTIONS:
        for pieces in PIECES:
            for between in BETWEEN:
                own, alone = coverage(rng, shape, pieces, between, options.draws)
                print(
                    f"{shape:11s} {pieces} pieces, {between} between: {own:.3f}, as single {alone:.3f}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
