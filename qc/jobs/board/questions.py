"""The questions a board may ask of the house, and what it may hand in.

`qc.jobs.board.StoreBoardData` answers them from a workshop folder; the board's tests answer them from an
invented workshop.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import IO, Literal, Protocol, TypedDict

from qc.errors import QcError
from qc.jobs.bench import BenchData
from qc.jobs.board import losses, views
from qc.jobs.board.gauge_views import GaugeView
from qc.jobs.board.remedies import RemedyAnswers
from qc.jobs.board.weighed import WorthView
from qc.jobs.in_hand import DayView
from qc.jobs.rows import UnreadSheet as UnreadSheet
from qc.jobs.shown import PointedLine as PointedLine
from qc.jobs.shown import PointedSheet as PointedSheet
from qc.jobs.shown import Preview as Preview
from qc.jobs.shown import ShownData as ShownData
from qc.plain import JsonObject
from qc.sayings import Saying


class Ticket(TypedDict):
    """How far a task of the worker is, and what came of it."""

    state: Literal["waiting", "working", "done", "failed"]
    done: int
    of: int
    message: str
    receipt: JsonObject | None


class DeskFull(QcError):
    """The desk takes nothing more now: `status` for the answer, `wait_s` before asking again [s]."""

    def __init__(self, sentence: str, status: int, wait_s: int = 30) -> None:
        super().__init__(sentence)
        self.status, self.wait_s = status, wait_s


class BoardData(Protocol):
    """Every question a board may ask of the house."""

    def shop(self) -> views.ShopView:
        """Return whose board this is."""
        ...

    def known(self, day: date) -> BoardData:
        """Return what answers as it was known on a day; it only reads."""
        ...

    def then(self) -> tuple[str, ...]:
        """Return what must be said of a past day that this answers for; nothing of the present one."""
        ...

    def today(self) -> views.TodayView:
        """Return what the first screen shows."""
        ...

    def day(self) -> DayView:
        """Return the day as it ends: what came, what was told and decided, what left."""
        ...

    def not_judged(self) -> str:
        """Return since when something waits to be judged, as a sentence; empty when all is judged."""
        ...

    def backup_due(self) -> str:
        """Return a reminder where there is no backup or an old one only, else nothing."""
        ...

    def budget(self) -> views.BudgetView:
        """Return how often the whole board cries wolf at the plan's setting."""
        ...

    def stages(self) -> tuple[views.StageView, ...]:
        """Return the stages in route order."""
        ...

    def verdicts(self, stage: str | None = None) -> tuple[views.SeriesVerdict, ...]:
        """Return the series of a stage (or all), worst first."""
        ...

    def series(self, key: views.SeriesKey) -> views.SeriesView | None:
        """Return one series with what the plan says of it."""
        ...

    def rules(self) -> tuple[views.RuleOffer, ...]:
        """Return the classic pattern rules with their prices."""
        ...

    def rules_price(self, chosen: Sequence[str]) -> float | None:
        """Return the pieces between two false signals of some rules together, None where it is not known."""
        ...

    def rules_on(self, key: views.SeriesKey, chosen: Sequence[str], limits: str) -> views.RulesView:
        """Return what some rules find on a series, with limits textbook, prediction or guaranteed."""
        ...

    def signals(self) -> tuple[views.SignalView, ...]:
        """Return every signal, those still lasting first, then newest first."""
        ...

    def signal(self, signal_id: str) -> views.SignalView | None:
        """Return one signal."""
        ...

    def touched(self, signal_id: str) -> views.TouchedView | None:
        """Return what else the first suspect of a signal touched, None where that cannot be followed."""
        ...

    def instruments(self, wanted: str = "", limit: int = 60) -> tuple[views.InstrumentRow, ...]:
        """Return instruments whose serial holds `wanted`, newest first."""
        ...

    def instrument(self, serial: str) -> views.InstrumentView | None:
        """Return everything about one serial."""
        ...

    def nearest(self, serial: str) -> tuple[str, ...]:
        """Return the known serials that look most like one."""
        ...

    def leaving(self, serial: str, due: str) -> str:
        """Say whether a piece can leave by a day as it was typed."""
        ...

    def also(self, kind: str, name: str) -> views.TouchedView | None:
        """Return the pieces that a batch, tool, gauge or person touched, None where there are none."""
        ...

    def showing(self) -> ShownData:
        """Return what answers about the sheets that wait for their layout."""
        ...

    def sheets(self) -> tuple[views.SheetView, ...]:
        """Return past sheets, newest first."""
        ...

    def held(self) -> tuple[views.HeldView, ...]:
        """Return the held rows that are still open."""
        ...

    def held_among(self, rows: Sequence[str]) -> tuple[int, tuple[views.HeldView, ...]]:
        """Return how many rows are still open, and those of some rows that are; no others are looked at."""
        ...

    def hold(self) -> views.HoldList:
        """Return the pieces to hold, and why."""
        ...

    def rework(self, first: date | None = None, last: date | None = None) -> losses.ReworkReport:
        """Return rework by cause and the yields of the stages in a stretch of days."""
        ...

    def upstream(self) -> losses.UpstreamReport:
        """Return which earlier figures go with the final results."""
        ...

    def decided(self) -> tuple[views.DecidedView, ...]:
        """Return what was decided about held rows of late and can be taken back, newest first."""
        ...

    def gauges(self) -> tuple[GaugeView, ...]:
        """Return the gauges of the plan, those that need a look first."""
        ...

    def gauge_touched(self, gauge: str) -> views.TouchedView | None:
        """Return the pieces a gauge touched since it was last known to be good, None where there are none."""
        ...

    def worth(self) -> WorthView:
        """Return what a reading of each figure costs and buys, the costly ones first."""
        ...

    def worth_asked(self, key: views.SeriesKey, see: str, within: str, limit: str) -> str:
        """Answer what was typed: how often to read to see a change, how many pieces a limit passes."""
        ...

    def remedies(self) -> RemedyAnswers:
        """Return what answers about remedies."""
        ...

    def mapping_faults(self, mapping: str) -> tuple[str, ...]:
        """Return all that is wrong with what headings are said to mean, a sentence each."""
        ...

    def month(self) -> JsonObject:
        """Return the words and figures of the report of the month of the board's day, as it stands."""
        ...

    def month_page(self) -> str:
        """Return the first pages of that report as html, to be looked at before it is written."""
        ...

    def reports(self) -> tuple[views.ReportView, ...]:
        """Return the monthly reports on disk, newest first."""
        ...

    def bench(self) -> BenchData:
        """Return what answers the questions of a tablet while a card is typed."""
        ...

    def cards(self) -> tuple[tuple[str, str], ...]:
        """Return the plan's cards, id and title."""
        ...

    def hold_tags(self, serial: str = "") -> bytes | None:
        """Return a pdf with a tag for each piece to hold, or for one; None where none is to be held."""
        ...

    def blank_card(self, card: str, ending: str) -> bytes | None:
        """Return a blank card as a file, pdf or xlsx; None where there is none."""
        ...


class UploadDesk(Protocol):
    """Takes sheets, decisions and remarks, works them off one after the other in a process of its own.

    What is taken gets a ticket, and every ticket ends: in a receipt or in a sentence. What cannot be taken
    raises `DeskFull`.
    """

    def submit(self, files: Sequence[tuple[str, IO[bytes]]], who: str) -> str:
        """Queue sheets for upload and return a ticket; the files are copied before this returns."""
        ...

    def submit_mapped(self, files: Sequence[tuple[str, IO[bytes]]], mapping: str, who: str) -> str:
        """Queue sheets with what their headings mean, as `BoardData.mapping_faults` passed it."""
        ...

    def enter(self, sent: Mapping[str, object], who: str) -> str:
        """Queue a card that was typed at the bench; the same entry sent again has the same ticket."""
        ...

    def decide(self, rows: Sequence[str], decision: str, changes: Mapping[str, str], who: str) -> str:
        """Queue a decision on held rows and return a ticket."""
        ...

    def undo(self, rows: Sequence[str], who: str, why: str) -> str:
        """Queue the undoing of decisions on held rows and return a ticket."""
        ...

    def show_layout(self, sheet: str, layout: str, who: str) -> str:
        """Queue that a sheet which waits is read through a layout, as text, and return a ticket."""
        ...

    def put_away(self, sheet: str, who: str, why: str) -> str:
        """Queue that a sheet which waits for its layout is put away, and return a ticket."""
        ...

    def correct(self, reading: str, changes: Mapping[str, str], who: str, why: str, sure: bool) -> str:
        """Queue a correction of a reading, without changes its withdrawal, and return a ticket."""
        ...

    def say(self, signal_id: str, saying: Saying) -> str:
        """Queue what is said of a signal and return a ticket."""
        ...

    def decide_series(self, series: str, saying: Saying) -> str:
        """Queue a lead's decision about a series and return a ticket."""
        ...

    def decide_piece(self, serial: str, what: str, figure: str, who: str, why: str) -> str:
        """Queue a release, or that a piece is kept back, and return a ticket."""
        ...

    def write_month(self, month: str, who: str) -> str:
        """Queue that the report of a month is written, and return a ticket."""
        ...

    def study_gauge(self, file: tuple[str, IO[bytes]], question: Mapping[str, str], who: str) -> str:
        """Queue a gauge study of a file and return a ticket; nothing of it is stored."""
        ...

    def hear(self, file: tuple[str, IO[bytes]], serial: str, who: str) -> str:
        """Queue a recording of a piece's notes and return a ticket; nothing of it is stored."""
        ...

    def judge(self) -> None:
        """Have judged what waits for it; returns at once."""
        ...

    def progress(self, ticket: str) -> Ticket | None:
        """Return how far a ticket is, or None for an unknown one."""
        ...

    def ended(self, ticket: str, seconds: float) -> bool:
        """Wait until a ticket has ended, for so long at most; say whether it has."""
        ...

    def warm(self) -> None:
        """Get ready, since a sheet may come soon; returns at once."""
        ...

    def close(self) -> None:
        """Stop the worker."""
        ...
