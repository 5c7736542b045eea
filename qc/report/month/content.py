"""What the month's report says, as plain figures and sentences: the same for pdf, page and workbook.

Two pages first, in the order in which they get read; then a panel for every series. Nothing here knows paper.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from typing import Literal

from qc.plain import JsonObject
from qc.report.terminal import cost_words
from qc.shares import adding_up
from qc.watch import FEW, SeriesVerdict, masters_words, summed
from qc.words import count_words, inside, listed

PICTURES = 3
"""Changes, and series near their limits, that have a picture on the first page; chosen, it holds no more."""

HOUR_PLACES = 2
"""Hours are written down in quarters."""

Standing = Literal["lasts", "settled", "over"]
"""How a change stands on the last day: it lasts, the series settled at a new level, or it is over."""


@dataclass(frozen=True, slots=True)
class Yield:
    """First-pass yield of a stage: pieces that passed at the first go, of those that came to it.

    Attributes
    ----------
    stage : str
        Name of the stage.
    passed, through : int
        Pieces.
    low, high : float or None
        95 % interval of the share; None where nothing came.
    before, year_ago : (int, int) or None
        Passed and through in the month before and in the same month a year ago; None where nothing came.
    """

    stage: str
    passed: int
    through: int
    low: float | None = None
    high: float | None = None
    before: tuple[int, int] | None = None
    year_ago: tuple[int, int] | None = None

    @property
    def share(self) -> float | None:
        """Share that passed, None where nothing went through."""
        return self.passed / self.through if self.through else None


Share = tuple[float, float, float]
"""A share with the two ends of its interval."""


@dataclass(frozen=True, slots=True)
class Rolled:
    """First-pass yield of all stages in a row, with its interval, beside the month before and a year ago."""

    share: float
    low: float | None = None
    high: float | None = None
    before: Share | None = None
    year_ago: Share | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """One of the things that changed, with its evidence and what to do about it."""

    key: str
    sentence: str
    because: str
    next_step: str
    evidence: str  # "22 mm (20 to 24, 95 %); chance of a false signal 0.4 % a piece."
    title: str = ""
    standing: Standing = "lasts"
    steps: tuple[str, ...] = ()  # of its reaction, the three that are always the same first
    caution: str = ""  # usual cautions of the stage and who decides, empty where there are none


@dataclass(frozen=True, slots=True)
class Reaction:
    """A signal that is still open at the end of the month."""

    name: str
    opened: date
    age_days: int
    state: str
    pieces: int
    called: str = ""  # the number of the signal
    finding: str = ""
    owner: str = ""
    due: date | None = None
    steps: tuple[str, ...] = ()
    caution: str = ""
    answered: str = ""  # what was answered after the month's end, as a sentence


@dataclass(frozen=True, slots=True)
class Rework:
    """Rework of one cause: hours count, not cases."""

    cause: str
    hours: float
    pieces: int
    share: float = 0.0  # of the hours of all causes


@dataclass(frozen=True, slots=True)
class GaugeLine:
    """A gauge that is out, overdue or not checked, and what to do about it."""

    gauge: str
    name: str
    state: str
    advice: str = ""


@dataclass(frozen=True, slots=True)
class GaugeCourse:
    """The checks of a gauge at its zero or on one ring: those of the month, and what the run of them says.

    Attributes
    ----------
    gauge, name, on : str
        Its id, its name, and what it was put on: `zero`, a ring, empty where the cards do not say.
    unit, step, tolerance : str, float, float or None
        Of the gauge.
    checks, outside : int
        Checks of the month, and those of them outside the tolerance.
    mean, low, high : float or None
        Mean of the month's checks with its 95 % interval; None where none, or only one, was made. [unit]
    told : str
        What changed and still stands, or that it is as it was.
    moved, next_step, since
        Whether it changed, what to do about it, and since when.
    points : tuple of (date, float)
        All its checks since it was calibrated, oldest first.
    """

    gauge: str
    name: str
    on: str
    unit: str
    step: float
    tolerance: float | None
    checks: int
    outside: int
    mean: float | None
    low: float | None
    high: float | None
    told: str
    moved: bool = False
    next_step: str = ""
    since: date | None = None
    points: tuple[tuple[date, float], ...] = ()

    @property
    def key(self) -> str:
        """The name its drawing goes by."""
        return f"{self.gauge} {self.on}".strip()

    @property
    def title(self) -> str:
        """The gauge in words, with what it was put on."""
        return f"{self.gauge} {self.name}{masters_words(self.on)}"


@dataclass(frozen=True, slots=True)
class DieLine:
    """A wearing tool and where it is going: in draws, and in weeks at the pace of its last quarter."""

    tool: str
    series: str
    count: int
    change_by_count: int | None
    change_by_day: date | None
    sentence: str
    draws_left: int | None = None
    weeks: float | None = None


LEFT_HELD = "left while to be held"
"""How the standing of a piece begins that left although it was on the list of pieces to hold by then."""


@dataclass(frozen=True, slots=True)
class PieceToHold:
    """A piece that is to be held, or was outside its limits in the month: figure, worst place, why.

    `standing` says what became of it: to hold, left without a release, or released by whom.
    """

    serial: str
    name: str
    because: str
    where: str
    shipped: date | None
    next_step: str
    why: str = "limit"
    day: date | None = None
    standing: str = "to hold"


@dataclass(frozen=True, slots=True)
class Gap:
    """Data that are missing, held or put right."""

    what: str
    number: int
    remark: str


@dataclass(frozen=True, slots=True)
class MonthContent:
    """The whole report.

    Attributes
    ----------
    workshop : str
        Name of the workshop.
    month : str
        ``YYYY-MM``.
    first, last : date
        The days it covers.
    as_of : date
        The day its verdicts hold for: the last day of the month, or the day asked for where that is earlier.
    plan_version : int
        Version of the plan the limits come from.
    shipped : tuple of (model name, number)
        Instruments that left.
    returned : tuple of str
        One sentence a return.
    yields, rolled
        First-pass yield by stage, in route order, and of all stages in a row; None where nothing came.
    changes, reactions, rework, gauges, dies, decisions, gaps
        The blocks of the two pages.
    hold : tuple of PieceToHold
        In the house on the last day, those that left in the month, and those outside their limits in it
        that were released; the worst first.
    verdicts : tuple of SeriesVerdict
        For the panels and the capability table, in route order.
    budget : str
        What the false-alarm budget amounts to, in words.
    last_hash : str
        Hash of the newest entry when the report was made: `qc verify --against` finds it again.
    signals_told : str
        How many signals were raised in the month beside what the budget leads to expect, in words.
    plan_changes : tuple of str
        What changed in the measuring plan in the month, a sentence each.
    since_closed : tuple of Gap
        What came in for earlier months after the month before was closed; it is not in their figures.
    shipped_before, shipped_year_ago : int or None
        Instruments that left in the month before and a year ago; None before anything was recorded.
    not_passed : tuple of (stage, serial, day, why)
        The pieces that did not pass a stage at the first go.
    upstream : tuple of (result, sentence)
        Which earlier figures of the same pieces go with each final result, said as association.
    people : tuple of (series, sentence)
        Whose pieces differ from those that others made beside them, said as association.
    gauge_checks : tuple of GaugeCourse
        What the gauges read on their masters, those that moved first.
    closed : str
        By whom and when the month was closed, empty while it is not.
    hour : (float, str) or None
        What an hour of rework costs, and in what; None where the plan has no rate.
    """

    workshop: str
    month: str
    first: date
    last: date
    as_of: date
    plan_version: int
    shipped: tuple[tuple[str, int], ...]
    returned: tuple[str, ...]
    yields: tuple[Yield, ...]
    rolled: Rolled | None
    changes: tuple[Change, ...]
    reactions: tuple[Reaction, ...]
    rework: tuple[Rework, ...]
    gauges: tuple[GaugeLine, ...]
    dies: tuple[DieLine, ...]
    decisions: tuple[str, ...]
    gaps: tuple[Gap, ...]
    verdicts: tuple[SeriesVerdict, ...]
    budget: str
    last_hash: str = ""
    hold: tuple[PieceToHold, ...] = ()
    signals_told: str = ""
    plan_changes: tuple[str, ...] = ()
    since_closed: tuple[Gap, ...] = ()
    closed: str = ""
    shipped_before: int | None = None
    shipped_year_ago: int | None = None
    not_passed: tuple[tuple[str, str, date, str], ...] = ()
    upstream: tuple[tuple[str, str], ...] = ()
    people: tuple[tuple[str, str], ...] = ()
    gauge_checks: tuple[GaugeCourse, ...] = ()
    hour: tuple[float, str] | None = None

    @property
    def near(self) -> tuple[SeriesVerdict, ...]:
        """Steady series whose capability is least, so many that with the changes they are three pictures.

        One that settled at a new level and waits for an answer is not as it was.
        """
        changed = {one.key for one in self.changes}
        quiet = [
            v
            for v in self.verdicts
            if v.behaviour == "steady" and v.ppk is not None and v.points and v.settled_since is None
        ]
        own = sorted(
            (v for v in quiet if str(v.key) not in changed), key=lambda v: (v.ppk or 0.0, str(v.key))
        )
        return tuple(own[: max(0, PICTURES - len(self.changes))])

    @property
    def held_pieces(self) -> int:
        """Pieces in the house that are to be held."""
        return len({one.serial for one in self.hold if one.shipped is None and one.standing == "to hold"})

    @property
    def left_held(self) -> tuple[str, ...]:
        """Pieces that left in the month while they were to be held, and that nobody released since."""
        own = (one.serial for one in self.hold if one.standing.startswith(f"{LEFT_HELD} on"))
        return tuple(dict.fromkeys(own))

    @property
    def left_unreleased(self) -> int:
        """Pieces that left in the month though something speaks against them that nobody released."""
        gone = (one for one in self.hold if one.shipped is not None and "released by" not in one.standing)
        return len({one.serial for one in gone})

    @property
    def rework_cost(self) -> str:
        """What the rework of the month cost, in words; empty without a rate in the plan."""
        return cost_words(self.rework_hours, self.hour)

    @property
    def lowest(self) -> Yield | None:
        """The stage that most pieces did not pass at the first go, of those with pieces enough to tell."""
        told = (one for one in self.yields if one.through >= FEW and one.passed < one.through)
        return min(told, key=lambda one: one.passed / one.through, default=None)

    @property
    def rework_hours(self) -> float:
        """Hours of rework of all causes."""
        return summed([one.hours for one in self.rework])

    @property
    def shipped_total(self) -> int:
        """Instruments that left in the month."""
        return sum(number for _, number in self.shipped)

    @property
    def headline(self) -> str:
        """The month in one sentence."""
        moved = [v for v in self.verdicts if v.behaviour == "drifting"]
        watched = len(self.verdicts)
        left = f"{count_words(self.shipped_total, 'instrument')} shipped"
        rest = self._held_words() + self._lost_words()
        if not moved:
            return f"{left}; all {watched} series that are watched are as they were.{rest}"
        stages = dict.fromkeys(inside(v.stage_name) for v in moved)
        where = listed(list(stages))
        verb = "has" if len(moved) == 1 else "have"
        return f"{left}; {len(moved)} of {watched} series {verb} moved, in {where}.{rest}"

    def _held_words(self) -> str:
        held = f"{count_words(self.held_pieces, 'piece')} to hold" if self.held_pieces else ""
        gone = self.left_unreleased
        if not gone:
            return f" {held}." if held else ""
        left = f"{gone} left" if held else f"{count_words(gone, 'piece')} left"
        return f" {', '.join(filter(None, (held, left)))} without a release."

    def _lost_words(self) -> str:
        least, told = self.lowest, ""
        if least is not None:
            told = f" First pass lowest: {inside(least.stage)}, {least.passed} of {least.through}."
        if self.rework:
            cost = f", {self.rework_cost}" if self.rework_cost else ""
            told += f" Rework: {adding_up([self.rework_hours], HOUR_PLACES)[0]} h{cost}."
        return told

    def to_dict(self) -> JsonObject:
        """Return plain values, the verdicts as `SeriesVerdict.to_dict`."""
        plain = asdict(self)
        plain["verdicts"] = [v.to_dict() for v in self.verdicts]
        return plain
