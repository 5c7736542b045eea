"""Whose pieces come out higher or lower than those made beside them, though nothing changed.

A change in time is told as a signal; two people who differ all along make none. This is an association, said
quietly: who works differently and who reads differently look alike on the cards.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from qc.intervals import interval_words
from qc.plain import JsonObject
from qc.stats import LEAST_APART, Apart, apart_from_others, corrected_p_values
from qc.watch.causes.weighing import split
from qc.watch.results import Point, SeriesVerdict
from qc.words import listed

APART_CHANCE = 0.01
"""So often one look at all people and series names somebody who differs from nobody (house rule): the same
pieces are looked at day after day, which gives chance more than one try."""

TOGETHER = 0.95
"""So sure are the intervals of all people and series looked at, taken together."""

LOOKED_BACK = timedelta(days=365)
"""How far before the newest piece of a series (house rule): who worked differently long ago may not now."""

LATELY = 36
"""So many newest pieces are looked at by themselves too (chosen: a dozen of each of three people), else a
year in which somebody worked like the others hides that it is so no more."""

DEARER = 10.0
"""So many times rarer by chance has to be what only the newest pieces say (chosen): every few weeks they are
other pieces, so that chance has that many tries in a year."""


@dataclass(frozen=True, slots=True)
class PersonApart:
    """A person whose pieces differ from those that others made beside them.

    Attributes
    ----------
    series, title : str
        Key and name of the series.
    person, others : str
        Code of the person; codes of the others, in words.
    found : Apart
        The difference; its interval holds for all people and series looked at together.
    p_value : float
        Corrected for all that was looked at.
    unit : str
        Of the difference.
    since : str
        The first piece compared.
    gauge : str
        What only this person reads with, empty where gauges are shared.
    """

    series: str
    title: str
    person: str
    others: str
    found: Apart
    p_value: float
    unit: str
    since: str
    gauge: str = ""

    @property
    def sentence(self) -> str:
        """Say it with the series it is about."""
        return f"{self.title}: {self.told}"

    @property
    def told(self) -> str:
        """Say who, by how much with its interval, of how many pieces, and what would tell why."""
        low, high = self.found.interval
        size = abs(self.found.difference)
        way = "higher" if self.found.difference > 0 else "lower"
        ends = (low, high) if self.found.difference > 0 else (-high, -low)
        said = interval_words(size, *ends, self.unit, sure="")
        own, rest = self.found.own, self.found.n - self.found.own
        gauge = f" {self.person} alone reads with {self.gauge}." if self.gauge else ""
        return (
            f"pieces with {self.person} on the card come out {said} {way} than those with "
            f"{self.others} made beside them ({own} and {rest} pieces since {self.since}).{gauge} "
            "It may be the work or the reading: let both read the same pieces."
        )

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "series": self.series,
            "person": self.person,
            "difference": self.found.difference,
            "interval": list(self.found.interval),
            "unit": self.unit,
            "since_serial": self.since,
            "pieces": [self.found.own, self.found.n - self.found.own],
            "p_value": self.p_value,
            "gauge": self.gauge or None,
            "sentence": self.sentence,
        }


@dataclass(frozen=True, slots=True)
class _Asked:
    """One person of one series, with the pieces that are compared."""

    verdict: SeriesVerdict
    person: str
    points: Sequence[Point]
    weight: float

    def compared(self, confidence: float = 0.95) -> Apart | None:
        return apart_from_others(
            [p.value for p in self.points],
            [p.person == self.person for p in self.points],
            [p.model for p in self.points],
            confidence=confidence,
        )

    def told(self, chance: float, of: int) -> PersonApart | None:
        """Tell it where the interval, as wide as all looked at together ask for, leaves the side plain."""
        wide = self.compared(1.0 - (1.0 - TOGETHER) / of)
        if wide is None or wide.interval[0] <= 0.0 <= wide.interval[1]:
            return None
        verdict = self.verdict
        rest = sorted({p.person for p in self.points} - {self.person})
        gauges = {g for p in self.points if p.person == self.person for g in split(p.gauge)}
        shared = {g for p in self.points if p.person != self.person for g in split(p.gauge)}
        alone = listed(sorted(gauges)) if gauges and not gauges & shared else ""
        return PersonApart(
            str(verdict.key),
            verdict.title,
            self.person,
            listed(rest),
            wide,
            chance,
            verdict.unit,
            self.points[0].serial,
            alone,
        )


def people_apart(verdicts: Iterable[SeriesVerdict], today: date | None = None) -> tuple[PersonApart, ...]:
    """Return who differs from the others, one person a series, the clearest first.

    Parameters
    ----------
    verdicts : iterable of SeriesVerdict
        Their points say who, in order of making; what a lead left out takes no part, nor single odd pieces,
        nor what is counted or judged by pass and fail.
    today : date, optional
        Points after this day take no part.

    Returns
    -------
    tuple of PersonApart
        Told where Holm's corrected chance over all people and series looked at is at most `APART_CHANCE`.
    """
    compared = [(one, one.compared()) for verdict in verdicts for one in _asked(verdict, today)]
    asked = [(one, min(one.weight * found.p_value, 1.0)) for one, found in compared if found is not None]
    chances = corrected_p_values([p_value for _, p_value in asked])
    best: dict[str, tuple[float, _Asked]] = {}
    for (one, _), chance in zip(asked, chances, strict=True):
        key = str(one.verdict.key)
        if chance <= APART_CHANCE and (key not in best or chance < best[key][0]):
            best[key] = (chance, one)
    clear = sorted(best.values(), key=lambda row: row[0])
    told = (one.told(chance, len(asked)) for chance, one in clear)
    return tuple(one for one in told if one is not None)


def _asked(verdict: SeriesVerdict, today: date | None) -> list[_Asked]:
    """Return the people of a series who have pieces enough; of two that differ only the one with fewer."""
    if verdict.kind != "measured":
        return []
    odd = {s.start for s in verdict.signals if s.kind == "single"}
    points = [
        p
        for p in verdict.points
        if not p.left_out
        and p.ordinal not in odd
        and (today is None or p.day <= today)
        and len(split(p.person)) == 1
    ]
    year = [p for p in points if p.day > points[-1].day - LOOKED_BACK]
    lately = _people(verdict, year[-LATELY:], DEARER) if len(year) > LATELY else []
    return [*_people(verdict, year, 1.0), *lately]


def _people(verdict: SeriesVerdict, points: Sequence[Point], weight: float) -> list[_Asked]:
    counts: dict[str, int] = {}
    for point in points:
        counts[point.person] = counts.get(point.person, 0) + 1
    people = sorted(counts, key=lambda person: (counts[person], person))
    if len(people) == 2:
        people = people[:1]
    enough = [p for p in people if min(counts[p], len(points) - counts[p]) >= LEAST_APART]
    return [_Asked(verdict, person, points, weight) for person in enough]
