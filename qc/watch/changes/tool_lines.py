"""Figures that wear with a tool: judged about the tool's own line, and told when to change it.

A die's bore grows with every draw, so the tube's diameter climbs; that is expected and no signal. What is
judged is what is left of each new tube about the line through the tubes drawn before it on the same tool.
Such recursive residuals are independent with one spread, so a wear that leaves its line (late in a die's
life it quickens) stands out after a few tubes; residuals about a line fitted to all of them would have
swallowed it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from scipy.special import stdtrit

from qc.intervals import interval_words
from qc.plan import Characteristic, DatedLimits, Plan
from qc.stats import StatisticsError
from qc.trade import TradeError, WearLine, fit_wear
from qc.watch.budget import LOOK_BACK_DAYS
from qc.watch.results import LEARNING, Forecast, Point, SignalResult
from qc.words import day_words, quantity_words

LEAST_FOR_LINE = LEARNING
"""Tubes on a tool before its line is forecast: as many as before it is judged."""

ENOUGH_SINCE = 8
"""Tubes since the wear left its line before the forecast rests on them alone (house rule)."""

TELL_WITHIN_DAYS = 120
"""A change further off than this is told by count alone: the pace will not hold that long."""

WIDE = 0.5
"""An interval wider than this share of the slope is told beside it: the draws left hang on it; chosen."""

DAYS_OF_A_WEEK = 7.0


def forecast_wear(
    characteristic: Characteristic,
    points: Sequence[Point],
    limits: DatedLimits,
    plan: Plan,
    since: int | None = None,
) -> Forecast | None:
    """Say when the tool in use has to be changed: by its draws alone, whatever day it is asked on.

    Parameters
    ----------
    characteristic : Characteristic
        Gives the unit.
    points : sequence of Point
        The series, in order of making.
    limits : DatedLimits
        On the scale of the points.
    plan : Plan
        Gives the day the tool was fitted.
    since : int, optional
        Ordinal at which the tool left the line it had worn along: what comes is told by the pieces from there
        on, once there are enough of them. Wear quickens late in a die's life, and the old line would promise
        draws that it no longer has.

    Returns
    -------
    Forecast or None
        None where no tool and count are named or the tool is too new.
    """
    tools = fittings(points)
    if not tools or len(tools[-1]) < LEAST_FOR_LINE:
        return None
    whole = [points[i] for i in tools[-1]]
    own = forecast_rests_on(whole, since)
    counts = [float(p.tool_count or 0) for p in own]
    try:
        line = fit_wear(counts, [p.value for p in own], lower=limits.lower, upper=limits.upper)
    except (TradeError, StatisticsError):
        return None
    change_by = line.change_by_count if _clear(line) else None
    change_day, pace = change_day_of(change_by, whole), weekly_pace(whole)
    tool = plan.tool(own[-1].tool)
    return Forecast(
        tool=own[-1].tool,
        fitted_day=tool.fitted if tool else None,
        slope_per_100=100.0 * line.slope,
        count_now=int(counts[-1]),
        limit=line.limit,
        change_by_count=None if change_by is None else int(change_by),
        change_by_day=change_day,
        sentence=_sentence(own[-1].tool, line, int(counts[-1]), change_day, pace, characteristic.unit),
        last_day=whole[-1].day,
    )


def forecast_rests_on(fitting: Sequence[Point], since: int | None) -> list[Point]:
    """Return the pieces of a fitting that its forecast rests on: those since its wear left the line.

    All of them where it did not, or too few were made since.
    """
    lately = [p for p in fitting if since is not None and p.ordinal >= since]
    return lately if len(lately) >= ENOUGH_SINCE else list(fitting)


def left_line_at(signals: Sequence[SignalResult]) -> int | None:
    """Return the ordinal at which a tool left its line for good; None where it wears along it."""
    left = [s.start for s in signals if s.ended is None and s.kind in {"shift", "trend"}]
    return left[-1] if left else None


def weekly_pace(fitting: Sequence[Point]) -> float | None:
    """Return the draws a week of a tool in the quarter up to its newest piece; None for one day of drawing.

    It hangs on what was drawn and not on the day it is asked, so that a day told by it moves only when
    something new was drawn. It is the least-squares line through the count at the end of each day: a line
    through its two ends alone moves by a third more from one evening to the next.

    Parameters
    ----------
    fitting : sequence of Point
        The pieces of one fitting, in order of making.

    Examples
    --------
    >>> from datetime import date
    >>> from qc.watch import Point
    >>> counts = {2: 0, 4: 4, 9: 14, 11: 18}  # of March: two draws a day
    >>> draw = lambda n, day, count: Point(
    ...     n, f"T-{n}", date(2026, 3, day), "", 13.9, 13.9, tool="D-2", tool_count=count
    ... )
    >>> round(weekly_pace([draw(n, day, count) for n, (day, count) in enumerate(counts.items(), 1)]), 1)
    14.0
    """
    newest = fitting[-1]
    recent = [p for p in fitting if (newest.day - p.day).days <= LOOK_BACK_DAYS]
    by_day = {(p.day - recent[0].day).days: float(p.tool_count or 0) for p in recent}
    days, counts = np.array(list(by_day)), np.array(list(by_day.values()))
    from_mean = days - days.mean()
    spread = float(from_mean @ from_mean)
    slope = float(from_mean @ counts) / spread if spread > 0 else 0.0
    return DAYS_OF_A_WEEK * slope if slope > 0 else None


def change_day_of(change_by: float | None, fitting: Sequence[Point]) -> date | None:
    """Return the day by which to change a tool: at its pace, counted from its newest piece.

    Of one that is past its count, the day on which it reached that. None where there is no count, no pace,
    or the day is so far off that the pace will not hold until then.

    Parameters
    ----------
    change_by : float or None
        Count by which to change it.
    fitting : sequence of Point
        The pieces of its fitting, in order of making.
    """
    if change_by is None:
        return None
    newest = fitting[-1]
    left = change_by - float(newest.tool_count or 0)
    if left <= 0:
        return next((p.day for p in fitting if (p.tool_count or 0) >= change_by), newest.day)
    pace = weekly_pace(fitting)
    ahead = None if pace is None else DAYS_OF_A_WEEK * left / pace
    if ahead is None or ahead > TELL_WITHIN_DAYS:
        return None
    return newest.day + timedelta(days=int(ahead))


def fittings(points: Sequence[Point]) -> list[list[int]]:
    """Return the places (0-based) of the points of each fitting of a tool.

    Parameters
    ----------
    points : sequence of Point
        In order of making; points without a tool or a count are passed over.

    Returns
    -------
    list of list of int
        One list a fitting; another tool or a falling count begins a new one.
    """
    runs: list[list[int]] = []
    last: tuple[str, int] | None = None
    for place, point in enumerate(points):
        if not point.tool or point.tool_count is None:
            continue
        if last is None or point.tool != last[0] or point.tool_count < last[1]:
            runs.append([])
        runs[-1].append(place)
        last = (point.tool, point.tool_count)
    return runs


def own_fitting(points: Sequence[Point], span: tuple[int, int]) -> tuple[int, int] | None:
    """Return the part of a span of ordinals that was made on one fitting of a tool: that of the last of them.

    None where no piece of the span has a tool and a count.
    """
    for places in reversed(fittings(points)):
        inside_it = [place + 1 for place in places if span[0] <= place + 1 <= span[1]]
        if inside_it:
            return inside_it[0], inside_it[-1]
    return None


def in_use(points: Sequence[Point], ordinal: int) -> bool:
    """Say whether a piece was made on the fitting that the newest pieces come from."""
    tools = fittings(points)
    return bool(tools) and ordinal >= tools[-1][0] + 1


def line_limits(
    points: Sequence[Point], state: Sequence[Point], rate: float
) -> tuple[float | None, float | None]:
    """Give the limits of the next piece about the line that a tool wears along.

    Parameters
    ----------
    points : sequence of Point
        The series, in order of making; its newest piece says how far the tool has come.
    state : sequence of Point
        Pieces of the settled state; only those of the tool's own fitting count.
    rate : float
        Chance of a piece outside.

    Returns
    -------
    (float, float) or (None, None)
        Prediction interval at the newest count, the doubt about the line included; None for fewer than
        `ENOUGH_SINCE` pieces or a count that stands still. [unit]
    """
    own = [p for p in state if in_use(points, p.ordinal) and p.tool_count is not None]
    x = np.array([float(p.tool_count or 0) for p in own])
    if x.size < ENOUGH_SINCE or float(np.ptp(x)) == 0.0:
        return None, None
    y = np.array([p.value for p in own])
    slope, height = np.polyfit(x - x.mean(), y, 1)
    ahead = float(points[-1].tool_count or 0) - float(x.mean())
    left = y - height - slope * (x - x.mean())
    variance = float(left @ left) / (x.size - 2)
    variance *= 1 + 1 / x.size + ahead**2 / float(((x - x.mean()) ** 2).sum())
    half = float(stdtrit(x.size - 2, 1 - rate / 2)) * variance**0.5
    middle = float(height + slope * ahead)
    return (middle - half, middle + half) if half > 0 else (None, None)


def line_ends(points: Sequence[Point]) -> tuple[float, float] | None:
    """Return the heights of the least-squares line of one fitting at the first and the last of these points.

    None for under three points or a count that does not move. [unit]
    """
    counts = np.array([p.tool_count or 0 for p in points], dtype=np.float64)
    if counts.size < 3 or float(np.ptp(counts)) == 0.0:
        return None
    slope, start = np.polyfit(counts, [p.value for p in points], 1)
    return float(start + slope * counts[0]), float(start + slope * counts[-1])


def _clear(line: WearLine) -> bool:
    """Say whether the slope is told from none with 95 % confidence; a few tubes' scatter is no wear."""
    return line.slope_interval[0] > 0 or line.slope_interval[1] < 0


def _slope_words(line: WearLine, unit: str) -> str:
    """Say how much it wears in 100 draws, with the interval where that is wide."""
    size, low, high = (100.0 * one for one in (line.slope, *line.slope_interval))
    if high - low <= WIDE * abs(size):
        return quantity_words(size, unit)
    return interval_words(size, low, high, unit, sure="")


def _sentence(
    tool: str, line: WearLine, count: int, change_day: date | None, pace: float | None, unit: str
) -> str:
    """Say how a tool wears and by when to change it; nothing is planned where no wear is clear."""
    if not _clear(line):
        return f"{tool} at draw {count}: no clear wear yet."
    slope = _slope_words(line, unit)
    if line.change_by_count is None:
        return f"{tool} at draw {count}: {slope} in 100 draws, no change to be planned yet."
    when = ""
    if change_day is not None and count >= line.change_by_count:
        when = f", which it reached on {change_day:%a} {day_words(change_day)}"
    elif change_day is not None and pace is not None:
        told = f"{pace:.0f}" if pace >= 10 else f"{pace:.1f}"
        when = f", about {change_day:%a} {day_words(change_day)} at {told} draws a week"
    return (
        f"{tool} at draw {count}: {slope} in 100 draws; change it by draw {line.change_by_count:.0f}{when}."
    )
