"""How the pieces of a series scatter: learned from it and its sisters as a period begins, then fixed.

A period's estimates rest on pieces made before it, cut at what had been raised before it, so the series of a
pool are judged up to its first day before it is learned. What was learned is kept by series and period:
judging again, and a card that comes late for an old period, go by it. Where a whole history comes in at once,
its periods are worked through in order, so that what is found is what day by day would have found.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
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

    Returns
    -------
    dict of str to Estimates
        Of each strand whose pieces take part.
    """
    plan = workshop.plan
    pools = {pool_of(plan, s.course.characteristic): None for s in strands.values() if s.course.points}
    fitted = _fitted(workshop) if any(pools) else {}
    known: dict[str, Estimates] = {}
    changed: dict[str, JsonObject] = {}
    for pool in pools:
        if pool is None:
            continue
        own = _Pool(workshop, pool, strands, decided, fitted, forget=forget)
        for key in own.learn():
            changed[_name(key)] = own.known[key].to_dict()
        for key in own.strands:
            own.lay_out(key)
        known |= {key: own.known[key] for key in own.strands}
    if keep and changed:
        workshop.store.set_states(changed)
    return known


class _Pool:
    """The sisters of one pool: those judged now as strands, the others as they were judged last."""

    def __init__(
        self,
        workshop: Workshop,
        pool: Pool,
        strands: Mapping[str, Strand],
        decided: Mapping[str, Decisions],
        fitted: Mapping[str, Sequence[date]],
        *,
        forget: bool,
    ) -> None:
        self.workshop, self.decided, self.fitted = workshop, decided, fitted
        self.members = {str(SeriesKey(s.id, c.id, f)): c for s, c, f in members_of(workshop.plan, pool)}
        self.strands = {key: strands[key] for key in self.members if key in strands}
        kept = {} if forget else workshop.store.states(map(_name, self.members))
        self.known = {key: Estimates.from_dict(kept.get(_name(key))) for key in self.members}
        self._others: dict[str, tuple[LevelCourse, KeptStates]] | None = None

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

    def _judged_before(self) -> dict[str, tuple[LevelCourse, KeptStates]]:
        """Return the sisters that are not judged now, as they were judged last."""
        if self._others is None:
            store, wanted = self.workshop.store, self.workshop.plan.workshop.wanted_ppk
            names = [key for key in self.members if key not in self.strands]
            states = store.states(f"course {key}" for key in names)
            self._others = {}
            for record in store.verdicts(self.workshop.today, series=names):
                key = record.series
                decided = self.decided.get(key, Decisions())
                verdict = verdict_from(record.plain, wanted)
                step = verdict.scatter.step if verdict.scatter else None
                course = course_of(
                    self.members[key], verdict.points, decided.baseline, step=step, mends=decided.mends
                )
                self._others[key] = course, kept_states_from(states.get(f"course {key}"))
        return self._others


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
