"""How the invented shop's figures scatter, and what happens to them: noise, faults, truth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tolvast_shop import Figure

Floats = NDArray[np.float64]
BEFORE = 25
"""Pieces that a series has before anything may change in it."""
AFTER = 8
"""Pieces that a change has at least to show itself."""
_NORMAL = NormalDist()


@dataclass
class Noise:
    """How one series scatters: a latent normal with lots and memory, brought to its final shape."""

    kind: str
    mean: float
    sd: float
    lot_share: float = 0.0
    lot_by: str | None = None
    memory: float = 0.0
    tails: int | None = None
    log_sd: float | None = None

    def latent(self, lots: Sequence[str], effects: dict[str, float], rng: np.random.Generator) -> Floats:
        """Draw standard normal figures in the order of measuring, a shared part for each lot."""
        own = rng.standard_normal(len(lots))
        for i in range(1, len(own)):
            own[i] = self.memory * own[i - 1] + math.sqrt(1 - self.memory**2) * own[i]
        shared = np.array([effects[lot] for lot in lots], dtype=np.float64)
        return math.sqrt(self.lot_share) * shared + math.sqrt(1 - self.lot_share) * own

    def shaped(self, latent: Floats) -> Floats:
        """Bring latent figures to mean 0 and sd 1 with this noise's own distribution."""
        if self.log_sd is not None:
            raw = np.exp(self.log_sd * latent - self.log_sd**2 / 2)
            return np.asarray((raw - 1) / math.sqrt(math.expm1(self.log_sd**2)), dtype=np.float64)
        if self.tails == 5:
            return np.array([_t5_quantile(_NORMAL.cdf(z)) for z in latent]) / math.sqrt(5 / 3)
        return latent

    def below(self, value: float) -> float:
        """Give the share of the unchanged noise under a value."""
        z = (value - self.mean) / self.sd
        if self.log_sd is not None:
            raw = 1 + z * math.sqrt(math.expm1(self.log_sd**2))
            return 0.0 if raw <= 0 else _NORMAL.cdf((math.log(raw) + self.log_sd**2 / 2) / self.log_sd)
        return _t5_share(z * math.sqrt(5 / 3)) if self.tails == 5 else _NORMAL.cdf(z)

    def above(self, value: float) -> float:
        """Give the share over a value; symmetrical noise by its mirror, which keeps small shares exact."""
        return 1 - self.below(value) if self.log_sd is not None else self.below(2 * self.mean - value)


@dataclass
class Change:
    """One thing that happened to a series, from one of its pieces to another."""

    kind: str
    first: str
    last: str | None
    size: float
    cause: str = "none"
    value: str | None = None
    pieces: int = 1

    def truth(self) -> dict[str, Any]:
        """Give what the truth says of it."""
        cause = {"kind": self.cause, "value": self.value, "recorded": self.value is not None}
        serials = {"first_serial": self.first, "last_serial": self.last}
        return {
            "kind": self.kind,
            **serials,
            "size_sd": round(self.size, 4),
            "cause": cause,
            "pieces": self.pieces,
        }


@dataclass
class Series:
    """Figures of one characteristic that share a chart; `rows` are their places on the card's list."""

    figure: Figure
    model: str | None
    rows: list[int]
    serials: list[str]
    noise: Noise
    changes: list[Change] = field(default_factory=list)
    offset: Floats = field(init=False)
    scale: Floats = field(init=False)

    def __post_init__(self) -> None:
        """Begin without any change."""
        self.offset = np.zeros(len(self.rows))
        self.scale = np.ones(len(self.rows))

    def shift(self, at: Sequence[int], size: float, cause: str, value: str | None, open_end: bool) -> None:
        """Move the pieces at these places of the series, and say so in the truth."""
        self.offset[list(at)] += size
        last = None if open_end else self.serials[at[-1]]
        self.changes.append(Change("shift", self.serials[at[0]], last, size, cause, value, len(at)))

    def limits(self) -> tuple[float | None, float | None]:
        """Give lower and upper limit, as deviations where models of different targets share the chart."""
        figure = self.figure
        if figure.width is None:
            return None, figure.upper
        middle = 0.0 if figure.as_deviation else figure.target_of(self.model)
        return round(middle - figure.width, 4), round(middle + figure.width, 4)

    def truth(self) -> dict[str, Any]:
        """Give the series as the truth tells it."""
        noise, figure = self.noise, self.figure
        lower, upper = self.limits()
        shares: tuple[float, float] | None = None
        if figure.kind == "count":
            shares = None if upper is None else (0.0, _poisson_above(noise.mean, upper))
        elif upper is not None:
            shares = (0.0 if lower is None else noise.below(lower), noise.above(upper))
        readings = math.prod(len(values) for values in figure.places.values())
        return {
            "stage": "",
            "characteristic": figure.id,
            "model": self.model,
            "noise": noise.kind,
            "mean": round(noise.mean, 6),
            "sd": round(noise.sd, 6),
            "lot_share": round(noise.lot_share, 4),
            "lot_by": noise.lot_by,
            "correlation": round(noise.memory * (1 - noise.lot_share), 4),
            "tails": noise.tails,
            "places": readings,
            "gauge_step": figure.step,
            "lower": lower,
            "upper": upper,
            "true_ppk": None if shares is None else _ppk(sum(shares)),
            "pieces": len(self.rows),
            "share_below": None if shares is None else shares[0],
            "share_above": None if shares is None else shares[1],
            "true_ppk_worse_side": None if shares is None else _ppk(max(shares)),
            "log_sd": noise.log_sd,
            "as_deviation": figure.as_deviation,
            "changes": [change.truth() for change in self.changes],
        }


def draw_noise(figure: Figure, model: str | None, ways: Sequence[str], rng: np.random.Generator) -> Noise:
    """Draw how a series scatters; `ways` are those in which the card's lots can be told apart."""
    middle = 0.0 if figure.as_deviation else figure.target_of(model)
    if figure.kind == "count":
        mean = middle * rng.uniform(0.7, 1.3)
        return Noise("counts", mean, math.sqrt(mean))
    if figure.kind == "pass-fail":
        share = middle * rng.uniform(0.6, 1.5)
        return Noise("passfail", share, math.sqrt(share * (1 - share)))
    sd = figure.sd * rng.uniform(0.85, 1.15)
    share, way = float(rng.uniform(0.2, 0.4)), str(rng.choice(list(ways)))
    memory = float(rng.uniform(0.1, 0.3))
    if figure.positive:
        log_sd = math.sqrt(math.log1p((sd / middle) ** 2))
        if rng.random() < 0.3:
            return Noise("mixed", middle, sd, share, way, log_sd=log_sd)
        return Noise("skewed", middle, sd, log_sd=log_sd)
    mean = middle + figure.sd * rng.uniform(-0.6, 0.6)
    kind = str(rng.choice(["normal", "lots", "t5", "correlated", "mixed"], p=[0.25, 0.3, 0.15, 0.15, 0.15]))
    noise = Noise(kind, mean, sd, tails=5 if kind in ("t5", "mixed") else None)
    if kind in ("lots", "mixed"):
        noise.lot_share, noise.lot_by = share, way
    if kind in ("correlated", "mixed"):
        noise.memory = memory
    return noise


def quiet_change(series: Series, rng: np.random.Generator) -> None:
    """Put something into a long enough series that no card tells: step, climb, spread, odd piece."""
    figure, n = series.figure, len(series.rows)
    kinds = ["shift"] if figure.kind != "measured" else ["shift", "trend", "single"]
    if figure.kind == "measured" and not figure.positive:
        kinds.append("spread")
    kind = str(rng.choice(kinds))
    sign = 1.0 if figure.positive or figure.kind != "measured" else float(rng.choice([-1.0, 1.0]))
    start = int(rng.integers(BEFORE, n - AFTER + 1))
    if kind == "shift":
        end = start + int(rng.integers(AFTER, 21)) if rng.random() < 0.3 else n
        series.shift(range(start, min(end, n)), sign * rng.uniform(1.2, 2.0), "none", None, end >= n)
        return
    if kind == "single":
        odd_piece(series, int(rng.integers(BEFORE, n)), sign)
        return
    size = 2.0 if kind == "spread" else sign * rng.uniform(0.03, 0.06)
    if kind == "spread":
        series.scale[start:] *= size
    else:
        start = int(rng.integers(BEFORE, max(BEFORE + 1, n - 3 * AFTER)))
        series.offset[start:] += size * np.arange(1, n - start + 1)
    series.changes.append(Change(kind, series.serials[start], None, size, pieces=n - start))


def odd_piece(series: Series, at: int, sign: float) -> None:
    """Make one piece of a series stand six sd apart."""
    series.offset[at] += 6 * sign
    series.changes.append(Change("single", series.serials[at], series.serials[at], 6 * sign))


def _ppk(outside: float) -> float:
    """Turn a share outside into a third of its normal quantile; cut at 12 sd."""
    return round(-_NORMAL.inv_cdf(max(outside, 1e-32)) / 3, 4)


def _poisson_above(mean: float, upper: float) -> float:
    """Share of Poisson counts over an upper limit."""
    return 1 - sum(math.exp(-mean) * mean**k / math.factorial(k) for k in range(math.floor(upper) + 1))


def _t5_share(t: float) -> float:
    """Share of Student's t with 5 degrees of freedom under t (Abramowitz and Stegun 26.7.3, from memory)."""
    angle = math.atan(t / math.sqrt(5))
    cosine = math.cos(angle)
    return 0.5 + (angle + math.sin(angle) * (cosine + 2 / 3 * cosine**3)) / math.pi


def _t5_quantile(share: float) -> float:
    """Quantile of Student's t with 5 degrees of freedom, by halving."""
    low, high = -200.0, 200.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if _t5_share(middle) < share else (low, middle)
    return (low + high) / 2
