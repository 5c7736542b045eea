"""The scatter of Querlohn's figures, the faults put into them, and what is true of both.

A piece's figure is `mean + sd * (scale * e + a)`: `e` has mean 0 and variance 1 and never changes; `a` and
`scale` are the faults. A skewed figure is lognormal: the faults are added on the raw scale, in its raw sd.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray
from querlohn_shop import PEOPLE, Card, Figure, gauge_ids, tool_ids

Numbers = NDArray[np.float64]
FIRST_CHANGE = 25  # pieces that a series has before anything may happen to it
KINDS = ("person", "gauge", "batch", "tool", "shift", "shift", "trend", "spread", "single")
ROOM = 12  # pieces that a change is given at least, where it lasts


@dataclass
class Change:
    """One fault: from piece `start` to piece `stop` (both counted in the series; None: to the end)."""

    kind: str
    start: int
    stop: int | None
    size: float
    cause: str = "none"
    value: str | None = None

    def last(self, n: int) -> int:
        """Give the index after the last piece touched."""
        return n if self.stop is None else self.stop + 1


@dataclass
class Lane:
    """The pieces of one bench on one card, in order of measuring, with the words that stand on the card."""

    card: Card
    name: str
    serials: list[str]
    models: list[str]
    days: list[int]
    person: list[str]
    tool: list[str]
    batch: list[str]
    gauge: dict[str, list[str]]
    taken: set[str] = field(default_factory=set)  # columns that a fault already speaks through


@dataclass
class Series:
    """One series: the figure, its bench, its unchanged noise, and what happens to it."""

    lane: Lane
    figure: Figure
    noise: str
    mean: float
    sd: float
    lot_share: float
    lot_by: str | None
    correlation: float
    heavy: bool  # tails of Student's t with 5 degrees of freedom
    step: float
    lower: float | None = None
    upper: float | None = None
    changes: list[Change] = field(default_factory=list)

    @property
    def places(self) -> int:
        """Count the places a piece is read in."""
        return math.prod(len(values) for values in self.figure.places.values())

    @property
    def place_share(self) -> float:
        """Give the share of the variance of a piece's mean that comes from its places."""
        return 0.25 if self.places > 1 else 0.0

    @property
    def log_sd(self) -> float:
        """Give the sd on the log scale of a skewed figure."""
        return math.sqrt(math.log1p((self.sd / self.mean) ** 2))


def draw_series(rng: np.random.Generator, lane: Lane, figure: Figure, step: float) -> Series:
    """Draw the unchanged noise of a series."""
    spread = float(rng.uniform(*figure.sd))
    ways = (
        ["day", "unrecorded"]
        + (["batch"] * 3 if lane.card.batch else [])
        + (["tool"] if lane.card.tool else [])
    )
    lot_share, lot_by = float(rng.uniform(0.2, 0.4)), str(rng.choice(ways))
    correlation = float(rng.uniform(0.1, 0.3))
    if figure.noise in ("counts", "passfail"):
        sd = math.sqrt(spread if figure.noise == "counts" else spread * (1 - spread))
        return Series(lane, figure, figure.noise, spread, sd, 0, None, 0, False, step)
    if figure.noise == "skewed":
        mean = float(figure.target if isinstance(figure.target, (int, float)) else 1) * float(
            rng.uniform(0.85, 1.15)
        )
        raw_sd = mean * math.sqrt(math.expm1(spread**2))
        if rng.random() < 0.7:
            return Series(lane, figure, "skewed", mean, raw_sd, 0, None, 0, False, step)
        return Series(lane, figure, "mixed", mean, raw_sd, lot_share, lot_by, 0, False, step)
    mean = float(rng.uniform(-0.7, 0.7)) * spread
    noise = str(rng.choice(["normal", "lots", "t5", "correlated", "mixed"], p=[0.28, 0.27, 0.15, 0.15, 0.15]))
    if noise == "mixed" and rng.random() < 0.5:
        return Series(lane, figure, noise, mean, spread, lot_share, lot_by, 0, True, step)
    lots = noise in ("lots", "mixed")
    neighbours = correlation if noise in ("correlated", "mixed") else 0.0
    share, way = (lot_share, lot_by) if lots else (0.0, None)
    return Series(lane, figure, noise, mean, spread, share, way, neighbours, noise == "t5", step)


def lot_words(rng: np.random.Generator, series: Series) -> list[str]:
    """Say to which lot each piece belongs."""
    lane, n = series.lane, len(series.lane.serials)
    if series.lot_by == "unrecorded":
        return runs(rng, n, [str(number) for number in range(n)], keep_order=True)
    return {"batch": lane.batch, "tool": lane.tool, "day": [str(day) for day in lane.days]}[
        str(series.lot_by)
    ]


def runs(rng: np.random.Generator, n: int, words: list[str], keep_order: bool = False) -> list[str]:
    """Give each word to four to eight neighbours; in order, or at random without an immediate repeat."""
    out: list[str] = []
    for number in range(n):
        rest = words if not out else [word for word in words if word != out[-1]]
        out += [words[number] if keep_order else str(rng.choice(rest))] * int(rng.integers(4, 9))
        if len(out) >= n:
            break
    return out[:n]


def draw_values(rng: np.random.Generator, series: Series) -> tuple[Numbers, Numbers]:
    """Draw the true figure of each piece and the spread of its places, the faults included."""
    n, figure = len(series.lane.serials), series.figure
    scale, added = np.ones(n), np.zeros(n)
    for change in series.changes:
        touched = slice(change.start, change.last(n))
        length = change.last(n) - change.start
        if change.kind == "spread":
            scale[touched] *= change.size
        elif change.kind == "trend":
            added[touched] += change.size * np.arange(1, length + 1)
        else:
            added[touched] += change.size
    if figure.noise == "counts":
        return rng.poisson(np.maximum(series.mean + series.sd * added, 0)).astype(float), np.zeros(n)
    if figure.noise == "passfail":
        return (rng.random(n) < np.clip(series.mean + series.sd * added, 0, 1)).astype(float), np.zeros(n)
    core_share = 1 - series.lot_share - series.place_share
    core = rng.standard_normal(n)
    if series.heavy:
        core = rng.standard_t(5, n) / math.sqrt(5 / 3)
    follow = series.correlation / core_share
    for i in range(1, n if follow else 0):
        core[i] = follow * core[i - 1] + math.sqrt(1 - follow**2) * core[i]
    e = math.sqrt(core_share) * core
    if series.lot_share:
        words = lot_words(rng, series)
        names = list(dict.fromkeys(words))
        drawn = rng.standard_normal(len(names))
        if series.lot_by == "tool":  # a handful that come again and again: their own spread is the share
            drawn = (drawn - drawn.mean()) / max(float(drawn.std()), 1e-9)
        effect = dict(zip(names, drawn, strict=True))
        e += math.sqrt(series.lot_share) * np.array([effect[word] for word in words])
    if figure.noise == "skewed":
        centre = math.log(series.mean) - series.log_sd**2 / 2
        return np.exp(centre + series.log_sd * e) + series.sd * added, np.zeros(n)
    places = series.sd * math.sqrt(series.place_share * series.places) * scale
    return series.mean + series.sd * (scale * e + added), places


def share_outside(series: Series) -> float | None:
    """Give the share of unchanged pieces outside the limits, before rounding to the gauge's step."""
    if series.lower is None and series.upper is None:
        return None
    if series.figure.noise == "skewed":
        centre = math.log(series.mean) - series.log_sd**2 / 2
        low = -math.inf if not series.lower else (math.log(series.lower) - centre) / series.log_sd
        high = math.inf if not series.upper else (math.log(series.upper) - centre) / series.log_sd
        return below(low) + below(-high)
    low = -math.inf if series.lower is None else (series.lower - series.mean) / series.sd
    high = math.inf if series.upper is None else (series.upper - series.mean) / series.sd
    if not series.heavy:
        return below(low) + below(-high)
    # t with 5 degrees of freedom, brought to its share of the variance, beside a normal rest
    share = 1 - series.lot_share - series.place_share
    rest = math.sqrt(1 - share)
    if rest == 0:
        return t5_below(low / math.sqrt(3 / 5)) + t5_below(-high / math.sqrt(3 / 5))
    grid = np.linspace(-60, 60, 6001)
    density = 8 / (3 * math.sqrt(5) * math.pi) * (1 + grid**2 / 5) ** -3
    parts = grid * math.sqrt(share * 3 / 5)
    outside = [below((low - part) / rest) + below((part - high) / rest) for part in parts]
    return float(np.sum(density * np.array(outside)) * (grid[1] - grid[0]))


def below(z: float) -> float:
    """Give the share of a standard normal below z, exact far out too."""
    return 0.5 * math.erfc(-z / math.sqrt(2))


def t5_below(t: float) -> float:
    """Give the share of Student's t with 5 degrees of freedom below t, by its closed form."""
    if math.isinf(t):
        return 0.0 if t < 0 else 1.0
    angle = math.atan(t / math.sqrt(5))
    return 0.5 + (angle + math.sin(angle) * (math.cos(angle) + 2 / 3 * math.cos(angle) ** 3)) / math.pi


def true_ppk(series: Series) -> float | None:
    """Turn the share outside into the Ppk of a normal figure with that share beyond its nearer limit."""
    share = share_outside(series)
    return None if share is None else round(-NormalDist().inv_cdf(min(max(share, 1e-300), 1 - 1e-12)) / 3, 3)


def put_faults(rng: np.random.Generator, all_series: list[Series]) -> None:
    """Choose about half of the series and let one thing or two happen to each."""
    able = [one for one in all_series if len(one.lane.serials) >= FIRST_CHANGE + ROOM + 3]
    wanted = min(len(able), round(len(all_series) * float(rng.uniform(0.45, 0.55))))
    bag: list[str] = []
    for number in rng.permutation(len(able))[:wanted]:
        series = able[int(number)]
        n = len(series.lane.serials)
        windows = [(FIRST_CHANGE, n - ROOM)]
        if n >= 90 and rng.random() < 0.35:
            windows = [(FIRST_CHANGE, n // 2 - ROOM), (n // 2 + ROOM, n - ROOM)]
        for low, high in windows:
            if len(bag) < 6:
                bag += [str(kind) for kind in rng.permutation(KINDS)]
            for kind in list(bag):  # what does not fit here waits for a series that it fits
                change = _fault(rng, series, kind, low, high, high + ROOM)
                if change is not None:
                    series.changes.append(change)
                    bag.remove(kind)
                    break


def _fault(
    rng: np.random.Generator, series: Series, kind: str, low: int, high: int, end: int
) -> Change | None:
    """Make one fault that fits the series, or None; a recorded cause is written on the lane's card."""
    lane, n = series.lane, len(series.lane.serials)
    start = int(rng.integers(low, high + 1))
    only_up = series.figure.noise != "measured"
    sign = 1.0 if only_up else float(rng.choice([-1, 1]))
    if (
        only_up
        and kind in ("trend", "spread")
        and series.figure.noise != "skewed"
        or only_up
        and kind == "spread"
    ):
        return None
    stop = (
        None
        if rng.random() < 0.6 or end - start < 32
        else start + int(rng.integers(20, min(45, end - start - 4)))
    )
    if kind == "single":
        return None if series.figure.noise == "passfail" else Change(kind, start, start, 6 * sign)
    if kind == "spread":
        return Change(kind, start, stop, 2.0)
    if kind == "trend":
        length = int(rng.integers(35, 71))
        stop = None if start + length >= n else start + length - 1
        return Change(kind, start, stop, sign * round(float(rng.uniform(0.03, 0.06)), 4))
    if kind == "shift":
        return Change(kind, start, stop, sign * round(float(rng.uniform(1.2, 2)), 3))
    if kind == "batch":
        return _bad_batch(rng, series, low, high, sign)
    column = {"person": lane.person, "tool": lane.tool}.get(kind) or lane.gauge.get(series.figure.gauge, [])
    key = kind if kind != "gauge" else f"gauge {series.figure.gauge}"
    if not any(column) or key in lane.taken or (kind == "tool" and series.lot_by == "tool"):
        return None
    start = _first_of_day(lane, start, low)
    if start < low:
        return None
    stop = None if stop is None else max(stop, start + ROOM)
    stop = None if stop is None or stop >= n - 1 else _first_of_day(lane, stop, start + 4) - 1
    return _take_over(rng, series, kind, key, start, stop, sign)


def _take_over(
    rng: np.random.Generator, series: Series, kind: str, key: str, start: int, stop: int | None, sign: float
) -> Change:
    """Let another person, gauge or tool take over on this card."""
    lane = series.lane
    value = swap(rng, lane, key, start, stop)
    size = {"person": (1.5, 2.0), "gauge": (1.5, 2.2), "tool": (1.2, 2.0)}[kind]
    return Change("shift", start, stop, sign * round(float(rng.uniform(*size)), 3), kind, value)


def swap(rng: np.random.Generator, lane: Lane, key: str, start: int, stop: int | None) -> str:
    """Write another word into a column of the card from one piece to another; returns the word."""
    if key == "person":
        column, words = lane.person, list(PEOPLE)
    elif key == "tool":
        column, words = lane.tool, tool_ids(lane.card.tool, lane.name)
    else:
        kind = key.removeprefix("gauge ")
        column, words = lane.gauge[kind], gauge_ids(kind, lane.name)
    value = str(rng.choice([word for word in words if word not in column]))
    end = len(column) if stop is None else stop + 1
    column[start:end] = [value] * (end - start)
    lane.taken.add(key)
    return value


def _bad_batch(rng: np.random.Generator, series: Series, low: int, high: int, sign: float) -> Change | None:
    """Make one recorded batch of four pieces and more a bad one."""
    batches = series.lane.batch
    starts = [
        i
        for i in range(low, high + 1)
        if batches[i] and batches[i] != batches[i - 1] and batches.count(batches[i]) >= 4
    ]
    if not starts:
        return None
    start = int(rng.choice(starts))
    stop = start + batches.count(batches[start]) - 1
    return Change("shift", start, stop, sign * round(float(rng.uniform(2, 3)), 3), "batch", batches[start])


def _first_of_day(lane: Lane, start: int, low: int) -> int:
    """Move back to the first piece of that day: people, gauges and tools change overnight."""
    while start > low and lane.days[start - 1] == lane.days[start]:
        start -= 1
    return start if start == 0 or lane.days[start - 1] != lane.days[start] else low - 1
