"""How the pieces of a series scatter: learned from it and its sisters as a period begins, then fixed.

A period's estimates rest on pieces made before it, cut at what had been raised before it, so the series of a
pool are judged up to its first day before it is learned. What was learned is kept by series and period:
judging again, and a card that comes late for an old period, go by it. Where a whole history comes in at once,
its periods are worked through in order, so that what is found is what day by day would have found.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from typing import Any

from qc.jobs.spread import Hands, in_turn
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.plan import Characteristic
from qc.stats import Noise, Settled, learn_noise
from qc.watch import (
    Decisions,
    KeptStates,
    LevelCourse,
    LotsBy,
    Pool,
    SeriesKey,
    course_of,
    kept_states_from,
    lots_of,
    lots_told_by,
    members_of,
    period_of,
    pool_of,
    verdict_from,
    with_later_marks,
)

FITTED = "tool-fitted"


@dataclass(slots=True)
class Estimates:
    """What is kept of one series.

    Attributes
    ----------
    first : date or None
        Day of the first piece of its pool, as it was when the first period was learned.
    lots : str
        The word that tells its lots, from the period on in which one first did.
    periods : dict of date to Noise
        By the first day of each period.
    """

    first: date | None = None
    lots: LotsBy = ""
    periods: dict[date, Noise] = field(default_factory=dict)

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        periods = {day.isoformat(): noise.to_dict() for day, noise in self.periods.items()}
        return {"first": self.first and self.first.isoformat(), "lots": self.lots, "periods": periods}

    @classmethod
    def from_dict(cls, record: Mapping[str, Any] | None) -> Estimates:
        """Undo `to_dict`; of None, where nothing was kept, nothing is known."""
        if not record:
            return cls()
        periods = {date.fromisoformat(day): Noise.from_dict(own) for day, own in record["periods"].items()}
        first = record["first"]
        return cls(date.fromisoformat(first) if first else None, record["lots"], periods)

    def period(self, day: date) -> date:
        """Return the first day of the period that a day lies in."""
        return period_of(day, self.first or day)


@dataclass(slots=True)
class Strand:
    """One series that is judged now: its course, the rate of each point, and how far it was judged."""

    course: LevelCourse
    rates: Sequence[float]
    kept: KeptStates

    @property
    def days(self) -> list[date]:
        """Measured day of each point."""
        return [point.day for point in self.course.points]


def learn_what_lacks(
    workshop: Workshop,
    strands: Mapping[str, Strand],
    decided: Mapping[str, Decisions],
    *,
    keep: bool = True,
    forget: bool = False,
    hands: Hands | None = None,
) -> dict[str, Estimates]:
    """Give each strand the noise and lot of its points; learn and keep what no period before now had.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    strands : mapping of str to Strand
        The series judged now. Each is given noise and lots, and is judged up to the newest period that was
        learned.
    decided : mapping of str to Decisions
        What a lead decided, by series.
    keep : bool
        False where the store cannot be written: the same is learned the next time.
    forget : bool
        Learn all periods anew.
    hands : Hands, optional
        Who works through the pools elsewhere, each to its end; else this process learns, and judges later.

    Returns
    -------
    dict of str to Estimates
        Of each strand whose pieces take part.
    """
    grouped: dict[Pool | None, list[str]] = {}
    for key, strand in strands.items():
        if strand.course.points:
            grouped.setdefault(pool_of(workshop.plan, strand.course.characteristic), []).append(key)
    fitted = _fitted(workshop) if any(grouped) else {}
    works = [
        _work(workshop, pool, strands, decided, fitted, forget=forget) for pool in grouped if pool is not None
    ]
    if hands is not None:
        works = [replace(work, others=_Loaded(work.others()), follow=True) for work in works]
        works += [_alone(key, strands[key]) for key in grouped.get(None, [])]
    known: dict[str, Estimates] = {}
    changed: dict[str, JsonObject] = {}
    for done in (hands or in_turn)(work_through, works):
        for key, strand in done.strands.items():
            strands[key].course, strands[key].kept = strand.course, strand.kept
        changed |= {_name(key): done.known[key].to_dict() for key in done.changed}
        known |= {key: done.known[key] for key in done.strands if key in done.known}
    if keep and changed:
        workshop.store.set_states(changed)
    return known


Others = Callable[[], Mapping[str, tuple[LevelCourse, KeptStates]]]


@dataclass(frozen=True, slots=True)
class PoolWork:
    """The sisters of one pool: those judged now as strands, the others as they were judged last.

    Attributes
    ----------
    members : mapping of str to Characteristic
        All sisters; none for a series that learns with nobody.
    strands : dict of str to Strand
        Those judged now.
    known : dict of str to Estimates
        What was learned of each member before.
    decided : mapping of str to Decisions
        What a lead decided about the members.
    fitted : mapping of str to sequence of date
        When each tool was fitted.
    others : callable
        Reads the members that are not judged now; asked only where something is to be learned.
    follow : bool
        Judge each strand to its end, so that whoever takes it over has nothing left to judge.
    """

    members: Mapping[str, Characteristic]
    strands: dict[str, Strand]
    known: dict[str, Estimates]
    decided: Mapping[str, Decisions]
    fitted: Mapping[str, Sequence[date]]
    others: Others
    follow: bool = False


@dataclass(frozen=True, slots=True)
class PoolDone:
    """What working through a pool left: its strands with noise and states, and whose estimates changed."""

    strands: Mapping[str, Strand]
    known: Mapping[str, Estimates]
    changed: Sequence[str]


def work_through(work: PoolWork) -> PoolDone:
    """Learn what a pool lacks and give it to its strands: a pure function, done here or elsewhere."""
    own = _Pool(work)
    changed = own.learn() if work.members else []
    for key, strand in own.strands.items():
        if work.members:
            own.lay_out(key)
        if work.follow:
            strand.kept = strand.course.followed(strand.rates, strand.kept)
    return PoolDone(own.strands, own.known, changed)


@dataclass(frozen=True, slots=True)
class _Loaded:
    """Sisters that were read already, for a worker that has no store."""

    found: Mapping[str, tuple[LevelCourse, KeptStates]]

    def __call__(self) -> Mapping[str, tuple[LevelCourse, KeptStates]]:
        return self.found


def _work(
    workshop: Workshop,
    pool: Pool,
    strands: Mapping[str, Strand],
    decided: Mapping[str, Decisions],
    fitted: Mapping[str, Sequence[date]],
    *,
    forget: bool,
) -> PoolWork:
    """Gather what a pool is learned from."""
    members = {str(SeriesKey(s.id, c.id, f)): c for s, c, f in members_of(workshop.plan, pool)}
    own = {key: strands[key] for key in members if key in strands}
    kept = {} if forget else workshop.store.states(map(_name, members))
    known = {key: Estimates.from_dict(kept.get(_name(key))) for key in members}
    told = {key: decided[key] for key in members if key in decided}
    others = partial(_judged_before, workshop, members, [key for key in members if key not in own], told)
    return PoolWork(members, own, known, told, fitted, others)


def _alone(key: str, strand: Strand) -> PoolWork:
    """Return a series that learns with nobody, to be followed to its end."""
    return PoolWork({}, {key: strand}, {}, {}, {}, _Loaded({}), follow=True)


class _Pool:
    """The learning of one pool."""

    def __init__(self, work: PoolWork) -> None:
        self.decided, self.fitted, self.members = work.decided, work.fitted, work.members
        self.strands, self.known = work.strands, work.known
        self._read = work.others
        self._others: Mapping[str, tuple[LevelCourse, KeptStates]] | None = None

    def learn(self) -> list[str]:
        """Learn the periods of the strands' pieces that were not learned yet; return whose series changed."""
        first = self._first()
        lacking = {
            period_of(day, first)
            for key, strand in self.strands.items()
            for day in strand.days
            if period_of(day, first) not in self.known[key].periods
        }
        if not lacking:
            return []
        for own in self.known.values():
            own.first = first
        changed: dict[str, None] = {}
        for start in sorted(lacking):
            pool = {key: self._settled_before(key, start) for key in self.members}
            for key, noise in learn_noise(pool).items():
                if start not in self.known[key].periods:
                    self.known[key].periods[start] = noise
                    changed[key] = None
        return list(changed)

    def lay_out(self, key: str) -> None:
        """Give a strand the noise and lot of each of its points, as far as they are known."""
        strand, own = self.strands[key], self.known[key]
        noise = [own.periods[own.period(day)] for day in strand.days]
        strand.course = replace(strand.course, noise=noise, lots=self._lots(key, strand.course))

    def _first(self) -> date:
        """Return the day of the pool's first piece, as it was when its first period was learned."""
        fixed = [own.first for own in self.known.values() if own.first is not None]
        if fixed:
            return min(fixed)
        begun = [strand.days[0] for strand in self.strands.values() if strand.course.points]
        others = [course.points[0].day for course, _ in self._judged_before().values() if course.points]
        return min(begun + others)

    def _settled_before(self, key: str, start: date) -> list[Settled]:
        """Return the settled stretches of a sister made before a period, as they were seen then."""
        if key in self.strands:
            course, kept = self._judged_until(key, start)
        elif key in self._judged_before():
            course, kept = self._judged_before()[key]
        else:
            return []
        course = course.until(_made_before(course, start))
        own = self.known[key]
        own.lots = own.lots or lots_told_by(course.points, self.fitted)
        lots = self._lots(key, course)
        return [
            Settled(
                [course.points[n].value for n in stretch],
                [course.points[n].serial for n in stretch],
                [lots[n] for n in stretch] if lots else None,
                course.step,
            )
            for stretch in course.settled(kept)
            if stretch
        ]

    def _judged_until(self, key: str, start: date) -> tuple[LevelCourse, KeptStates]:
        """Judge a strand up to a period, from where it stands, by what was known until then."""
        strand, own = self.strands[key], self.known[key]
        made = _made_before(strand.course, start)
        course = strand.course.until(made)
        noise = [own.periods[own.period(p.day)] for p in course.points]
        course = replace(course, noise=noise, lots=self._lots(key, course))
        kept = course.followed(strand.rates[:made], strand.kept)
        strand.kept = with_later_marks(kept, strand.kept)
        return course, kept

    def _lots(self, key: str, course: LevelCourse) -> Sequence[str | None]:
        by = self.known[key].lots
        return lots_of(course.points, by, self.fitted) if by else ()

    def _judged_before(self) -> Mapping[str, tuple[LevelCourse, KeptStates]]:
        """Return the sisters that are not judged now, as they were judged last."""
        if self._others is None:
            self._others = self._read()
        return self._others


def _judged_before(
    workshop: Workshop,
    members: Mapping[str, Characteristic],
    names: Sequence[str],
    decided: Mapping[str, Decisions],
) -> dict[str, tuple[LevelCourse, KeptStates]]:
    """Read series as they were judged last."""
    store, wanted = workshop.store, workshop.plan.workshop.wanted_ppk
    states = store.states(f"course {key}" for key in names)
    found: dict[str, tuple[LevelCourse, KeptStates]] = {}
    for record in store.verdicts(workshop.today, series=names):
        key = record.series
        own = decided.get(key, Decisions())
        verdict = verdict_from(record.plain, wanted)
        step = verdict.scatter.step if verdict.scatter else None
        course = course_of(members[key], verdict.points, own.baseline, step=step, mends=own.mends)
        found[key] = course, kept_states_from(states.get(f"course {key}"))
    return found


def _made_before(course: LevelCourse, start: date) -> int:
    """Count the pieces made before a day: they lie in order of making."""
    return bisect_left(course.points, start, key=lambda point: point.day)


def _fitted(workshop: Workshop) -> dict[str, list[date]]:
    """Return the days on which each tool was fitted, in order."""
    events = workshop.store.events(FITTED, until=workshop.today)
    found: dict[str, list[date]] = {}
    for tool, day in events.select("subject", "day").drop_nulls().unique().sort("day").iter_rows():
        found.setdefault(tool, []).append(day)
    return found


def _name(key: str) -> str:
    return f"noise {key}"
