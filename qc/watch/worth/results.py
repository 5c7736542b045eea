"""What is said of the worth of a figure: plain frozen results."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from qc.plain import JsonObject
from qc.stats import Tabled
from qc.watch.results import Behaviour, SeriesKey

Advice = Literal["keep", "measure twice", "every second piece", "drop", "finer gauge", "too early"]


@dataclass(frozen=True, slots=True)
class Delay(Tabled):
    """How many pieces are made until a change is told: the median of simulated courses.

    Attributes
    ----------
    pieces : int or None
        Median; the piece that brings the signal counts. None where more than half of the courses end untold.
    low, high : int or None
        Where the median of endless courses lies, 95 % sure (order statistics). None: beyond the courses' end.
    courses, length : int
        Courses simulated, and the pieces each of them was followed for.
    """

    pieces: int | None
    low: int | None
    high: int | None
    courses: int
    length: int


@dataclass(frozen=True, slots=True)
class BenchCost(Tabled):
    """What a figure costs at the bench.

    Attributes
    ----------
    pieces_a_month, readings_a_month : float
        Pace of the last quarter. [1/month]
    seconds_a_reading : float
        By the plan, or the default where it says nothing. [s]
    seconds_in_plan : bool
        Whether the plan says so.
    hours_a_month : float
        At the bench. [h]
    shared_with : tuple of str
        Names of other charted figures that the same readings give; they cost nothing more.
    """

    pieces_a_month: float
    readings_a_month: float
    seconds_a_reading: float
    seconds_in_plan: bool
    hours_a_month: float
    shared_with: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SettledState(Tabled):
    """The settled figures that everything is simulated on.

    `mean` and `sd` are on the scale of the points [unit], of counts the rate a unit of size; `now` says
    whether it is the state the series is in.
    """

    pieces: int
    mean: float
    sd: float
    first: date
    last: date
    now: bool

    def to_dict(self) -> JsonObject:
        """Return plain values, days as ISO text."""
        days = {"first": self.first.isoformat(), "last": self.last.isoformat()}
        return {**Tabled.to_dict(self), **days}


@dataclass(frozen=True, slots=True)
class BreakingChange(Tabled):
    """The least change of level after which one piece in twenty lies outside a limit.

    Attributes
    ----------
    size : float
        Signed; 0 or away from the limit where already more lie outside. [unit of the figure]
    size_sigma : float or None
        The same in standard deviations of the settled figures; None of counts.
    limit : float or None
        The limit, on the scale of the points; None where the plan has none and a doubled rate stands for it.
    """

    size: float
    size_sigma: float | None
    limit: float | None


@dataclass(frozen=True, slots=True)
class GaugePart(Tabled):
    """What of the scatter is the gauge's.

    Attributes
    ----------
    sd : float or None
        Of the gauge in one point; None where it is not known. [unit]
    step_sd : float
        What rounding to the gauge's step leaves in a point, step / sqrt(12). [unit]
    share : float or None
        Of the variance of the settled figures; of rounding alone where the spread is not known. [1]
    by_checks : bool
        The spread is that of the gauge's checks on its master, since the plan gives none.
    """

    sd: float | None
    step_sd: float
    share: float | None
    by_checks: bool = False

    def variance(self, readings: float = 1.0) -> float:
        """Return the gauge's variance in a point when everything is read so often; rounding stays."""
        own = 0.0 if self.sd is None else self.sd**2 / readings
        # repeats mostly fall on the same mark of a coarse gauge, so their mean hides as much as one reading
        return max(own, self.step_sd**2)


@dataclass(frozen=True, slots=True)
class SaidByOthers(Tabled):
    """How much of a figure the other figures of the same pieces foretell, see `qc.stats.explained_share`."""

    share: float
    error: float
    raw: float
    pieces: int
    figures: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FoundByIt(Tabled):
    """How often a figure found something in the last year.

    `signals` were raised, `false` of them were closed as false and `confirmed` with a cause; `expected` is
    how many a series to which nothing happens raises. `outside` of `pieces` lay outside their limits.
    """

    signals: int
    false: int
    confirmed: int
    expected: float
    outside: int
    pieces: int

    @property
    def true(self) -> int:
        """Signals that nobody called false."""
        return self.signals - self.false


@dataclass(frozen=True, slots=True)
class FigureWorth(Tabled):
    """What a reading of one series costs and buys, and what follows from it."""

    key: SeriesKey
    title: str
    name: str
    unit: str
    kind: str
    behaviour: Behaviour
    capable: str
    cost: BenchCost
    found: FoundByIt
    settled: SettledState | None = None
    change: BreakingChange | None = None
    told: Delay | None = None  # as it is measured now
    told_twice: Delay | None = None  # every reading taken twice
    told_every_second: Delay | None = None  # pieces made, when every second one is measured
    told_exactly: Delay | None = None  # by a gauge without any scatter of its own
    told_unchanged: float | None = None  # share of courses told by then though nothing changes in them
    gauge: GaugePart | None = None
    others: SaidByOthers | None = None
    not_simulated: str = ""  # why there is no delay
    advice: Advice = "keep"
    because: str = ""

    def to_dict(self) -> JsonObject:
        """Return plain values, the key by its parts."""
        plain = Tabled.to_dict(self)
        del plain["key"], plain["title"]
        key = {"stage": self.key.stage, "characteristic": self.key.characteristic, "family": self.key.family}
        return {**key, **plain}


@dataclass(frozen=True, slots=True)
class SeenWithin(Tabled):
    """What it takes to see a change within so many pieces.

    Attributes
    ----------
    see : float
        The change. [standard deviations of the settled figures, as they are measured now]
    within : int
        Pieces in which one course in two is to tell it.
    size : float
        The change. [unit of the figure]
    told_now : Delay
        As it is measured now.
    seen_now : float or None
        The least change that is told within so many pieces as it is measured now. [sd]
    seen_between : (float or None, float or None)
        Where that of endless courses lies, 95 % sure; None beyond the largest change looked at. [sd]
    readings : int or None
        So many times each reading is to be taken; None where no number of readings does it, or where the
        gauge's spread is not known.
    sentence : str
        The answer.
    """

    see: float
    within: int
    size: float
    told_now: Delay
    seen_now: float | None
    seen_between: tuple[float | None, float | None]
    readings: int | None
    sentence: str


@dataclass(frozen=True, slots=True)
class InsideAtLimit(Tabled):
    """How many of the last pieces a limit would have passed.

    `limit` is a deviation from target where `from_target`; `low` and `high` are the exact 95 % interval of
    the share that such pieces pass in the long run (Clopper-Pearson).
    """

    limit: float
    side: Literal["lower", "upper"]
    from_target: bool
    inside: int
    of: int
    low: float
    high: float
    inside_now: int | None
    sentence: str
