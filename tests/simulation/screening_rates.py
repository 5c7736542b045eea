"""How often the screening of earlier figures names one that has nothing to do with the result.

    python tests/simulation/screening_rates.py [--draws 1500] [--seed 1407]

Shops of 20, 40 and 80 pieces with a result and twenty figures drawn apart from it, each of the same kind:
independent, in lots of one size, alike to the neighbour, with a step, a trend, or wandering. Printed are the
shares of shops in which anything is named at 5 %, and, at the end, how often a correlation that is there is.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable

import numpy as np
from scipy.signal import lfilter

from qc.stats import corrected_p_values, rank_association

SEED = 1407
FIGURES = 20
CHANCE = 0.05

Rng = np.random.Generator
Made = np.ndarray


def lots(size: int, part: float) -> Callable[[Rng, int], Made]:
    """Return what draws figures of which lots of one size share a part of the variance."""

    def make(rng: Rng, n: int) -> Made:
        shared = np.repeat(rng.normal(size=n // size + 2), size)[rng.integers(0, size) :][:n]
        return part**0.5 * shared + (1 - part) ** 0.5 * rng.normal(size=n)

    return make


def alike(rng: Rng, n: int) -> Made:
    """Draw a series each of whose pieces is 0.6 of the one before."""
    return np.asarray(lfilter([1.0], [1.0, -0.6], rng.normal(size=n + 50))[50:])


def step(rng: Rng, n: int) -> Made:
    """Draw a series with a step of two spreads, up or down, somewhere within."""
    return 2.0 * rng.choice([-1, 1]) * (np.arange(n) > rng.integers(5, n - 5)) + rng.normal(size=n)


KINDS: dict[str, Callable[[Rng, int], Made]] = {
    "independent": lambda rng, n: rng.normal(size=n),
    "coarse": lambda rng, n: np.round(rng.normal(size=n)),
    "lots of 4": lots(4, 0.7),
    "lots of 6": lots(6, 0.7),
    "lots of 10": lots(10, 0.9),
    "near copies": lots(3, 0.95),
    "alike": alike,
    "step": step,
    "trend": lambda rng, n: np.arange(n) * 3 / n + rng.normal(size=n),
    "wandering": lambda rng, n: np.cumsum(rng.normal(size=n)),
}
"""What result and figures are drawn as."""


def named(result: Made, figures: list[Made]) -> bool:
    """Say whether any of the figures is named beside the result."""
    found = (rank_association(result, one) for one in figures)
    chances = [one.p_value for one in found if one is not None]
    return min(corrected_p_values(chances), default=1.0) <= CHANCE


def main() -> None:
    """Print the shares of shops in which something is named."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--draws", type=int, default=1500)
    parser.add_argument("--seed", type=int, default=SEED)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    for n in (20, 40, 80):
        for name, make in KINDS.items():
            shops = [
                named(make(rng, n), [make(rng, n) for _ in range(FIGURES)]) for _ in range(options.draws)
            ]
            share = np.mean(shops)
            error = (share * (1 - share) / options.draws) ** 0.5
            print(f"{n:3d} pieces, {name:12s} {share:.4f} (standard error {error:.4f})", flush=True)
        for size in (0.5, 0.7):
            hits = 0
            for _ in range(options.draws):
                figure = rng.normal(size=n)
                result = size * figure + (1 - size**2) ** 0.5 * rng.normal(size=n)
                found = rank_association(result, figure)
                hits += found is not None and found.p_value * FIGURES <= CHANCE
            print(
                f"{n:3d} pieces, a correlation of {size} is named in {hits / options.draws:.3f}", flush=True
            )


if __name__ == "__main__":
    main()
