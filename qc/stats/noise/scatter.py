"""What is learned of a series' noise, and what it is learned from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

from qc.plain import JsonObject
from qc.stats.errors import StatisticsError
from qc.stats.numbers import Values
from qc.stats.tabled import Tabled

LARGEST_SKEW = 0.8  # chosen: a lognormal with such a sigma has a skewness of 3.7, more no bench figure has
RANGES = {
    "skew": (-LARGEST_SKEW, LARGEST_SKEW),
    "tails": (0.0, 0.5),
    "odd_share": (0.0, 1.0),
    "odd_reach": (0.0, math.inf),
    "lots": (0.0, 1.0),
    "echo": (0.0, 1.0),
    "fade": (0.0, 1.0),
    "lasts": (0.0, 1.0),
    "pieces": (0, math.inf),
    "own": (0, math.inf),
    "unlike_skew": (0.0, math.inf),
    "unlike_tails": (0.0, math.inf),
}
"""What each figure may be; beyond it a transformation or a variance would not exist."""

ADDED = {"unlike_skew": 0.0, "unlike_tails": 0.0}
"""What records of earlier versions lack: 0, so that a period's estimates stay as they were learned."""


@dataclass(frozen=True, slots=True)
class Noise(Tabled):
    """How the pieces of a settled series scatter.

    As it stands without arguments: normal readings, none of which hangs together with another.

    Attributes
    ----------
    skew : float, -0.8..0.8
        g of u = ln(1 + g (x - m) / s) / g, which is symmetrical; 0 where readings are. [1]
    tails : float, 0..0.5
        One over the degrees of freedom of Student's t that u follows; 0 for normal tails. [1]
    odd_share : float, 0..1
        Share of settled pieces whose normal score lies beyond three; 0 where singles are judged by the
        thresholds alone. [1]
    odd_reach : float, >= 0
        How far beyond three those lie, on average. [standard deviations]
    lots : float, 0..1
        Share of the variance that lies between recorded lots, its margin included; 0 where none are
        recorded. [1]
    echo, fade : float, 0..1
        Correlation of pieces k apart is echo * fade**k, margin included; where lots are recorded, of what
        they leave unexplained. [1]
    pieces, own : int
        Pieces it was learned from, and how many of them are the series' own.
    lasts : float, 0..1
        How unlike the sisters' correlations of neighbours are: their standard deviation beyond chance. [1]
    unlike_skew, unlike_tails : float, >= 0
        The same of their skewness, and of the L-kurtosis that their tails give. [1]

    Examples
    --------
    >>> noise = Noise(lots=0.2)
    >>> Noise.from_dict(noise.to_dict()) == noise
    True
    """

    skew: float = 0.0
    tails: float = 0.0
    odd_share: float = 0.0
    odd_reach: float = 0.0
    lots: float = 0.0
    echo: float = 0.0
    fade: float = 0.0
    pieces: int = 0
    own: int = 0
    lasts: float = 0.0
    unlike_skew: float = 0.0
    unlike_tails: float = 0.0

    @classmethod
    def from_dict(cls, record: JsonObject) -> Noise:
        """Undo `to_dict`, exactly; a record that lacks a figure, or holds one out of range, is refused.

        Records kept before sisters were asked how unlike they are go on without it.
        """
        record = {**ADDED, **record}
        lacking = [field.name for field in fields(cls) if field.name not in record]
        if lacking:
            raise StatisticsError(
                f"noise: the record lacks {', '.join(lacking)}: it was kept by another version, learn it anew"
            )
        for name, (low, high) in RANGES.items():
            if not low <= record[name] <= high:
                raise StatisticsError(
                    f"noise: {name} is {record[name]} in the record, must lie between {low} and {high}: "
                    "learn it anew"
                )
        return cls(**{field.name: record[field.name] for field in fields(cls)})


NORMAL = Noise()
"""Normal readings that do not hang together: what the detector takes for granted where nothing is learned."""


@dataclass(frozen=True, slots=True)
class Settled:
    """One settled stretch of a series: pieces between two changes.

    Attributes
    ----------
    values : sequence of float, length n
        Readings in order of making. [unit of the characteristic]
    labels : sequence, length n
        Names of the pieces, which decide the order of equal readings.
    lots : sequence of str or None, length n, or None
        The lot each piece came from, a piece without one standing alone; None where no lots are recorded.
    step : float or None
        Step of the gauge; None: seen from readings that recur. [unit of the characteristic]
    """

    values: Values
    labels: Sequence[object]
    lots: Sequence[str | None] | None = None
    step: float | None = None
