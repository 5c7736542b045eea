"""What the board shows, as frozen plain results; the questions they answer: `qc.jobs.board.questions`."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from qc.jobs.board.gauge_views import TouchedView
from qc.jobs.board.signals_seen import SignalComment, SignalView
from qc.jobs.in_hand import Holders
from qc.jobs.pieces import LEFT_NEXT, HoldList, HoldRow, why_words
from qc.jobs.then import Changes
from qc.jobs.whole_piece import (
    CardOfPiece,
    FigureOfPiece,
    MapCell,
    PartOfPiece,
    PieceRecord,
    PlaceFigure,
    Shared,
    SignalOfPiece,
    among_words,
    form_lines,
    grid_of,
    limits_of,
    made_of,
    shared_words,
)
from qc.report.terminal import owner_words
from qc.sayings import What
from qc.states import DUE, NO_LIMITS
from qc.store import HeldReason
from qc.watch import (
    IN_100,
    LEARNING,
    LEAST_FOR_INDEX,
    Behaviour,
    Capable,
    Forecast,
    Point,
    RuleOffer,
    RulesView,
    SeriesKey,
    SeriesVerdict,
    SignalResult,
    StretchResult,
    Suspect,
    as_running_rate,
    budget_words,
    caution_words,
    first_steps,
    is_good_news,
    known_rules,
    limit_lines,
    limits_words,
    not_kept_words,
    rate_words,
    reaction_steps,
    settled_words,
    unchanged_words,
    why_none,
)

__all__ = [
    "TouchedView",
    "CardOfPiece",
    "FigureOfPiece",
    "PartOfPiece",
    "PieceRecord",
    "PlaceFigure",
    "SignalOfPiece",
    "Shared",
    "among_words",
    "form_lines",
    "grid_of",
    "MapCell",
    "limits_of",
    "made_of",
    "shared_words",
    "DecidedView",
    "IN_100",
    "LEARNING",
    "LEAST_FOR_INDEX",
    "Behaviour",
    "BudgetView",
    "Capable",
    "DecisionView",
    "Due",
    "EventRow",
    "Forecast",
    "HeldReason",
    "HeldView",
    "HoldList",
    "LEFT_NEXT",
    "HoldRow",
    "InstrumentReading",
    "InstrumentRow",
    "InstrumentView",
    "ChartMark",
    "ModelView",
    "Point",
    "ReportView",
    "RuleOffer",
    "RulesView",
    "SeriesKey",
    "SeriesVerdict",
    "SeriesView",
    "ShopView",
    "SheetView",
    "SignalComment",
    "SignalResult",
    "SignalView",
    "StageView",
    "StretchResult",
    "Suspect",
    "TodayView",
    "TouchedView",
    "as_running_rate",
    "limit_lines",
    "budget_words",
    "caution_words",
    "first_steps",
    "is_good_news",
    "known_rules",
    "limits_words",
    "not_kept_words",
    "owner_words",
    "rate_words",
    "unchanged_words",
    "reaction_steps",
    "settled_words",
    "why_none",
    "why_words",
]


@dataclass(frozen=True, slots=True)
class ShopView:
    """Whose board this is, and the day it stands on."""

    name: str
    day: date
    people: tuple[tuple[str, str], ...] = ()  # code and how it is shown, for those at work today
    causes: tuple[str, ...] = ()  # what a closed signal may be put down to, from the plan


@dataclass(frozen=True, slots=True)
class BudgetView:
    """How often the whole board cries wolf at the plan's setting."""

    days: float  # between two false signals, on average
    series: int  # over which the budget is shared out
    rate: float  # chance of a false signal per piece of a series


@dataclass(frozen=True, slots=True)
class StageView:
    """One stage of the route, summed up over its series."""

    id: str
    name: str
    behaviour: Behaviour
    capable: Capable | str  # empty where nothing is said of limits
    series: int
    moved: int
    pieces: int  # pieces of the longest series, said while a stage is learning
    limits: str = NO_LIMITS  # how its worst series stands to its limits: a name of `qc.states.LIMITS`


@dataclass(frozen=True, slots=True)
class Due:
    """Something that runs out: a die, a gauge."""

    id: str
    name: str
    day: date | None
    sentence: str
    series: SeriesKey | None = None  # where it shows
    gauge: bool = False  # it has a page among the gauges
    state: str = DUE  # a name of `qc.states.GAUGE`


@dataclass(frozen=True, slots=True)
class TodayView:
    """The first screen."""

    stages: tuple[StageView, ...]
    findings: tuple[SeriesVerdict, ...]  # drifting series, worst first
    cards_day: date  # today, or the last day on which any card came in
    cards_in: int
    cards_expected: int
    cards_missing: tuple[str, ...]
    held_rows: int
    dies_due: tuple[Due, ...]
    gauges_due: tuple[Due, ...]
    shipped: int
    series: int
    budget: BudgetView
    last_false: date | None
    settled: tuple[SeriesVerdict, ...] = ()  # settled at a new level, nobody has said why
    not_kept: tuple[SeriesVerdict, ...] = ()  # a new level stays, as somebody said, and breaks the limits
    waiting: tuple[SignalView, ...] = ()  # open signals that no finding tells of, newest first
    older: tuple[SignalView, ...] = ()  # of these single pieces that have waited for longer
    changes: Changes | None = None  # what became of each series since the day before
    holders: Holders = Holders()  # held rows, pieces to hold and open reactions, and with whom they are

    @property
    def open_as_well(self) -> int:
        """How many open signals no finding tells of."""
        return len(self.waiting) + len(self.older)


@dataclass(frozen=True, slots=True)
class ChartMark:
    """Something that happened beside a series: a tool fitted, a gauge calibrated, a person joined."""

    ordinal: float  # where on the axis of pieces; n + 0.5 is between two of them
    day: date
    kind: str  # tool | gauge | person | batch
    text: str


@dataclass(frozen=True, slots=True)
class ModelView:
    """How a model is named and drawn."""

    id: str
    name: str
    symbol: str


@dataclass(frozen=True, slots=True)
class DecisionView:
    """What a lead decided about a series and what still stands: a settled state frozen, pieces left out."""

    what: What  # frozen or left out
    first: str
    last: str
    who: str
    day: date | None
    why: str


@dataclass(frozen=True, slots=True)
class SeriesView:
    """One series with what the plan says of it."""

    verdict: SeriesVerdict
    plain: str  # one sentence for someone new
    reaction: tuple[str, ...]
    cautions: tuple[str, ...]
    next_step: str
    models: tuple[ModelView, ...]
    marks: tuple[ChartMark, ...]
    wanted_ppk: float
    gauges: tuple[str, ...] = ()  # gauges in use on the newest pieces
    wears_with: str = ""
    wear: str = ""  # where its tool is going, and whether its day has passed, in words
    decisions: tuple[DecisionView, ...] = ()
    notes: tuple[str, ...] = ()  # what is to be known of the series and its stage, decisions apart


@dataclass(frozen=True, slots=True)
class SheetView:
    """One uploaded sheet."""

    sheet: str  # SHA-256
    file: str
    card: str
    entered: str
    who: str
    size: int  # [bytes]
    held: int  # rows of it that are still held


@dataclass(frozen=True, slots=True)
class HeldView:
    """A row that could not be accepted."""

    id: str
    file: str
    cell: str
    text: str
    reasons: tuple[HeldReason, ...]
    proposal: str  # what one click would change, in words; empty where nothing is offered
    serial: str = ""
    what: str = ""  # which figure it is
    columns: tuple[tuple[str, str], ...] = ()  # what may be typed anew: column and what stands there
    doubt: bool = True  # False where a fault is among the reasons, which nobody can confirm away
    run: str = ""  # rows of one run are one question, to be decided in one go
    place: str = ""  # where on the piece
    card: str = ""  # title of the card: the bench it came from
    entered: datetime | None = None  # when it was handed in, UTC


@dataclass(frozen=True, slots=True)
class DecidedView:
    """A decision about a held row that can be taken back."""

    row: str
    what: str  # piece, figure and place
    text: str  # as typed
    state: str  # accepted | dropped
    who: str
    day: date


@dataclass(frozen=True, slots=True)
class InstrumentRow:
    """One line of the list of instruments."""

    serial: str
    model: str
    first_day: date | None
    state: str  # Lacquer, 18 Nov 2026 | shipped 3 Nov 2026 | part


@dataclass(frozen=True, slots=True)
class InstrumentReading:
    """One reading of a piece, in words the bench uses."""

    day: date
    stage: str
    stage_name: str
    name: str
    place: str
    value: float
    unit: str
    text: str
    person: str
    gauge: str
    tool: str
    file: str
    row: int
    note: str = ""
    id: int = 0  # the name by which it is put right
    state: str = "stands"  # stands | corrected | taken back
    became: str = ""  # what became of it, by whom, when and why; empty where it stands
    kind: str = "measured"  # of its figure: measured | count | pass-fail
    batch: str = ""


@dataclass(frozen=True, slots=True)
class EventRow:
    """One event in the life of a piece."""

    day: date
    sentence: str


@dataclass(frozen=True, slots=True)
class InstrumentView:
    """Everything about one serial."""

    serial: str
    model: str
    state: str
    readings: tuple[InstrumentReading, ...]
    events: tuple[EventRow, ...]
    parts: tuple[tuple[str, str], ...]  # role, serial of the part
    part_of: tuple[tuple[str, str], ...]  # role, serial of the instrument
    charted: tuple[tuple[SeriesVerdict, Point], ...] = ()
    record: PieceRecord | None = None


@dataclass(frozen=True, slots=True)
class ReportView:
    """One month's report on disk."""

    month: str
    files: tuple[Path, ...] = field(default=())
    closed: bool = False
