"""What a reading of each series costs and buys, and what if it were read otherwise."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from qc.errors import UsageError
from qc.jobs.judging import SignalOfDay, brought_up, present_budget, signals_of_day, verdicts_of_day
from qc.jobs.pieces import figures_outside
from qc.jobs.then import said_of_then
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.plan import Characteristic, Plan, Stage
from qc.report.terminal import worth_text
from qc.stats import Tabled
from qc.watch import DAYS_PER_MONTH, Point, SeriesKey, SeriesVerdict, cells_of, part_uses, sources_of
from qc.watch.worth import (
    COURSES,
    LENGTH,
    SEED,
    BenchCost,
    FigureWorth,
    FoundByIt,
    InsideAtLimit,
    SeenWithin,
    courses_for,
    figures_by_piece,
    gauge_part,
    inside_at,
    one_at_a_time,
    said_by_others,
    seen_within,
    settled_pieces,
    settled_state,
    spread_by_checks,
    weigh,
)
from qc.words import closest

READING_SECONDS = 20.0
"""Bench time of a reading where the plan gives none [s]: taken, read and written down (common practice, no
source)."""

PACE_DAYS = 92
"""The pace is that of the last quarter, as for the budget."""

YEAR_DAYS = 365

LARGEST_SEEN = 8.0  # sd; the courses ask about no larger change


@dataclass(frozen=True, slots=True)
class WhatIf(Tabled):
    """What was answered about one series; `sentence` says it, or why there is no answer."""

    stage: str
    characteristic: str
    family: str
    title: str
    see: SeenWithin | None
    limit: InsideAtLimit | None
    sentence: str


@dataclass(frozen=True, slots=True)
class ReadingWorth(Tabled):
    """What is worth measuring: each series with its cost, what it buys, and the advice.

    `hours_a_month` is the bench time of all series, readings that serve several figures counted once [h];
    `seed`, `courses` and `false_alarm_rate` are those of the simulation; `asked` holds the answers where a
    change or a limit was asked about, and then `series` is left empty. `known` is the day as it was known on
    which it is answered, where that was asked; `then` says so.
    """

    ROWS = "series"

    workshop: str
    as_of: date
    seed: int
    courses: int
    false_alarm_rate: float
    hours_a_month: float
    series: tuple[FigureWorth, ...]
    asked: tuple[WhatIf, ...] = ()
    notes: tuple[str, ...] = ()
    known: date | None = None
    then: str = ""

    def to_dict(self) -> JsonObject:
        """Return the plain form of ``qc worth --json``."""
        plain = {**Tabled.to_dict(self), "as_of": self.as_of.isoformat()}
        known = {"known": self.known.isoformat()} if self.known else {}
        return {**{name: value for name, value in plain.items() if name not in {"known", "then"}}, **known}

    def to_text(self) -> str:
        """Say the advice a series, the costly ones first, or the answers to what was asked."""
        answers = [(one.title, one.sentence) for one in self.asked]
        told = worth_text(self.workshop, self.as_of, self.series, answers, self.notes, self.hours_a_month)
        return f"{self.then}\n{told}" if self.then else told


def worth_of_readings(
    workshop: Workshop,
    *,
    stage: str = "",
    characteristic: str = "",
    family: str = "",
    see: float | None = None,
    within: int | None = None,
    limit: float | None = None,
    judge: bool = True,
) -> ReadingWorth:
    """Say what a reading of each series costs and buys.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, or one as it was known on a day.
    stage, characteristic, family : str
        Only these series; all when left out.
    see : float, optional
        A change to be seen [standard deviations of the settled figures], with `within`, of a named figure.
    within : int, optional
        Pieces within which one course in two is to tell it, 1 to 60.
    limit : float, optional
        A limit to be tried on the last hundred pieces of a named figure. [unit of the figure]
    judge : bool
        Judge what waits first; False for who only reads.

    Raises
    ------
    UsageError
        A name that the plan does not know, or a question that lacks its other half.
    """
    _check(workshop.plan, stage, characteristic, family)
    _check_question(characteristic, see, within, limit)
    waits = brought_up(workshop) if judge else None
    desk = _Desk(workshop)
    wanted = [
        v
        for v in desk.verdicts
        if stage in {"", v.key.stage}
        and characteristic in {"", v.key.characteristic}
        and family in {"", v.key.family}
    ]
    notes: tuple[str, ...] = (f"Simulated with seed {SEED}, {COURSES} courses a measured series.",)
    if see is None and limit is None:
        found = one_at_a_time(
            sorted((desk.weighed(v) for v in wanted), key=lambda one: -one.cost.hours_a_month)
        )
        asked: tuple[WhatIf, ...] = ()
    else:
        found = []
        asked = tuple(desk.answered(v, see, within, limit) for v in wanted)
        notes = notes if see is not None else ()
    if waits is not None:
        notes = (waits.sentence(workshop.plan.workshop.time_zone), *notes)
    shop = workshop.plan.workshop.name
    hours = desk.hours(found)
    return ReadingWorth(
        *(shop, workshop.today, SEED, COURSES, desk.rate, hours, tuple(found), asked, notes),
        known=workshop.then.day if workshop.then else None,
        then=said_of_then(workshop),
    )


def _check(plan: Plan, stage: str, characteristic: str, family: str) -> None:
    """Refuse names that no charted series bears."""
    charted = [(s.id, c.id, f) for s, c, f in plan.charted()]
    asked = (("stage", stage), ("characteristic", characteristic), ("family", family))
    fits = charted
    for place, (what, name) in enumerate(asked):
        known = list(dict.fromkeys(row[place] for row in fits))
        if name and name not in known:
            near = closest(name, known)
            meant = f" Did you mean {near}?" if near else ""
            raise UsageError(f"The plan charts no {what} {name!r} there; it has {', '.join(known)}.{meant}")
        fits = [row for row in fits if name in {"", row[place]}]


def _check_question(characteristic: str, see: float | None, within: int | None, limit: float | None) -> None:
    if (see is None) != (within is None):
        raise UsageError(
            "--see and --within go together: --see 1.0 --within 5 asks for 1 sd within five pieces."
        )
    if (see is not None or limit is not None) and not characteristic:
        raise UsageError("Say which figure is meant: --stage STAGE --characteristic NAME.")
    if see is not None and not 0 < see <= LARGEST_SEEN:
        raise UsageError(f"--see {see:g}: a change above 0 and up to {LARGEST_SEEN:g} sd can be asked about.")
    if within is not None and not 1 <= within <= LENGTH:
        raise UsageError(f"--within {within}: between 1 and {LENGTH} pieces can be asked about.")
    if limit is not None and not abs(limit) < float("inf"):
        raise UsageError("--limit: a number is needed.")


class _Desk:
    """What all series are weighed from, read once."""

    def __init__(self, workshop: Workshop) -> None:
        self.workshop, self.plan, self.today = workshop, workshop.plan, workshop.today
        self.by_checks = _spreads_by_checks(workshop)
        self.verdicts = verdicts_of_day(workshop)
        self.rate = present_budget(workshop).rate
        self.charted = {(s.id, c.id): (s, c) for s, c, _ in self.plan.charted()}
        parts = workshop.store.events("part", until=self.today)
        self.known = figures_by_piece(self.verdicts, part_uses(parts))
        self._signals: Mapping[str, Sequence[SignalOfDay]] | None = None
        self._outside: Mapping[tuple[str, str], Sequence[tuple[str, date]]] | None = None
        self._frames: dict[tuple[str, tuple[str, ...]], pl.DataFrame] = {}

    def hours(self, weighed: Sequence[FigureWorth]) -> float:
        """Return the bench hours a month of some series; readings that serve several count once."""
        hours: dict[tuple[str, str], float] = {}
        for one in weighed:
            stage, characteristic = self.charted[one.key.stage, one.key.characteristic]
            rows = self._of_family(one.key, characteristic)
            counts = rows.group_by("characteristic", "model").agg(pl.col("day").min().alias("first"))
            for name, model, first in counts.iter_rows():
                days = self._pace_days(first)
                own = rows.filter(
                    pl.col("characteristic") == name,
                    pl.col("model").eq_missing(pl.lit(model)),
                    pl.col("day") > self.today - timedelta(days=days),
                )
                spent = own.height * self._seconds(stage, name) * DAYS_PER_MONTH / days / 3600
                hours[f"{stage.id}/{name}", model or ""] = spent
        return sum(hours.values())

    def weighed(self, verdict: SeriesVerdict) -> FigureWorth:
        """Weigh one series."""
        settled = settled_pieces(verdict)
        alike = self._alike(verdict)
        names = {figure: c.name for figure, (_, c) in self.charted.items()}
        others = said_by_others(verdict.key, settled, self.known, alike, names) if settled else None
        return weigh(
            verdict,
            settled,
            self.rate,
            cost=self._cost(verdict, tuple(names[one] for one in alike)),
            found=self._found(verdict),
            cells=self._cells(verdict, settled),
            by_checks=self._leans_on_checks(settled),
            others=others,
        )

    def answered(
        self, verdict: SeriesVerdict, see: float | None, within: int | None, limit: float | None
    ) -> WhatIf:
        """Answer what was asked about one series."""
        seen = inside = None
        said = []
        if see is not None and within is not None:
            settled = settled_pieces(verdict)
            courses = courses_for(verdict, settled, self.rate)
            if courses is None:
                said.append(
                    "No change can be simulated on it: " + self.weighed(verdict).not_simulated.lower()
                )
            else:
                state = settled_state(verdict, settled)
                checks = self._leans_on_checks(settled)
                part = gauge_part(verdict, state, self._cells(verdict, settled), by_checks=checks)
                seen = seen_within(state, courses, part, verdict.unit, see, within)
                said.append(seen.sentence)
        if limit is not None:
            stage, characteristic = self.charted[verdict.key.stage, verdict.key.characteristic]
            readings = self._readings(stage, characteristic)
            inside = inside_at(readings, self.plan, stage, characteristic, verdict, limit, self.today)
            said.append(inside.sentence if inside is not None else "Nothing has been measured yet.")
        key = verdict.key
        return WhatIf(key.stage, key.characteristic, key.family, verdict.title, seen, inside, " ".join(said))

    def _alike(self, verdict: SeriesVerdict) -> list[tuple[str, str]]:
        """Return the other charted figures that are made of some of the same readings."""
        stage, own = self.charted[verdict.key.stage, verdict.key.characteristic]
        mine = set(sources_of(own))
        return [
            (s.id, c.id)
            for s, c in self.charted.values()
            if s.id == stage.id and c.id != own.id and mine & set(sources_of(c))
        ]

    def _cost(self, verdict: SeriesVerdict, shared: tuple[str, ...]) -> BenchCost:
        """Reckon what a figure costs a month, from its readings of late and the seconds of each."""
        stage, characteristic = self.charted[verdict.key.stage, verdict.key.characteristic]
        first = verdict.points[0].day if verdict.points else self.today
        days = self._pace_days(first)
        months = days / DAYS_PER_MONTH
        since = self.today - timedelta(days=days)
        recent = [p for p in verdict.points if since < p.day <= self.today]
        rows = self._of_family(verdict.key, characteristic).filter(pl.col("day") > since)
        given = {c.id for c in stage.characteristics if c.reading_seconds is not None}
        named = bool(given & set(sources_of(characteristic)))
        counts = rows.group_by("characteristic").len().iter_rows()
        seconds = sum(count * self._seconds(stage, name) for name, count in counts)
        own = [self._seconds(stage, name) for name in sources_of(characteristic)]
        each = seconds / rows.height if rows.height else sum(own) / len(own)
        return BenchCost(
            len(recent) / months, rows.height / months, each, named, seconds / months / 3600, shared
        )

    def _pace_days(self, first: date) -> int:
        """Return the days that the pace is taken from: a quarter, of what began later fewer."""
        return min(PACE_DAYS, max((self.today - first).days + 1, 1))

    def _seconds(self, stage: Stage, name: str) -> float:
        """Return the bench seconds of one reading."""
        own = next((c.reading_seconds for c in stage.characteristics if c.id == name), None)
        return own or READING_SECONDS

    def _found(self, verdict: SeriesVerdict) -> FoundByIt:
        """Count what a figure found within a year: signals by how they were closed, and pieces outside."""
        since = self.today - timedelta(days=YEAR_DAYS)
        key = verdict.key
        own = [s for s in self._signals_by_series().get(str(key), ()) if s.found.raised_day > since]
        pieces = sum(since < p.day <= self.today for p in verdict.points)
        outside = [
            day
            for model, day in self._outside_by_figure().get((key.stage, key.characteristic), ())
            if day > since
            and self.plan.family_of(self.charted[key.stage, key.characteristic][1], model) == key.family
        ]
        states = [s.state for s in own]
        return FoundByIt(
            len(own),
            states.count("closed-false"),
            states.count("closed"),
            pieces * self.rate,
            len(outside),
            pieces,
        )

    def _cells(self, verdict: SeriesVerdict, settled: Sequence[Point]) -> pl.DataFrame:
        """Return what the settled pieces measure at each place."""
        stage, characteristic = self.charted[verdict.key.stage, verdict.key.characteristic]
        readings = self._readings(stage, characteristic)
        own = readings.filter(pl.col("serial").is_in([p.serial for p in settled]))
        gauges = [
            g.model_copy(update={"spread": self.by_checks[g.id]}) if g.id in self.by_checks else g
            for g in self.plan.gauges
        ]
        return cells_of(own, self.plan.model_copy(update={"gauges": tuple(gauges)}), stage, characteristic)

    def _leans_on_checks(self, settled: Sequence[Point]) -> bool:
        """Say whether the spread of any gauge that read these pieces is taken from its checks."""
        return any(name in self.by_checks for p in settled for name in p.gauge.split(" + "))

    def _of_family(self, key: SeriesKey, characteristic: Characteristic) -> pl.DataFrame:
        stage = self.charted[key.stage, key.characteristic][0]
        own = self.plan.models_of(characteristic)
        models = [m.id for m in own if self.plan.family_of(characteristic, m.id) == key.family]
        fits = pl.col("model").is_in(models)
        if key.family == "all":
            fits = fits | (pl.col("model").fill_null("") == "")
        return self._readings(stage, characteristic).filter(fits)

    def _readings(self, stage: Stage, characteristic: Characteristic) -> pl.DataFrame:
        sources = sources_of(characteristic)
        place = stage.id, tuple(sources)
        if place not in self._frames:
            self._frames[place] = self.workshop.store.figures(stage.id, sources, until=self.today)
        return self._frames[place]

    def _signals_by_series(self) -> Mapping[str, Sequence[SignalOfDay]]:
        if self._signals is None:
            found: dict[str, list[SignalOfDay]] = {}
            for signal in signals_of_day(self.workshop, self.verdicts):
                if signal.listed:
                    found.setdefault(signal.series, []).append(signal)
            self._signals = found
        return self._signals

    def _outside_by_figure(self) -> Mapping[tuple[str, str], Sequence[tuple[str, date]]]:
        """Return model and day of the pieces outside their limits, by figure."""
        if self._outside is None:
            found: dict[tuple[str, str], list[tuple[str, date]]] = {}
            for one in figures_outside(self.workshop, keep=False):
                if one.inside is False:
                    found.setdefault((one.stage, one.characteristic), []).append((one.model, one.day))
            self._outside = found
        return self._outside


def _spreads_by_checks(workshop: Workshop) -> dict[str, float]:
    """Return how far gauges scatter on their masters, of those whose spread the plan does not give."""
    since = workshop.today - timedelta(days=YEAR_DAYS)
    checks = workshop.store.events("gauge-check", since=since, until=workshop.today).sort("day", "id")
    checks = checks.filter(pl.col("value").is_not_null())
    found = {}
    for gauge in workshop.plan.gauges:
        if gauge.spread is None:
            own = checks.filter(pl.col("subject") == gauge.id)["value"].to_list()
            spread = spread_by_checks(own)
            if spread is not None:
                found[gauge.id] = spread
    return found
