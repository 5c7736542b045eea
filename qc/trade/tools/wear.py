"""Wear of dies and mandrels: the line through a tool's pieces, and the count at which to change it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from qc.stats import Floats, Tabled, wear_break
from qc.trade.errors import TradeError
from qc.trade.sound import one_sided_quantile, two_sided_quantile

Values = Sequence[float] | Floats

FAR_AHEAD = 2.0
"""A change further ahead than this many stretches of experience is said to be a long guess (house rule)."""

BEND_RISK = 0.01
"""Chance of warning of a bend where the wear is straight."""

UNEVEN = "the newest pieces leave the line: wear is no longer even, look at the tool now"

BREAK_GAIN = 25.0
"""Twice the log-likelihood that a break of the line has to gain before the forecast rests on what came since.

The best break of a straight line gains so much in 1 of 1,000 cases with 12 pieces and in fewer with more
(3,000 draws each).
"""

ENOUGH_SINCE = 8
"""Pieces since the break that make a line of their own (house rule)."""


@dataclass(frozen=True, slots=True)
class WearLine(Tabled):
    """The line of a wearing figure on one tool.

    Parameters
    ----------
    n : int
        Pieces on the tool.
    slope, intercept : float
        Change per count, and figure of the fresh tool. [unit of the values]
    slope_interval : tuple of float
        Two-sided interval of the slope.
    residual_sd : float
        Spread about the line, n - 2. [unit of the values]
    last_count : float
        Count of the newest piece.
    limit : float or None
        The limit the figure wears towards.
    line_crossing : tuple of (count, low, high) or None
        Where the line meets the limit, with its inverse-regression interval; None if the slope is not clear.
    change_by_count : int or None
        Last count at which the one-sided prediction bound for the next piece is still inside the limit.
    warnings : tuple of str
        What a reader must know.
    """

    n: int
    slope: float
    intercept: float
    slope_interval: tuple[float, float]
    residual_sd: float
    last_count: float
    limit: float | None
    line_crossing: tuple[float, float, float] | None
    change_by_count: int | None
    warnings: tuple[str, ...]

    @property
    def proven(self) -> bool:
        """Tell whether the figure moves with the count: the interval of its slope does not hold 0."""
        return not self.slope_interval[0] <= 0.0 <= self.slope_interval[1]


def fit_wear(
    counts: Values,
    values: Values,
    *,
    lower: float | None = None,
    upper: float | None = None,
    confidence: float = 0.95,
) -> WearLine:
    """Fit the wear of one tool and say when to change it.

    Parameters
    ----------
    counts : sequence of float, length n >= 3
        Draws since the tool was fitted, never falling.
    values : sequence of float, length n
        The figure that wears. [its unit]
    lower, upper : float, optional
        Limits of the figure. [same unit]
    confidence : float
        Two-sided for slope and crossing, one-sided for the change.

    Returns
    -------
    WearLine
        Slope, crossing, and change-by count. Where the wear has clearly left its line (`qc.stats.wear_break`)
        and enough pieces were made since, all of them are those of the pieces since: the old line would
        promise draws that a worn tool no longer has. A warning says so.

    Raises
    ------
    TradeError
        Fewer than three pieces, one count only, a count that falls, or a value that is not finite; `index`
        and `column` (`count` or `value`) say where.

    References
    ----------
    .. [1] Straight-line least squares, prediction interval, and inverse regression by Fieller's theorem, any
       regression textbook.

    Examples
    --------
    >>> counts = [0, 50, 100, 150, 200, 250]
    >>> od = [14.6020, 14.6031, 14.6038, 14.6052, 14.6060, 14.6069]
    >>> line = fit_wear(counts, od, upper=14.6120)
    >>> round(1000 * line.slope, 5), round(line.line_crossing[0], 1), line.change_by_count
    (0.01977, 504.3, 471)
    """
    _check(counts, values, lower, upper)
    x, y = np.asarray(counts, dtype=np.float64), np.asarray(values, dtype=np.float64)
    whole, bends = _straight(x, y, lower, upper, confidence)
    # the break is sought only where the pieces do not lie along a line, for a best break exists in any line
    since = _since_break(x, y) if bends else None
    if since is None:
        return replace(whole, warnings=(*whole.warnings, UNEVEN)) if bends else whole
    lately = fit_wear(x[since:], y[since:], lower=lower, upper=upper, confidence=confidence)
    told = f"{UNEVEN}; the forecast rests on the {len(x) - since} pieces since count {x[since]:g}"
    return replace(lately, n=len(x), warnings=(told, *lately.warnings))


def _straight(
    x: Floats, y: Floats, lower: float | None, upper: float | None, confidence: float
) -> tuple[WearLine, bool]:
    """Fit one straight line to all pieces, and say whether they bend away from it."""
    n, middle = len(x), float(x.mean())
    spread = float(((x - middle) ** 2).sum())
    # the mean of equal readings may miss them by a rounding, which would make a slope that names a far count
    level = float(y.mean()) if np.ptp(y) else float(y[0])
    slope = float(((x - middle) * (y - level)).sum()) / spread
    residual = y - level - slope * (x - middle)
    sd = math.sqrt(float(residual @ residual) / (n - 2))
    half = two_sided_quantile(n - 2, confidence) * sd / math.sqrt(spread)
    interval = (slope - half, slope + half)
    clear = not interval[0] <= 0.0 <= interval[1]
    limit, side = _limit_ahead(slope, lower, upper)
    crossing, change, warnings = None, None, _early_warnings(n, clear)
    if limit is not None:
        line = _Line(x, middle, spread, level, slope, sd, limit, side)
        crossing = line.crossing(confidence) if clear and side * slope > 0 else None
        change = line.change_by(confidence)
        warnings += _forecast_warnings(line, crossing, change)
    fitted = WearLine(
        n,
        slope,
        level - slope * middle,
        interval,
        sd,
        float(x[-1]),
        limit,
        crossing,
        None if change is None else math.floor(change),
        tuple(warnings),
    )
    return fitted, _bends(x, residual, sd)


@dataclass(frozen=True, slots=True)
class _Line:
    counts: Floats
    middle: float
    spread: float
    level: float
    slope: float
    sd: float
    limit: float
    side: float  # +1 for an upper limit, -1 for a lower one

    def crossing(self, confidence: float) -> tuple[float, float, float] | None:
        """Give where the line meets the limit and Fieller's interval; None when it is not bounded."""
        scale = two_sided_quantile(len(self.counts) - 2, confidence) * self.sd
        gap = self.limit - self.level
        if self.slope**2 - scale**2 / self.spread <= 0.0:
            return None
        ends = sorted(_real_roots(self.slope, gap, scale, 1.0 / len(self.counts), self.spread))
        if len(ends) < 2:
            return None
        return (self.middle + gap / self.slope, self.middle + ends[0], self.middle + ends[1])

    def change_by(self, confidence: float) -> float | None:
        """Give the last count at which the one-sided prediction bound is inside; None when there is none."""
        t = one_sided_quantile(len(self.counts) - 2, confidence)
        n = len(self.counts)
        slope, gap = self.slope * self.side, (self.limit - self.level) * self.side

        def outside(count: float) -> float:
            away = count - self.middle
            return slope * away + t * self.sd * math.sqrt(1.0 + 1.0 / n + away**2 / self.spread) - gap

        # The bound is convex in the count: inside between its two roots, if there are any.
        roots = sorted(_real_roots(slope, gap, t * self.sd, 1.0 + 1.0 / n, self.spread))
        # squaring the bound added its mirror image: only roots of the bound itself count
        inside = [root for root in roots if abs(outside(self.middle + root)) < 1e-6 * max(abs(gap), self.sd)]
        ahead = [root for root in inside if outside(self.middle + root + 1e-6 * (1 + abs(root))) > 0]
        return self.middle + max(ahead) if ahead and self.middle + max(ahead) >= 0 else None


def _check(counts: Values, values: Values, lower: float | None, upper: float | None) -> None:
    """Refuse what makes no line, with the row and what to do: a count that falls is a new fitting."""
    if lower is not None and upper is not None and not lower < upper:
        raise TradeError(f"lower limit {lower} is not below upper limit {upper}", "Swap the two limits")
    if len(counts) != len(values):
        raise TradeError(f"{len(counts)} counts for {len(values)} values", "Give one count for each value")
    for index, (count, value) in enumerate(zip(counts, values, strict=True)):
        if not math.isfinite(value):
            raise TradeError(f"{value} is not a reading", "Measure the piece again", index, "value")
        if not (math.isfinite(count) and count >= 0):
            raise TradeError(f"count {count:g} is not a count", "Counts start at 0", index, "count")
        if index and count < counts[index - 1]:
            raise TradeError(
                f"the count falls from {counts[index - 1]:g} to {count:g} on one tool",
                "Correct the count, or give the re-polished or newly fitted tool a name of its own",
                index,
                "count",
            )
    if len(counts) < 3 or len(set(counts)) < 2:
        raise TradeError(
            f"{len(counts)} pieces at {len(set(counts))} counts make no line",
            "Three pieces or more are needed",
        )


def _early_warnings(n: int, clear: bool) -> list[str]:
    warnings = [f"only {n} pieces on this tool: the forecast is wide"] if n < 6 else []
    if not clear:
        warnings.append("the slope is not clear of 0: no wear is proven yet")
    return warnings


def _limit_ahead(slope: float, lower: float | None, upper: float | None) -> tuple[float | None, float]:
    """Give the limit the figure wears towards, the only one when there is but one, and its side."""
    if lower is not None and (upper is None or slope < 0):
        return lower, -1.0
    return upper, 1.0


def _real_roots(slope: float, gap: float, scale: float, offset: float, spread: float) -> list[float]:
    """Solve (gap - slope u)^2 = scale^2 (offset + u^2 / spread) for u."""
    a = slope**2 - scale**2 / spread
    b = slope * gap
    c = gap**2 - scale**2 * offset
    if abs(a) < 1e-300:
        return [] if b == 0.0 else [0.5 * c / b]
    # b^2 - a c written out: readings that lie exactly on the line leave no rounding below 0.
    inner = gap**2 / spread + offset * a
    if inner < 0.0:
        return []
    # The stable form: no difference of two nearly equal numbers.
    q = b + math.copysign(scale * math.sqrt(inner), b)
    return [q / a] + ([c / q] if q != 0.0 else [0.0])


def _forecast_warnings(
    line: _Line, crossing: tuple[float, float, float] | None, change: float | None
) -> list[str]:
    """Warn of the nearest danger only: one sentence is read, four are not."""
    if change is None:
        room = (line.limit - line.level) * line.side
        if line.slope * line.side <= 0 and room > line.sd:
            return ["the figure does not move towards its limit: no change to plan"]
        return ["the next piece may already fall outside: change the tool now, or measure every piece"]
    first, last = float(line.counts[0]), float(line.counts[-1])
    if change < last:
        return [f"the change was due at count {math.floor(change)}: change the tool now"]
    farthest = max(change, crossing[0] if crossing else change)
    if farthest > last + FAR_AHEAD * max(last - first, 1.0):
        return [
            "the limit is far beyond what this tool has done: wear quickens late in life, look again often"
        ]
    return []


def _since_break(x: Floats, y: Floats) -> int | None:
    """Give the place of the first piece since a clear break, where enough were made since to make a line."""
    found = wear_break(x, y)
    since = found.start - 1
    enough = len(x) - since >= ENOUGH_SINCE and len(set(x[since:].tolist())) > 2
    return since if enough and found.likelihood_ratio > BREAK_GAIN else None


def _bends(x: Floats, residual: Floats, sd: float) -> bool:
    """Test for a bend by adding a square of the count to the line (from eight pieces on)."""
    n = len(x)
    # chosen: with fewer the square follows single pieces
    if n < 8 or sd <= 0.0 or len(set(x.tolist())) < 3:
        return False
    line = np.column_stack([np.ones(n), x - x.mean()])
    square = (x - x.mean()) ** 2
    square = square - line @ np.linalg.lstsq(line, square, rcond=None)[0]
    size = float(square @ square)
    bend = float(square @ residual) / size
    rest = residual - bend * square
    error = math.sqrt(float(rest @ rest) / (n - 3) / size)
    return error > 0 and abs(bend) > two_sided_quantile(n - 3, 1.0 - BEND_RISK) * error
