"""Publish how the detector keeps its rate, and how soon it tells, with the noise learned as a workshop does.

    python tests/simulation/noise_rates.py --table docs/reference/detector.md

Each workshop has sisters with a history to learn from, judged and cut at their signals as the watch cuts
them, and fresh series that begin. What is learned is learned anew every month of 20 pieces, from all pieces
before it, and holds for that month. Fresh series are judged up to their first signal. `--share 0.1` draws a
tenth of the workshops for a quick look, `--only` one noise. Seeds are fixed; ± is one standard error.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from publishing import markdown, publish

from qc.stats import Noise, Settled, detect_many, learn_noise
from qc.stats.change.block import Block, ShapeAndStep

SEED = 9501
RATES = (0.001, 0.004)
SISTERS, HISTORY = 20, 40
MONTH = 20
START, LONG = 20, 200  # points of the first pieces, and of a long run
FOLLOWED = 100  # pieces in which a change is waited for
WORKSHOPS, FRESH = 100, 25  # drawn at a share of 1, and fresh series of each
CHANGED = 2  # fresh series of each of twice as many workshops where they change: more would teach the change
CHANGES = ((1.5, 50), (2.0, 50), (3.0, 50), (3.0, 20))

Drawn = tuple[np.ndarray, list[list[str]] | None]
"""Readings, shape (series, n), and their lots where recorded."""
Draw = Callable[[np.random.Generator, int, int], Drawn]


def independent(of: Callable[[np.random.Generator, tuple[int, int]], np.ndarray]) -> Draw:
    """Draw readings that do not hang together."""
    return lambda random, series, n: (of(random, (series, n)), None)


def contaminated(random: np.random.Generator, size: tuple[int, int]) -> np.ndarray:
    """Normal readings, one in fifty of them five standard deviations off."""
    odd = (random.random(size) < 0.02) * random.choice([-5.0, 5.0], size)
    return (random.standard_normal(size) + odd) / math.sqrt(1.5)


def lognormal(random: np.random.Generator, size: tuple[int, int]) -> np.ndarray:
    """Log-normal readings with a sigma of 0.4."""
    square = math.exp(0.16)
    return (np.exp(0.4 * random.standard_normal(size)) - math.sqrt(square)) / math.sqrt(square * (square - 1))


def correlated(rho: float) -> Draw:
    """Draw readings each of which takes over `rho` of the one before."""

    def draw(random: np.random.Generator, series: int, n: int) -> Drawn:
        out = random.standard_normal((series, n))
        for j in range(1, n):
            out[:, j] = rho * out[:, j - 1] + math.sqrt(1 - rho * rho) * out[:, j]
        return out, None

    return draw


def in_lots(share: float, recorded: bool) -> Draw:
    """Draw readings in lots of four to eight pieces that hold `share` of the variance between them."""

    def draw(random: np.random.Generator, series: int, n: int) -> Drawn:
        lots = np.zeros((series, n), dtype=np.int64)
        for row in lots:
            sizes = random.integers(4, 9, n // 4 + 2)
            begun = int(random.integers(0, sizes[0]))  # a series need not begin with a lot
            row[:] = np.repeat(np.arange(sizes.size), sizes)[begun : begun + n]
        effects = random.standard_normal((series, int(lots.max()) + 1))
        own = np.take_along_axis(effects, lots, axis=1)
        values = math.sqrt(share) * own + math.sqrt(1 - share) * random.standard_normal((series, n))
        return values, [[f"L{lot}" for lot in row] for row in lots] if recorded else None

    return draw


NOISES: dict[str, Draw] = {
    "normal": independent(lambda random, size: random.standard_normal(size)),
    "step of 1 sigma": independent(lambda random, size: np.round(random.standard_normal(size) + 0.3)),
    "t, 5 degrees": independent(lambda random, size: random.standard_t(5, size) / math.sqrt(5 / 3)),
    "t, 3 degrees": independent(lambda random, size: random.standard_t(3, size) / math.sqrt(3)),
    "2 % five sigma off": independent(contaminated),
    "log-normal": independent(lognormal),
    "neighbours 0.15": correlated(0.15),
    "neighbours 0.3": correlated(0.3),
    "lots 0.2, recorded": in_lots(0.2, recorded=True),
    "lots 0.4, recorded": in_lots(0.4, recorded=True),
    "lots 0.2, unrecorded": in_lots(0.2, recorded=False),
    "lots 0.4, unrecorded": in_lots(0.4, recorded=False),
}
STARTS = (
    "normal",
    "t, 5 degrees",
    "log-normal",
    "neighbours 0.3",
    "lots 0.2, recorded",
    "lots 0.2, unrecorded",
)
LONE = ("normal", "2 % five sigma off", "neighbours 0.3", "lots 0.4, recorded", "lots 0.4, unrecorded")


@dataclass(frozen=True)
class Cell:
    """One noise at one rate, with sisters or alone."""

    name: str
    rate: float
    alone: bool = False

    @property
    def title(self) -> str:
        """Words for the table."""
        return self.name + (", alone" if self.alone else "")

    def random(self, purpose: int) -> np.random.Generator:
        """Give each cell and purpose its own draws."""
        place = list(NOISES).index(self.name)
        return np.random.default_rng([SEED, place, round(1e4 * self.rate), self.alone, purpose])

    def sisters(self, random: np.random.Generator) -> dict[str, list[Settled]]:
        """Draw the sisters' history, judged by what it teaches uncut and cut at the signals."""
        if self.alone:
            return {}
        values, lots = NOISES[self.name](random, SISTERS, HISTORY)
        whole = {f"s{i}": [settled(values, lots, i, 0, HISTORY)] for i in range(SISTERS)}
        noise = list(learn_noise(whole).values())
        found = detect_many(list(values), false_alarm_rate=self.rate, shape="auto", noise=noise, lots=lots)
        return {
            f"s{i}": [settled(values, lots, i, s.first - 1, s.last) for s in one.stretches]
            for i, one in enumerate(found)
        }


def settled(values: np.ndarray, lots: list[list[str]] | None, row: int, first: int, end: int) -> Settled:
    """Take pieces `first` to `end` (from 0) of one series as a stretch."""
    own = None if lots is None else lots[row][first:end]
    return Settled(values[row, first:end], range(first, end), own)


def month_by_month(
    sisters: dict[str, list[Settled]], values: np.ndarray, lots: list[list[str]] | None, alone: bool
) -> list[list[Noise]]:
    """Learn at the start of each month what each fresh series gets, from all before it."""
    months = []
    for begin in range(0, values.shape[1], MONTH):
        fresh = {f"f{i}": [settled(values, lots, i, 0, begin)] for i in range(values.shape[0])}
        pools = [{name: own} for name, own in fresh.items()] if alone else [{**sisters, **fresh}]
        learned = {name: noise for pool in pools for name, noise in learn_noise(pool).items()}
        months.append([learned[name] for name in fresh])
    return months


def first_signals(
    values: np.ndarray, lots: list[list[str]] | None, months: Sequence[Sequence[Noise]], rate: float
) -> tuple[np.ndarray, np.ndarray]:
    """Find the point of the first signal of each series, 0 for none, and whether it was a `single`.

    `months` holds the noise of each series for each month. The figures are those of `detect`, all series in
    one block; a test compares the two.
    """
    rows = np.arange(values.shape[0])
    block = Block(ShapeAndStep("auto"), values.shape[0], values.shape[1], list(months[0]))
    numbers = None if lots is None else np.array([[int(lot[1:]) for lot in row] for row in lots])
    found = np.zeros(values.shape[0], dtype=np.int64)
    single = np.zeros(values.shape[0], dtype=np.bool_)
    nothing = np.zeros(values.shape[0])
    for column in range(values.shape[1]):
        if column % MONTH == 0:
            block.learn(months[column // MONTH])
        block.place(column, rows, values[:, column], nothing, None if numbers is None else numbers[:, column])
        if column < 3:
            continue
        judgement = block.judge(rows, column + 1, rate)
        over = (judgement.statistic > judgement.limit).any(axis=1) & (found == 0)
        for row in np.flatnonzero(over):
            found[row] = column + 1
            scores, limits = judgement.excess(int(row), column + 1, rate)
            beyond = np.where(judgement.statistic[row] > judgement.limit[row], scores - limits, -np.inf)
            single[row] = int(np.argmax(beyond)) == 0 and judgement.split[row, 0] == column
    return found, single


def judged(
    cell: Cell,
    random: np.random.Generator,
    workshops: int,
    fresh: int,
    length: int,
    change: Callable[[np.ndarray], np.ndarray] = lambda values: values,
) -> tuple[np.ndarray, np.ndarray]:
    """Judge the fresh series of some workshops, with `change` made to them, as `first_signals` does."""
    every: list[np.ndarray] = []
    lots: list[list[list[str]] | None] = []
    months: list[list[Noise]] = []
    for _ in range(workshops):
        sisters = cell.sisters(random)
        values, own = NOISES[cell.name](random, fresh, length)
        values = change(values)
        learned = month_by_month(sisters, values, own, cell.alone)
        every.append(values)
        lots.append(own)
        months = [[*a, *b] for a, b in zip(months, learned, strict=True)] if months else learned
    flat = None if lots[0] is None else [row for own in lots for row in own or []]
    return first_signals(np.concatenate(every), flat, months, cell.rate)


def rate_in(found: np.ndarray, after: int, until: int, rate: float) -> str:
    """Give the signals over the rate asked for between two points, among series without one before."""
    alive = (found == 0) | (found > after)
    told = alive & (found > 0) & (found <= until)
    at_risk = np.where(told, found - after, until - after)[alive].sum()
    count = int(told.sum())
    return f"{count / (at_risk * rate):.2f} ± {math.sqrt(max(count, 1)) / (at_risk * rate):.2f}"


def delay(found: np.ndarray, after: int) -> str:
    """Give the median pieces from the change to its signal, among series without one before."""
    late = np.where(found == 0, np.inf, found - after)[(found == 0) | (found > after)]
    middle = float(np.median(late))
    return f"{middle:g}" if math.isfinite(middle) else f"over {FOLLOWED}"


def row_of(cell: Cell, share: float) -> list[str]:
    """One row of the table."""
    workshops = max(4, int(WORKSHOPS * share))
    found, _ = judged(cell, cell.random(0), workshops, FRESH, LONG)
    rates = [rate_in(found, *between, cell.rate) for between in ((3, START), (START, 50), (START, LONG))]
    delays = []
    for number, (size, after) in enumerate(CHANGES, start=1):

        def change(values: np.ndarray, size: float = size, after: int = after) -> np.ndarray:
            values[:, after:] += size
            return values

        told, _ = judged(cell, cell.random(number), 2 * workshops, CHANGED, after + FOLLOWED, change)
        delays.append(delay(told, after))

    def apart(values: np.ndarray) -> np.ndarray:
        values[:, 50] = 6.0
        return values

    told, single = judged(cell, cell.random(9), 2 * workshops, CHANGED, 51, apart)
    quiet = (told == 0) | (told == 51)
    at_once = float((single & (told == 51))[quiet].mean())
    return [cell.title, f"{cell.rate:g}", *rates, "/".join(delays), f"{at_once:.2f}"]


def rows(share: float, only: str | None) -> Iterator[list[str]]:
    """Make all rows of the table."""
    cells = [Cell(name, rate) for name in NOISES for rate in RATES]
    cells += [Cell(name, rate, alone=True) for name in LONE for rate in RATES]
    for cell in cells:
        if only is None or only == cell.title:
            yield row_of(cell, share)


def start_rows(share: float, only: str | None) -> Iterator[list[str]]:
    """Tell how often the set of the start and the interval of the size hold the truth, first as learned."""
    for name in STARTS:
        for size, after in ((1.5, 50), (2.0, 50), (3.0, 50), (2.0, 20)):
            if only is not None and only != name:
                continue
            cell = Cell(name, RATES[0])
            random = cell.random(round(100 * size) + after)
            held: list[tuple[bool, int, bool]] = []
            for _ in range(max(4, int(WORKSHOPS * share) // 2)):
                noise = learn_noise({**cell.sisters(random), "fresh": []})["fresh"]
                values, lots = NOISES[name](random, FRESH, after + FOLLOWED)
                values[:, after:] += size
                found = detect_many(
                    list(values), false_alarm_rate=cell.rate, shape="auto", noise=noise, lots=lots
                )
                first = [one.signals[0] for one in found if one.signals and one.signals[0].point > after]
                held += [
                    (
                        signal.start_set[0] <= after + 1 <= signal.start_set[1],
                        signal.start_set[1] - signal.start_set[0] + 1,
                        signal.size_interval[0] <= size <= signal.size_interval[1],
                    )
                    for signal in first
                ]
            sets, widths, sizes = (np.array(column) for column in zip(*held, strict=True))
            yield [
                name,
                f"{size:g} sigma after {after}",
                f"{share_of(sets)}, {np.median(widths):g}",
                share_of(sizes),
            ]


def share_of(hits: np.ndarray) -> str:
    """Give a share with its standard error."""
    share = float(hits.mean())
    return f"{share:.3f} ± {math.sqrt(share * (1 - share) / hits.size):.3f}"


START_HEAD = ["noise", "change of level", "start set holds it, median pieces in it", "size interval holds it"]
HEAD = [
    "noise",
    "rate",
    "points 4 to 20",
    "21 to 50",
    "21 to 200",
    "delay 1.5/2/3 sigma after 50/3 after 20",
    "6 sigma told at once",
]


def main() -> None:
    """Write the table to the page, or show it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--table", type=Path)
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--only")
    given = parser.parse_args()
    publish(markdown(HEAD, rows(given.share, given.only)), "noise-rates", given.table)
    publish(markdown(START_HEAD, start_rows(given.share, given.only)), "noise-starts", given.table)


if __name__ == "__main__":
    main()
