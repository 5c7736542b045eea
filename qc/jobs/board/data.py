"""What the board asks, answered from a workshop folder: what is kept there, nothing judged anew."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Final, TypeVar, cast

from qc import clock
from qc.errors import QcError
from qc.ingest import MappingError, read_mapping
from qc.jobs.also import KINDS, Kind
from qc.jobs.backup import backup_note
from qc.jobs.bench import BenchData
from qc.jobs.board import losses, views
from qc.jobs.board.gauge_views import GaugeView
from qc.jobs.board.gauges import gauge_views, trusted_since
from qc.jobs.board.months import month_figures, month_page, month_so_far
from qc.jobs.board.remedies import StoreRemedies
from qc.jobs.board.rows import (
    chosen_rows,
    decided_views,
    held_views,
    instrument_rows,
    instrument_view,
    report_views,
    sheet_views,
    signal_views,
    signal_whole,
    standing_rows,
    worst_first,
)
from qc.jobs.board.series import apart_words, series_view
from qc.jobs.board.today import budget_view, not_judged_words, stage_views, today_view
from qc.jobs.board.traced import traced
from qc.jobs.board.weighed import WeighedOnce, WorthView
from qc.jobs.in_hand import DayView, day_view
from qc.jobs.judging import answering, signals_of_day
from qc.jobs.pieces import hold_list, tags_of
from qc.jobs.printed import blank_file
from qc.jobs.shown import ShownData
from qc.jobs.then import known
from qc.jobs.whole_piece import nearest_to, piece_record, with_what_came_later
from qc.jobs.workshop import PLAN, Workshop, asked_day, open_workshop
from qc.plain import JsonObject
from qc.report.month import MonthContent
from qc.watch import RuleOffer, RulesView, apply_rules, dependence_note, rule_offers, rules_price

T = TypeVar("T")

MOST_PAST_DAYS: Final = 4
"""Chosen: so many past days stay open, each with a connection of its own; the oldest goes for the next."""

FOLLOWED: Final[dict[str, tuple[Kind, str]]] = {
    "gauge": ("gauge", "last-good-check"),
    "gauge-check": ("gauge", "last-good-check"),
    "tool": ("tool", ""),
    "batch": ("batch", ""),
}
"""Suspects whose traces can be followed, and since when: a gauge is trusted up to its last good check."""


class StoreBoardData:
    """Answers a board's questions (`BoardData`).

    Answers rest on the store's pulse: as long as no entry and no judgement is added, what was worked out once
    is given again. A plan file that changes is read again; one that has faults leaves the plan before it in
    force, since a board that goes dark helps nobody.

    Parameters
    ----------
    folder : Path
        The workshop folder.
    as_of : date, optional
        The day to stand on; else the plan's own day, else today.
    """

    def __init__(self, folder: Path, as_of: date | None = None) -> None:
        self._folder, self._as_of = folder, as_of
        self._lock = threading.RLock()
        self._workshop = open_workshop(folder, as_of=as_of)
        self._stamp = _stamp(folder)
        self._pulse: tuple[int, int] | None = None
        self._known: dict[object, object] = {}
        self._past: dict[date, tuple[int, StoreBoardData]] = {}
        self._weighed = WeighedOnce()
        self._bench, self._showing = BenchData(self._current), ShownData(self._current)

    def known(self, day: date) -> StoreBoardData:
        """Return what answers as it was known on a day, beside this one and from the same store.

        Raises
        ------
        QcError
            The plan of then cannot be read any more.
        """
        workshop = self._current()
        with self._lock:
            number = workshop.store.pulse()[0]
            kept = self._past.get(day)
            if kept is None or kept[0] != number:
                # what was handed in since may have been for that day, or is to be named there
                self._past.pop(day, None)
                while len(self._past) >= MOST_PAST_DAYS:
                    self._past.pop(next(iter(self._past)))
                self._past[day] = number, _PastBoardData(workshop, known(workshop, day))
            return self._past[day][1]

    def then(self) -> tuple[str, ...]:
        """Return what must be said of a past day that this answers for; nothing of the present one."""
        then = self._current().then
        return () if then is None else then.notes

    def shop(self) -> views.ShopView:
        """Return whose board this is."""
        workshop = self._current()
        plan, today = workshop.plan, workshop.today
        at_work = [
            (p.code, f"{p.code} ({p.name})" if p.name else p.code)
            for p in plan.people
            if (p.joined is None or p.joined <= today) and (p.left is None or p.left > today)
        ]
        listed = [person for person in workshop.store.people() if workshop.then is None]
        if listed:  # whoever is on the list of people decides, and nobody else
            at_work = [(p.code, f"{p.code} ({p.name})" if p.name else p.code) for p in listed if p.at_work]
        return views.ShopView(plan.workshop.name, today, tuple(at_work), plan.causes)

    def today(self) -> views.TodayView:
        """Return what the first screen shows."""
        return self._once(
            "today",
            lambda w: today_view(w, self.verdicts(), self.budget(), self.signals(), self.hold()),
        )

    def day(self) -> DayView:
        """Return the day as it ends: what came, what was told and decided, what left."""
        return self._once("day", lambda w: day_view(w, signals_of_day(w, self.verdicts())))

    def not_judged(self) -> str:
        """Return since when something waits to be judged, as a sentence; empty when all is judged."""
        return self._once("not judged", not_judged_words)

    def backup_due(self) -> str:
        """Return a reminder where there is no backup or an old one only, else nothing."""
        # asked each time: a backup is made beside the board and adds no entry
        workshop = self._current()
        return backup_note(workshop) if workshop.then is None else ""

    def budget(self) -> views.BudgetView:
        """Return how often the whole board cries wolf at the plan's setting."""
        return self._once("budget", budget_view)

    def stages(self) -> tuple[views.StageView, ...]:
        """Return the stages in route order."""
        return stage_views(self._current().plan, self.verdicts())

    def verdicts(self, stage: str | None = None) -> tuple[views.SeriesVerdict, ...]:
        """Return the series of a stage (or all), worst first."""
        found = self._once("verdicts", worst_first)
        return tuple(v for v in found if stage is None or v.key.stage == stage)

    def series(self, key: views.SeriesKey) -> views.SeriesView | None:
        """Return one series with what the plan says of it."""
        own = self.verdicts(key.stage)
        verdict = next((v for v in own if v.key == key), None)
        if verdict is None:
            return None
        alike = self._once(f"alike {key.stage}", lambda _: dependence_note(own))
        every = self.verdicts()
        apart = self._once("apart", lambda w: apart_words(w, every))
        told = tuple(said[:1].upper() + said[1:] for series, said in apart if series == str(key))
        return self._once(f"series {key}", lambda w: series_view(w, verdict, (alike, *told)))

    def rules(self) -> tuple[RuleOffer, ...]:
        """Return the classic pattern rules with their prices."""
        return rule_offers()

    def rules_price(self, chosen: Sequence[str]) -> float | None:
        """Return the pieces between two false signals of some rules together, None where it is not known."""
        return rules_price(chosen)

    def rules_on(self, key: views.SeriesKey, chosen: Sequence[str], limits: str) -> RulesView:
        """Return what some rules find on a series, with limits textbook, prediction or guaranteed."""
        verdict = next((v for v in self.verdicts(key.stage) if v.key == key), None)
        return apply_rules(verdict, chosen, limits) if verdict else RulesView("There is no such series.")

    def signals(self) -> tuple[views.SignalView, ...]:
        """Return every signal, those that wait first, the worst of them first, then the newest first."""
        return self._once("signals", lambda w: signal_views(w, self.verdicts()))

    def signal(self, signal_id: str) -> views.SignalView | None:
        """Return one signal."""
        fits = answering(self.signals(), signal_id)
        if len(fits) != 1:
            return None
        view = fits[0]
        return self._once(f"signal {view.id}", lambda w: signal_whole(w, view))

    def touched(self, signal_id: str) -> views.TouchedView | None:
        """Return what else the first suspect of a signal touched, None where that cannot be followed."""
        view = self.signal(signal_id)
        first = next(iter(view.signal.suspects), None) if view else None
        if first is None or first.kind not in FOLLOWED:
            return None
        kind, since = FOLLOWED[first.kind]
        return self._once(f"touched {kind} {first.name}", lambda w: traced(w, kind, first.name, since))

    def instruments(self, wanted: str = "", limit: int = 60) -> tuple[views.InstrumentRow, ...]:
        """Return instruments whose serial holds `wanted`, newest first; parts too where one is asked for."""
        found = chosen_rows(self._once("pieces", instrument_rows), wanted)
        return standing_rows(self._current(), found[:limit])

    def instrument(self, serial: str) -> views.InstrumentView | None:
        """Return everything about one serial."""
        return instrument_view(self._current(), serial, self.verdicts(), self.hold().rows)

    def nearest(self, serial: str) -> tuple[str, ...]:
        """Return the known serials that look most like one."""
        return tuple(nearest_to(self._current(), serial))

    def leaving(self, serial: str, due: str) -> str:
        """Say whether a piece can leave by a day as it was typed."""
        workshop = self._current()
        try:
            day = asked_day(due)
            record = piece_record(
                workshop, serial, due=day, judge=False, verdicts=self.verdicts(), hold=self.hold().rows
            )
        except QcError as error:
            return str(error)
        return record.leaving.said if record.leaving else record.notes[-1]

    def also(self, kind: str, name: str) -> views.TouchedView | None:
        """Return the pieces that a batch, tool, gauge or person touched, None where there are none."""
        asked = next((one for one in KINDS if one == kind), None)
        return self._once(f"touched {kind} {name}", lambda w: traced(w, asked, name, "")) if asked else None

    def sheets(self) -> tuple[views.SheetView, ...]:
        """Return past sheets, newest first."""
        return self._once("sheets", sheet_views)

    def showing(self) -> ShownData:
        """Return what answers about the sheets that wait for their layout."""
        return self._showing

    def held(self) -> tuple[views.HeldView, ...]:
        """Return the held rows that are still open."""
        return self._once("held", held_views)

    def held_among(self, rows: Sequence[str]) -> tuple[int, tuple[views.HeldView, ...]]:
        """Return how many rows are still open, and those of some rows that are."""
        workshop = self._current()
        return len(workshop.store.held_open()), held_views(workshop, rows)

    def hold(self) -> views.HoldList:
        """Return the pieces to hold, and why."""
        return self._once("hold", lambda w: hold_list(w, judge=False, verdicts=self.verdicts(), keep=False))

    def hold_tags(self, serial: str = "") -> bytes | None:
        """Return a pdf with a tag for each piece to hold, or for one; None where none is to be held."""
        rows = [row for row in self.hold().waiting if serial in ("", row.serial)]
        return tags_of(self._current(), rows) if rows else None

    def decided(self) -> tuple[views.DecidedView, ...]:
        """Return what was decided about held rows of late and can be taken back, newest first."""
        return self._once("decided", decided_views)

    def gauges(self) -> tuple[GaugeView, ...]:
        """Return the gauges of the plan, those that need a look first."""
        return self._once("gauges", gauge_views)

    def gauge_touched(self, gauge: str) -> views.TouchedView | None:
        """Return the pieces a gauge touched since it was last known to be good, None where there are none."""
        view = next((g for g in self.gauges() if g.id == gauge), None)
        if view is None:
            return None
        since = trusted_since(view)
        return self._once(f"touched gauge {gauge} {since}", lambda w: traced(w, "gauge", gauge, since))

    def worth(self) -> WorthView:
        """Return what a reading of each figure costs and buys."""
        return self._weighed.of(self._current())

    def worth_asked(self, key: views.SeriesKey, see: str, within: str, limit: str) -> str:
        """Answer what was typed: how often to read to see a change, how many pieces a limit passes."""
        return self._weighed.asked(self._current(), key, see, within, limit)

    def remedies(self) -> StoreRemedies:
        """Return what answers about remedies."""
        return StoreRemedies(self._once, self.verdicts)

    def month(self) -> JsonObject:
        """Return the words and figures of the report of the month of the board's day, as it stands."""
        return self._once("month figures", lambda _: month_figures(self._month()))

    def month_page(self) -> str:
        """Return the first pages of that report as html, to be looked at before it is written."""
        return self._once("month page", lambda _: month_page(self._month()))

    def rework(self, first: date | None = None, last: date | None = None) -> losses.ReworkReport:
        """Return rework by cause and the yields of the stages in a stretch of days."""
        return self._once(f"rework {first} {last}", lambda w: losses.rework_view(w, first, last))

    def upstream(self) -> losses.UpstreamReport:
        """Return which earlier figures go with the final results."""
        return self._once("upstream", lambda w: losses.upstream_view(w, self.verdicts()))

    def reports(self) -> tuple[views.ReportView, ...]:
        """Return the monthly reports on disk, newest first."""
        closed = self._once("closed months", lambda w: {one.month for one in w.store.closed_months()})
        return report_views(self._folder, closed)

    def bench(self) -> BenchData:
        """Return what answers the questions of a tablet while a card is typed."""
        return self._bench

    def cards(self) -> tuple[tuple[str, str], ...]:
        """Return the plan's cards, id and title."""
        return tuple((card.id, card.title) for card in self._current().plan.cards)

    def blank_card(self, card: str, ending: str) -> bytes | None:
        """Return a blank card as a file, pdf or xlsx; None where there is none."""
        workshop = self._current()
        return blank_file(workshop.plan, card, ending, workshop.today)

    def mapping_faults(self, mapping: str) -> tuple[str, ...]:
        """Return all that is wrong with what headings are said to mean, a sentence each."""
        try:
            read_mapping(mapping, "The answer", self._current().plan)
        except MappingError as error:
            names = (fault.field.removeprefix("columns.") for fault in error.faults)
            told = zip(names, error.faults, strict=True)
            return tuple(f"{name} {fault.problem}. {fault.mend}" for name, fault in told)
        return ()

    def _month(self) -> MonthContent:
        return self._once("month", lambda w: month_so_far(w, self.verdicts()))

    def _once(self, name: str, work: Callable[[Workshop], T]) -> T:
        # Worked out under the lock: a burst of requests after an upload then waits for one answer, not ten.
        workshop = self._current()
        with self._lock:
            pulse = workshop.store.pulse()
            if pulse != self._pulse:
                self._known.clear()
                self._pulse = pulse
            if name not in self._known:
                self._known[name] = work(workshop)
            return cast(T, self._known[name])

    def _current(self) -> Workshop:
        with self._lock:
            zone = self._workshop.plan.workshop.time_zone
            day = clock.today(zone, self._as_of or self._workshop.plan.workshop.today)
            stamp = _stamp(self._folder)
            if stamp != self._stamp or day != self._workshop.today:
                self._reopen()
                self._stamp = stamp
            return self._workshop

    def _reopen(self) -> None:
        try:
            fresh = open_workshop(self._folder, as_of=self._as_of)
        except QcError:
            return
        self._workshop.store.close()
        self._workshop = fresh
        self._known.clear()


class _PastBoardData(StoreBoardData):
    """Answers as it was known on a day: nothing of it changes, and the plan file is not looked at."""

    def __init__(self, present: Workshop, workshop: Workshop) -> None:
        self._present, self._folder, self._as_of = present, present.folder, workshop.today
        self._lock = threading.RLock()
        self._workshop = workshop
        self._pulse: tuple[int, int] | None = None
        self._known: dict[object, object] = {}
        self._past: dict[date, tuple[int, StoreBoardData]] = {}
        self._weighed = WeighedOnce()
        self._bench, self._showing = BenchData(self._current), ShownData(self._current)

    def _current(self) -> Workshop:
        return self._workshop

    def instrument(self, serial: str) -> views.InstrumentView | None:
        """Return everything about one serial, and what of the days until then came only later."""
        view = super().instrument(serial)
        if view is None or view.record is None:
            return view
        return replace(view, record=with_what_came_later(self._present, self._workshop, view.record))


def _stamp(folder: Path) -> int:
    file = folder / PLAN
    return file.stat().st_mtime_ns if file.exists() else 0
