"""One break in a finished line of wear: where a tool left its line, and how (a jump, a bend, or both)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from scipy import special

from qc.plain import JsonObject
from qc.stats.change import LARGEST_RELATIVE, SIZE_CONFIDENCE, START_CONFIDENCE, check_values
from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, Interval, Values, check_magnitude
from qc.stats.tabled import Tabled

Form = Literal["jump", "bend", "jump and bend"]

FORMS: tuple[Form, ...] = ("jump", "bend", "jump and bend")
PRICE = (0, 0, 2)
"""What each form's gain in twice the log-likelihood has to exceed that of one coefficient by, in ln(n).

One ln(n) is the Bayesian information criterion's price of a coefficient; the second is asked because this one
is tried at every place. With one, 9 of 100 plain bends were taken for both and placed wrongly.
"""

LEAST_BEFORE = 3
"""Pieces that make the line which was left."""

LEAST_AFTER = (1, 2, 3)
"""Pieces since, by form: with fewer a form fits whatever comes."""

# three for the line and three since
LEAST_PIECES = 6

JUMP_LIMIT = -2.0 * float(np.log1p(-np.sqrt(START_CONFIDENCE)))
"""Twice the log-likelihood a place may lack where the line jumps: 5.94 at 90 % [1]_ of `wear_break`."""

SMALLEST = 1e-13  # chosen: about a thousand roundings, as the detector's guard
"""Share of a sum of squares below which rounding error rules."""


@dataclass(frozen=True, slots=True)
class WearBreak(Tabled):
    """The likeliest single break of a line. Points count from 1.

    Attributes
    ----------
    form : str
        `jump`: the same slope from another height on; `bend`: another slope from there on; or both at once.
    start : int
        First point off the old line.
    start_set : tuple of int
        Lowest and highest point of the 90 % confidence set of `start`.
    slope_before, slope_after : float
        Slopes of the line. [unit of the values a count]
    jump : float
        Step at the start, 0 for a bend. [unit of the values]
    size : float
        How far the line lies off the old one at the last point. [unit of the values]
    size_interval : tuple of float
        About 95 %, the start taken as known. [unit of the values]
    sd : float
        Spread about the broken line. [unit of the values]
    likelihood_ratio : float
        Twice the gain in log-likelihood over the unbroken line. It is the largest of many, so do not look it
        up in a table of chi-square.
    """

    form: Form
    start: int
    start_set: tuple[int, int]
    slope_before: float
    slope_after: float
    jump: float
    size: float
    size_interval: Interval
    sd: float
    likelihood_ratio: float

    @property
    def size_sigma(self) -> float:
        """`size` in spreads about the line."""
        least = max(self.sd, abs(self.size) / LARGEST_RELATIVE, float(np.finfo(float).tiny))
        return self.size / least

    def to_dict(self) -> JsonObject:
        """Plain values, ready for JSON."""
        return Tabled.to_dict(self) | {"size_sigma": self.size_sigma}


def wear_break(count: Values, value: Values, *, resolution: float | None = None) -> WearBreak:
    """Locate one break of a line of wear: both slopes, the spread and the place unknown.

    Parameters
    ----------
    count : sequence of float, length n >= 6
        Pieces since the tool was fitted, never falling. [pieces]
    value : sequence of float, length n
        Readings in order of making. [unit of the characteristic]
    resolution : float or None
        Step of the gauge: the spread about the line is taken to be no smaller than step / sqrt 12.

    Returns
    -------
    WearBreak
        Of a jump, a bend and both together at every place the likeliest; both together have to earn 2 ln(n)
        more than one alone (`PRICE`). A bend may lie anywhere between two pieces.

    Raises
    ------
    StatisticsError
        Too few readings or counts, a count that falls, or an entry that is not finite.

    Notes
    -----
    The set of the start holds every place whose twice log-likelihood lies less than a limit below the best:
    the 90 % point of F with 1 and n - 4 degrees for a bend, where the line does not tear and the place is an
    ordinary parameter [2]_, and 5.94 where it jumps [1]_. How often it holds the true start after a signal is
    simulated in `tests/simulation/wear_rates.py`.

    References
    ----------
    .. [1] Hansen, "Sample splitting and threshold estimation", Econometrica 68 (2000), 575-603: the
       likelihood ratio of a threshold, P(<= c) = (1 - exp(-c / 2))^2.
    .. [2] Feder, "On asymptotic distribution theory in segmented regression problems", Annals of Statistics 3
       (1975), 49-83.

    Examples
    --------
    >>> wear = [0.01 * i + 0.002 * (i % 2) + 0.03 * max(i - 19, 0) for i in range(30)]
    >>> found = wear_break(range(30), wear)
    >>> found.form, found.start, round(found.slope_after, 3)
    ('bend', 21, 0.04)
    """
    x, y = _checked(count, value)
    sums = _Suffixes.of(x, y)
    n = x.size
    floor = max((n - 3) * (resolution or 0.0) ** 2 / 12, sums.whole * SMALLEST, np.finfo(float).tiny)
    bends, edges, _ = _bends(sums)
    gain = _gain(sums, floor, np.stack([_jumps(sums), bends, _both(sums)]))
    merit = gain - np.array(PRICE)[:, None] * np.log(n)
    form, place = (int(i) for i in np.unravel_index(int(merit.argmax()), merit.shape))
    limits = np.array([JUMP_LIMIT, float(special.fdtri(1, n - 4, START_CONFIDENCE)), JUMP_LIMIT])
    # a bend found at the very count of a piece speaks for that piece as well as for the next one
    merit[1] = np.maximum(merit[1], _gain(sums, floor, edges))
    inside = np.flatnonzero((merit >= merit[form, place] - limits[:, None]).any(axis=0)) + 1
    return _measured(
        x, y, sums, form, place, (int(inside[0]), int(inside[-1])), floor, float(gain[form, place])
    )


class _Suffixes(NamedTuple):
    """Sums over the pieces from each place on (entry k: k..n-1, from 0), counts centred and scaled."""

    middle: float
    scale: float
    scaled: Floats
    pieces: Floats
    once: Floats
    squares: Floats
    rest: Floats
    product: Floats
    whole: float

    @classmethod
    def of(cls, x: Floats, y: Floats) -> _Suffixes:
        """Centre and scale the counts, take the line out of the readings: far origins then cost no digits."""
        middle = float(x.mean())
        scale = float(np.sqrt(((x - middle) ** 2).sum()))
        u = (x - middle) / scale
        rest = y - y.mean()
        rest = rest - float(u @ rest) * u

        def from_each(values: Floats) -> Floats:
            return np.cumsum(values[::-1])[::-1]

        pieces = np.arange(x.size, 0, -1.0)
        sums = (from_each(u), from_each(u * u), from_each(rest), from_each(u * rest))
        return cls(middle, scale, u, pieces, *sums, float(rest @ rest))


def check_pairs(count: Values, value: Values) -> tuple[Floats, Floats]:
    """Take counts and readings, or refuse them."""
    x, y = check_values(count, "normal"), check_values(value, "normal")
    if x.size != y.size:
        raise StatisticsError(
            f"{x.size} counts for {y.size} values: each value needs the count it was made at"
        )
    for series, name in ((x, "count"), (y, "value")):
        check_magnitude(float(np.abs(series).max(initial=0.0)), name)
    return x, y


def _checked(count: Values, value: Values) -> tuple[Floats, Floats]:
    """Refuse what cannot hold a line and a break: a falling count is a new fitting, whose line is another."""
    x, y = check_pairs(count, value)
    if x.size < LEAST_PIECES or np.unique(x).size < LEAST_BEFORE:
        raise StatisticsError(
            f"{x.size} values at {np.unique(x).size} counts: too few for a line and a break"
        )
    falls = np.flatnonzero(np.diff(x) < 0)
    if falls.size:
        raise StatisticsError(f"the count falls at point {int(falls[0]) + 2}: judge each fitting by itself")
    return x, y


def _jumps(sums: _Suffixes) -> Floats:
    """Sum of squares that a jump at each place explains beyond the line; -inf where it cannot be."""
    size = sums.pieces - sums.pieces**2 / sums.scaled.size - sums.once**2
    return _possible(sums, 0, sums.rest**2, size)


def _gain(sums: _Suffixes, floor: float, explained: Floats) -> Floats:
    """Twice the log-likelihood gained by explaining so much; -inf where nothing can be explained."""
    left = np.maximum(sums.whole - np.maximum(explained, 0.0), floor)
    gain = sums.scaled.size * np.log(max(sums.whole, floor) / left)
    return np.where(np.isfinite(explained), gain, -np.inf)


def _bends(sums: _Suffixes) -> tuple[Floats, Floats, Floats]:
    """Sum of squares that a bend just before each piece explains, one right at it, and the former's count."""
    left = np.concatenate([sums.scaled[:1], sums.scaled[:-1]])
    a, b, c = _bend_size(sums)
    # explained = (product - at rest)^2 / (a + b at + c at^2) has one stationary point besides its zero
    turn = -(2 * sums.rest * a + sums.product * b)
    under = sums.rest * b + 2 * sums.product * c
    with np.errstate(divide="ignore", invalid="ignore"):
        top = np.nan_to_num(turn / under, nan=-np.inf)
    top = np.where((top > left) & (top < sums.scaled), top, left)
    tried = [
        _possible(sums, 1, (sums.product - at * sums.rest) ** 2, a + b * at + c * at * at)
        for at in (left, top, sums.scaled)
    ]
    best, where = np.maximum(tried[0], tried[1]), np.where(tried[1] > tried[0], top, left)
    # between two pieces at one count nothing can bend: the first of them already has the place
    best[1:][sums.scaled[1:] == sums.scaled[:-1]] = -np.inf
    return best, tried[2], where


def _bend_size(sums: _Suffixes) -> tuple[Floats, Floats, Floats]:
    """Coefficients in `at` of the sum of squares of a ramp from `at` on, beyond what the line takes up."""
    n = sums.scaled.size
    a = sums.squares - sums.once**2 / n - sums.squares**2
    b = -2 * sums.once + 2 * sums.once * sums.pieces / n + 2 * sums.squares * sums.once
    c = sums.pieces - sums.pieces**2 / n - sums.once**2
    return a, b, c


def _both(sums: _Suffixes) -> Floats:
    """Sum of squares that a jump with a new slope explains: the pieces since have a line of their own."""
    n = sums.scaled.size
    jump = sums.pieces - sums.pieces**2 / n - sums.once**2
    ramp = sums.squares - sums.once**2 / n - sums.squares**2
    cross = sums.once - sums.pieces * sums.once / n - sums.once * sums.squares
    square = jump * ramp - cross * cross
    top = ramp * sums.rest**2 - 2 * cross * sums.rest * sums.product + jump * sums.product**2
    return _possible(sums, 2, top, square, jump * ramp)


def _possible(sums: _Suffixes, form: int, top: Floats, under: Floats, full: Floats | float = 1.0) -> Floats:
    """Explained squares, -inf where no break can lie or its regressor is the line but for rounding."""
    n = sums.scaled.size
    usable = under > 1e-9 * full if form == 2 else under > SMALLEST
    usable = usable & (np.arange(n) >= LEAST_BEFORE) & (sums.pieces >= LEAST_AFTER[form])
    usable &= np.concatenate([[-np.inf], sums.scaled[:-1]]) > sums.scaled[0]
    explained = np.full(n, -np.inf)
    explained[usable] = top[usable] / under[usable]
    return explained


def _measured(
    x: Floats,
    y: Floats,
    sums: _Suffixes,
    form: int,
    place: int,
    held: tuple[int, int],
    floor: float,
    gain: float,
) -> WearBreak:
    """Fit the chosen form at the chosen place and measure it at the last piece."""
    n = x.size
    since = np.arange(n) >= place
    at = float(x[place]) if form != 1 else sums.middle + sums.scale * float(_bends(sums)[2][place])
    step, ramp = since.astype(np.float64), since * (x - at)
    columns = ([step], [ramp], [step, ramp])[form]
    design = np.stack([np.ones(n), x - sums.middle, *columns], axis=1)
    width = np.sqrt((design**2).sum(axis=0))
    # columns of unit length first: counts of thousands beside ones would cost digits
    inverse = np.linalg.inv((design / width).T @ (design / width)) / np.outer(width, width)
    fitted = inverse @ design.T @ y
    off = design[-1] * np.array([0.0, 0.0, *([1.0] * len(columns))])
    # one more for the place, which was searched for
    degrees = n - design.shape[1] - 1
    residual = y - design @ fitted
    sd = float(np.sqrt(max(float(residual @ residual), floor) / max(degrees, 1)))
    size = float(off @ fitted)
    quantile = float(special.stdtrit(max(degrees, 1), 0.5 + SIZE_CONFIDENCE / 2))
    half = quantile * sd * float(np.sqrt(off @ inverse @ off))
    return WearBreak(
        form=FORMS[form],
        start=place + 1,
        start_set=(min(held[0], place + 1), max(held[1], place + 1)),
        slope_before=float(fitted[1]),
        slope_after=float(fitted[1]) + (float(fitted[-1]) if form else 0.0),
        jump=float(fitted[2]) if form != 1 else 0.0,
        size=size,
        size_interval=(size - half, size + half),
        sd=sd,
        likelihood_ratio=gain,
    )
