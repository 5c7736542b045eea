"""How often people who differ in nothing are told to differ, and those who do are: `qc.watch.people_apart`.

A workshop of `SERIES` series and `PEOPLE` people, as many pieces as it makes in a year, asked every four
weeks as the pieces come. They are drawn here: independent, in lots of five, drifting, or of a long tail; a
person makes one to six pieces running.

``python tests/simulation/people_rates.py [WORKSHOPS]`` prints the table; its seed is `SEED`.
"""

from __future__ import annotations

import sys
from datetime import date, timedelta

import numpy as np
from numpy.random import Generator

from qc.watch import SeriesKey, SeriesVerdict, people_apart
from qc.watch.results import Point

SEED = 20261129
SERIES, PEOPLE, PIECES, WEEKS = 12, 3, 150, 50
SHAPES = ("independent", "lots of five", "drifting", "long tail")


def drawn(rng: Generator, shape: str, apart: float = 0.0) -> list[SeriesVerdict]:
    """Draw the series of one workshop; pieces of AB in the first lie `apart` spreads off."""
    codes = np.array(["AB", "CD", "EF"])[:PEOPLE]
    first = date(2026, 1, 5)
    days = [first + timedelta(days=int(7 * WEEKS * n / PIECES)) for n in range(PIECES)]
    verdicts = []
    for number in range(SERIES):
        noise = rng.standard_normal(PIECES)
        if shape == "lots of five":
            noise = 0.6 * noise + 0.8 * np.repeat(rng.standard_normal(PIECES // 5), 5)
        elif shape == "drifting":
            noise = noise + np.cumsum(0.15 * rng.standard_normal(PIECES))
        elif shape == "long tail":
            noise = np.exp(noise)
        stays = rng.integers(1, 7, PIECES)
        who = np.repeat(rng.choice(codes, PIECES), stays)[:PIECES]
        values = noise + apart * (who == "AB") * (number == 0)
        points = tuple(
            Point(n + 1, f"S-{n}", days[n], "tenor", float(values[n]), float(values[n]), person=str(who[n]))
            for n in range(PIECES)
        )
        verdicts.append(verdict(f"s{number}", points))
    return verdicts


def verdict(stage: str, points: tuple[Point, ...]) -> SeriesVerdict:
    """Return the least a series needs to be asked about."""
    plain = dict.fromkeys(SeriesVerdict.__slots__)
    return SeriesVerdict(
        **{
            **plain,
            "key": SeriesKey(stage, "wall", "all"),
            "stage_name": stage,
            "name": "Wall",
            "unit": "mm",
            "kind": "measured",
            "points": points,
            "signals": (),
        }
    )


def rates(
    rng: Generator, shape: str, workshops: int, apart: float = 0.0, every: int = 4
) -> tuple[float, float]:
    """Return the shares of workshops told at the end of the year, and at any of its looks."""
    at_end = ever = 0
    for _ in range(workshops):
        verdicts = drawn(rng, shape, apart)
        first = verdicts[0].points[0].day
        told = [
            bool(people_apart(verdicts, first + timedelta(weeks=week))) for week in range(8, WEEKS, every)
        ]
        last = bool(people_apart(verdicts))
        at_end += last
        ever += last or any(told)
    return at_end / workshops, ever / workshops


def main() -> None:
    """Print the table."""
    workshops = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    rng = np.random.default_rng(SEED)
    print(f"{'pieces':14}{'apart':>7}{'told at the end':>18}{'at any look':>16}   of {workshops} workshops")
    for shape in SHAPES:
        for apart in (0.0, 1.0):
            number = workshops if apart == 0.0 else max(workshops // 4, 1)
            at_end, ever = rates(rng, shape, number, apart)
            errors = [100 * np.sqrt(max(p * (1 - p), 1e-9) / number) for p in (at_end, ever)]
            said = [f"{100 * p:.1f} ± {e:.1f} %" for p, e in zip((at_end, ever), errors, strict=True)]
            print(f"{shape:14}{apart:>7.1f}{said[0]:>18}{said[1]:>16}")


if __name__ == "__main__":
    main()
