"""How often batches that differ in nothing are told apart, and those that do are: `qc.watch.levels_apart`.

A workshop of `SERIES` series and `PIECES` pieces in a year, asked every four weeks as they come. A batch
is `BATCH` pieces, or `FEW`; two are in use at a time and taken by turns, one to three pieces running. The
pieces are drawn as in `people_rates.py`: independent, in lots of five, drifting, or of a long tail.

``python tests/simulation/batch_rates.py`` prints the table of docs/reference/watch.md.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
from numpy.random import Generator

from qc.watch import SeriesVerdict, levels_apart
from qc.watch.results import Point
from tests.simulation.people_rates import verdict

SEED = 20261130
SERIES, PIECES, WEEKS, BATCH, FEW = 8, 72, 50, 12, 6


def taken_by_turns(rng: Generator, batch: int = BATCH) -> list[str]:
    """Draw which batch each piece is made from."""
    left, new = {"K-1": batch, "K-2": batch}, 3
    borne: list[str] = []
    while len(borne) < PIECES:
        name = str(rng.choice(sorted(left)))
        run = min(int(rng.integers(1, 4)), left[name])
        borne += [name] * run
        left[name] -= run
        if not left[name]:
            del left[name]
            left[f"K-{new}"], new = batch, new + 1
    return borne[:PIECES]


def drawn(rng: Generator, shape: str, apart: float = 0.0, batch: int = BATCH) -> list[SeriesVerdict]:
    """Draw the series of one workshop; pieces of batch K-3 in the first lie `apart` spreads off."""
    first = date(2026, 1, 5)
    days = [first + timedelta(days=int(7 * WEEKS * n / PIECES)) for n in range(PIECES)]
    verdicts = []
    for number in range(SERIES):
        noise = rng.standard_normal(PIECES)
        if shape == "lots of five":
            noise = 0.6 * noise + 0.8 * np.repeat(rng.standard_normal(PIECES // 5 + 1), 5)[:PIECES]
        elif shape == "drifting":
            noise = noise + np.cumsum(0.15 * rng.standard_normal(PIECES))
        elif shape == "long tail":
            noise = np.exp(noise)
        borne = taken_by_turns(rng, batch)
        values = noise + apart * (np.array(borne) == "K-3") * (number == 0)
        points = tuple(
            Point(n + 1, f"S-{n}", days[n], "tenor", float(values[n]), float(values[n]), batch=borne[n])
            for n in range(PIECES)
        )
        verdicts.append(replace(verdict(f"s{number}", points), lower=None, upper=None, target=None))
    return verdicts


def rates(
    rng: Generator, shape: str, workshops: int, apart: float = 0.0, every: int = 4, batch: int = BATCH
) -> list[float]:
    """Return the shares of workshops told: at the year's end, at any look, and of these with K-3 named."""
    at_end = ever = named = 0
    for _ in range(workshops):
        verdicts = drawn(rng, shape, apart, batch)
        first = verdicts[0].points[0].day
        looks = [first + timedelta(weeks=week) for week in range(8, WEEKS, every)]
        told = [levels_apart(verdicts, look) for look in (*looks, None)]
        names = {(one.series.split("/")[0], one.name) for found in told for one in found}
        at_end, ever = at_end + bool(told[-1]), ever + bool(names)
        named += ("s0", "K-3") in names
    return [count / workshops for count in (at_end, ever, named)]


CASES = (
    (97, 0, "independent", 0.0, 48),
    (97, 1, "independent", 3.0, 24),
    (98, 0, "lots of five", 0.0, 48),
    (98, 1, "independent", 2.0, 24),
    (99, 0, "drifting", 0.0, 48),
    (99, 1, "drifting", 3.0, 24),
    (100, 0, "long tail", 0.0, 48),
    (100, 1, "lots of five", 3.0, 24),
)
"""Two numbers that go with `SEED`, what is drawn, how many spreads one batch lies off, workshops."""

OF_FEW = (
    (101, 0, "independent", 0.0, 48),
    (102, 0, "lots of five", 0.0, 48),
    (103, 0, "long tail", 0.0, 48),
    (104, 0, "drifting", 0.0, 48),
    (101, 1, "independent", 4.0, 24),
    (102, 1, "independent", 3.0, 24),
)
"""The same of batches of `FEW` pieces."""


def main() -> None:
    """Print a line for each case."""
    heads = ("told at the end", "at any look", "K-3 named")
    print(f"{'pieces':14}{'apart':>7}{'of':>5}" + "".join(f"{head:>18}" for head in heads))
    for batch, cases in ((BATCH, CASES), (FEW, OF_FEW)):
        print(f"batches of {batch}")
        for *seed, shape, apart, number in cases:
            shares = rates(np.random.default_rng([SEED, *seed]), shape, number, apart, batch=batch)
            errors = [100 * np.sqrt(p * (1 - p) / number) for p in shares]
            said = [f"{100 * p:.1f} ± {e:.1f} %" for p, e in zip(shares, errors, strict=True)]
            print(f"{shape:14}{apart:>7.1f}{number:>5}" + "".join(f"{one:>18}" for one in said), flush=True)


if __name__ == "__main__":
    main()
