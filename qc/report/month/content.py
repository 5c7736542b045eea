"""What the month's report says, as plain figures and sentences: the same for pdf, page and workbook.

Two pages first, in the order in which they get read; then a panel for every series. Nothing here knows paper.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date

from qc.plain import JsonObject
from qc.watch import SeriesVerdict
from qc.words import count_words, listed


@dataclass(frozen=True, slots=True)
class Yield:
    """First-pass yield of a stage: pieces that went through without rework, of pieces that went through."""

    stage: str
    passed: int
    through: int

    @property
    def share(self) -> float | None:
        """Share that passed, None where nothing went through."""
        return self.passed / self.through if self.through else None


@dataclass(frozen=True, slots=True)
class Change:
    """One of the things that changed, with its evidence."""

    key: str
    sentence: str
    because: str
    next_step: str
    evidence: str  # "22 mm (20 to 24) from 12 pieces, false-alarm chance 0.4 % a point"


@dataclass(frozen=True, slots=True)
class Reaction:
    """A signal that is still open at the end of the month."""

    name: str
    opened: date
    age_days: int
    state: str
    pieces: int


@dataclass(frozen=True, slots=True)
class Rework:
    """Rework of one cause: hours count, not cases."""

    cause: str
    hours: float
    pieces: int


@dataclass(frozen=True, slots=True)
class GaugeLine:
    """A gauge that is out, overdue or not checked."""

    gauge: str
    name: str
    state: str


@dataclass(frozen=True, slots=True)
class DieLine:
    """A wearing tool and where it is going."""

    tool: str
    series: str
    count: int
    change_by_count: int | None
    change_by_day: date | None
    sentence: str


@dataclass(frozen=True, slots=True)
class PieceToHold:
    """A piece that is to be held, or left before anybody released it: figure, worst place, why."""

    serial: str
    name: str
    because: str
    where: str
    shipped: date | None
    next_step: str


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
        First-pass yield by stage, in route order, and the product of their shares.
    changes, reactions, rework, gauges, dies, decisions, gaps
        The blocks of the two pages.
    hold : tuple of PieceToHold
        In the house on the last day, and those that left in the month, the worst first.
    verdicts : tuple of SeriesVerdict
        For the panels and the capability table, in route order.
    budget : str
        What the false-alarm budget amounts to, in words.
    last_hash : str
        Hash of the newest entry when the report was made: `qc verify --against` finds it again.
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
    rolled: float | None
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
        if not moved:
            return f"{left}; all {watched} series that are watched are as they were."
        stages = dict.fromkeys(v.stage_name.lower() for v in moved)
        where = listed(list(stages))
        verb = "has" if len(moved) == 1 else "have"
        return f"{left}; {len(moved)} of {watched} series {verb} moved, in {where}."

    def to_dict(self) -> JsonObject:
        """Return plain values, the verdicts as `SeriesVerdict.to_dict`."""
        plain = asdict(self)
        plain["verdicts"] = [v.to_dict() for v in self.verdicts]
        return plain


def rolled_yield(yields: tuple[Yield, ...]) -> float | None:
    """Return the rolled first-pass yield: the product of the stages' shares.

    Parameters
    ----------
    yields : tuple of Yield
        Stages without pieces are passed over.

    Returns
    -------
    float or None
        None where no stage had a piece.

    References
    ----------
    .. [1] Trade check T076: six stages of 0.97, 0.95, 0.92, 0.98, 0.90 and 0.96 give 0.7178.

    Examples
    --------
    >>> round(rolled_yield((Yield("draw", 97, 100), Yield("bell", 95, 100))), 4)
    0.9215
    """
    shares = [y.share for y in yields if y.share is not None]
    if not shares:
        return None
    product = 1.0
    for share in shares:
        product *= share
    return product
