"""What the board shows of a gauge, as frozen plain results."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from qc.watch import CHECK_RATE as CHECK_RATE
from qc.watch import GaugeChange, SeriesKey
from qc.watch import is_zero as is_zero
from qc.watch import masters_words as masters_words


@dataclass(frozen=True, slots=True)
class MeasureView:
    """What a gauge measures, and whether its step is fine enough for it."""

    name: str
    unit: str
    spread: float | None  # from piece to piece, None where too little was read
    steps: float | None  # the spread in steps of the gauge
    fine: bool | None
    n: int  # readings looked at
    series: SeriesKey | None = None  # where it shows


@dataclass(frozen=True, slots=True)
class CheckView:
    """One check of a gauge against its master."""

    day: date
    value: float
    good: bool | None  # None where the plan has no tolerance for it
    person: str = ""
    master: str = ""  # what it was made on, as written; empty where the card does not say


@dataclass(frozen=True, slots=True)
class BiasView:
    """How far off a gauge reads its master, on average."""

    mean: float
    low: float | None
    high: float | None
    n: int
    since: date
    clear: bool  # whether the interval leaves out 0


@dataclass(frozen=True, slots=True)
class GaugeView:
    """One gauge of the plan."""

    id: str
    name: str
    step: float
    unit: str
    state: str  # a name of `qc.states.GAUGE`
    sentence: str
    tolerance: float | None
    daily: bool
    calibrated: date | None
    due: date | None
    next_check: date | None
    missed: int  # working days without a check since the last one, today not counted
    last_good: date | None
    bias: BiasView | None
    measures: tuple[MeasureView, ...] = ()
    checks: tuple[CheckView, ...] = ()  # oldest first
    changes: tuple[GaugeChange, ...] = ()  # what the checks went through since the last calibration
    moved: str = ""  # the change that still stands, in a sentence
    steps: tuple[str, ...] = ()  # what to do about that change


@dataclass(frozen=True, slots=True)
class TouchedView:
    """What else a suspect touched: serial, day, where, and what became of it."""

    sentence: str
    pieces: tuple[tuple[str, date, str, str], ...]
