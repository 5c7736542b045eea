"""Which batch, tool or gauge, used by turns with others, sits apart from the pieces made beside it.

A batch that is used in a row begins somewhere, and is found as a change with its first suspect. Used by turns
with a good one it makes no change in time: the level goes up and down from piece to piece, and a change told
before is soon over. Its pieces are compared with those made beside them, as people are; it is told and never
a signal, so it costs nothing of the budget of false ones.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from qc.intervals import interval_words
from qc.plain import JsonObject
from qc.stats import FEWEST_APART, LEAST_APART, Apart, apart_from_others, corrected_p_values, few_apart
from qc.watch.causes.between_people import APART_CHANCE, LOOKED_BACK, TOGETHER
from qc.watch.causes.weighing import split
from qc.watch.results import Point, SeriesVerdict
from qc.words import listed, quantity_words, some_of

KINDS = ("batch", "tool", "gauge")
"""What is asked about, in the order in which one of several that share their pieces is named."""

TURNS = 3
"""So many stretches of its pieces, with pieces of others between them, make a level one that is used by turns
(house rule): two may be a rest at a week's end."""

MARGIN = 8
"""Pieces before the first and after the last of a level that are compared with its own (chosen: twice as many
as the mean of neighbours takes on one side, so that its ends have some; simulated by
`tests/simulation/batch_rates.py`). With all of a year its pieces would be lost among those of others."""

ALIKE = 10.0
"""Levels whose chance is at most so many times the least are borne out as well (chosen): of two that
share the turns either may be the odd one, and the one with fewer pieces is named."""

FEW_DEARER = 3.0
"""So many times the chance of five to seven pieces is (chosen): their ranks are exact for pieces that hang
together with none, and in lots of five (two thirds of the variance between them) a chance of 1 in 100 came
2.4 times as often; 0.8 to 1.2 times for independent ones, a long tail and a drift (6,000 draws each of five
and six pieces, standard error 0.1 to 0.2, seed 20261132)."""

WORDS = {
    "batch": "pieces of batch {}",
    "tool": "pieces made with {}",
    "gauge": "pieces read with {}",
}
MEASURE = {
    "batch": "Measure two pieces of it again, and see what else they share.",
    "tool": "Measure two pieces of it again, and look at the tool.",
    "gauge": "Let both gauges read the same pieces.",
}
Parts = Mapping[str, Mapping[str, str]]
"""By the role of a part (a leadpipe), the batch of each piece's."""


@dataclass(frozen=True, slots=True)
class LevelApart:
    """A batch, a tool or a gauge whose pieces sit apart from those made beside them.

    Attributes
    ----------
    series, title : str
        Key and name of the series.
    kind, name, role : str
        batch, tool or gauge; which one; of a batch of parts, the part.
    others : str
        Those it is compared with, in words.
    found : Apart
        The difference; its interval holds for all that was looked at together.
    p_value : float
        Corrected for all that was looked at.
    unit : str
        Of the difference.
    serials : tuple of str
        Its pieces, in order of making.
    since : str
        The first piece compared.
    bad : bool
        Whether they lie further from what the plan wants than the others: towards a limit, off the target.
    over_since : str
        The first piece of others since its last, where it is used no more: others followed for longer than
        it ever paused, and for `MARGIN` pieces at least. Empty while it takes turns.
    not_used : int
        So many pieces of others there are since its last.
    """

    series: str
    title: str
    kind: str
    name: str
    role: str
    others: str
    found: Apart
    p_value: float
    unit: str
    serials: tuple[str, ...]
    since: str
    bad: bool
    over_since: str = ""
    not_used: int = 0

    @property
    def sentence(self) -> str:
        """Say it with the series it is about."""
        return f"{self.title}: {self.told}"

    @property
    def subject(self) -> str:
        """Name the pieces it is about."""
        return WORDS[self.kind].format(f"{self.name} ({self.role})" if self.role else self.name)

    @property
    def in_short(self) -> str:
        """Say why its pieces are held."""
        size = quantity_words(abs(self.found.difference), self.unit)
        way = "higher" if self.found.difference > 0 else "lower"
        return f"{self.subject} come out {size} {way} than those of {self.others} made beside them"

    @property
    def told(self) -> str:
        """Say which pieces, by how much with its interval, and what would tell why."""
        low, high = self.found.interval
        up = self.found.difference > 0
        ends = (low, high) if up else (-high, -low)
        said = interval_words(abs(self.found.difference), *ends, self.unit, sure="")
        own, rest = self.found.own, self.found.n - self.found.own
        over = f" It is over since {self.over_since}: {self.not_used} pieces since are of others."
        return (
            f"{self.subject} come out {said} {'higher' if up else 'lower'} than those of "
            f"{self.others} made beside them ({own} and {rest} pieces since {self.since}). "
            f"They are {some_of(self.serials)}.{over if self.over_since else ''} "
            f"It coincides, that is no proof. {MEASURE[self.kind]}"
        )

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "series": self.series,
            "kind": self.kind,
            "name": self.name,
            "role": self.role or None,
            "difference": self.found.difference,
            "interval": list(self.found.interval),
            "unit": self.unit,
            "since_serial": self.since,
            "over_since_serial": self.over_since or None,
            "pieces": [self.found.own, self.found.n - self.found.own],
            "serials": list(self.serials),
            "bad": self.bad,
            "p_value": self.p_value,
            "sentence": self.sentence,
        }


@dataclass(frozen=True, slots=True)
class _Asked:
    """One level of one series: the points compared, and what each of them bears."""

    verdict: SeriesVerdict
    kind: str
    role: str
    name: str
    points: Sequence[Point]
    borne: Sequence[str]
    over: tuple[str, int] = ("", 0)

    @property
    def own(self) -> list[bool]:
        return [one == self.name for one in self.borne]

    def compared(self, confidence: float = 0.95) -> Apart | None:
        values, models = [p.value for p in self.points], [p.model for p in self.points]
        found = apart_from_others(values, self.own, models, confidence=confidence)
        return found or few_apart(values, self.own, models, confidence=confidence)

    def chance(self, found: Apart) -> float:
        """Return the chance of a difference, dearer of so few pieces that neighbours count in full."""
        few = min(found.own, found.n - found.own) < LEAST_APART
        return min(FEW_DEARER * found.p_value, 1.0) if few else found.p_value

    def told(self, chance: float, of: int) -> LevelApart | None:
        """Tell it where the interval, as wide as all looked at together ask for, leaves the side plain."""
        wide = self.compared(1.0 - (1.0 - TOGETHER) / of)
        if wide is None or wide.interval[0] <= 0.0 <= wide.interval[1]:
            return None
        return LevelApart(
            str(self.verdict.key),
            self.verdict.title,
            self.kind,
            self.name,
            self.role,
            listed(sorted({*self.borne} - {self.name})),
            wide,
            chance,
            self.verdict.unit,
            tuple(p.serial for p, mine in zip(self.points, self.own, strict=True) if mine),
            self.points[0].serial,
            self._is_bad(wide.difference),
            *self.over,
        )

    def _is_bad(self, difference: float) -> bool:
        """Say whether its pieces lie further from what is wanted than the others do."""
        low, high, aim = self.verdict.lower, self.verdict.upper, self.verdict.target
        if (low is None) != (high is None):
            return difference > 0 if high is not None else difference < 0
        if aim is None and low is not None and high is not None:
            aim = (low + high) / 2
        if aim is None:
            return False
        sums = {True: [0.0, 0.0], False: [0.0, 0.0]}
        for point, mine in zip(self.points, self.own, strict=True):
            sums[mine] = [sums[mine][0] + point.value, sums[mine][1] + 1]
        own, rest = (sums[who][0] / sums[who][1] for who in (True, False))
        return abs(own - aim) > abs(rest - aim)


def levels_apart(
    verdicts: Iterable[SeriesVerdict],
    today: date | None = None,
    parts: Parts | None = None,
    route: Sequence[str] = (),
) -> tuple[LevelApart, ...]:
    """Return which batch, tool or gauge that is used by turns sits apart, one a series, the clearest first.

    Parameters
    ----------
    verdicts : iterable of SeriesVerdict
        Their points say with what each piece was made and read, in order; what a lead left out takes
        no part, nor single odd pieces, nor what is counted or judged by pass and fail.
    today : date, optional
        Points after this day take no part.
    parts : mapping of str to mapping of str to str, optional
        By the role of a part, the batch that each piece got.
    route : sequence of str
        Stages in order: a batch that stands on the card of an earlier one is asked about as well.

    Returns
    -------
    tuple of LevelApart
        Told where Holm's corrected chance over all levels and series looked at is at most `APART_CHANCE`.
        Which levels are looked at hangs on how they take turns and never on what was measured.
    """
    every = list(verdicts)
    earlier = _batches_of_stages(every)
    compared = []
    for verdict in every:
        before = route[: route.index(verdict.key.stage)] if verdict.key.stage in route else ()
        told_there = {stage: earlier[stage] for stage in before if stage in earlier}
        asked_here = _asked(verdict, today, {**told_there, **(parts or {})})
        compared += [(one, one.compared()) for one in asked_here]
    asked = [(one, one.chance(found)) for one, found in compared if found is not None]
    chances = corrected_p_values([p_value for _, p_value in asked])
    clear: dict[str, list[tuple[float, float, _Asked]]] = {}
    for (one, p_value), chance in zip(asked, chances, strict=True):
        if chance <= APART_CHANCE:
            clear.setdefault(str(one.verdict.key), []).append((p_value, chance, one))
    best = [_odd_one(rows) for rows in clear.values()]
    told = (one.told(chance, len(asked)) for _, chance, one in sorted(best, key=lambda row: row[0]))
    return tuple(one for one in told if one is not None)


def _batches_of_stages(verdicts: Sequence[SeriesVerdict]) -> dict[str, dict[str, str]]:
    """Return, by stage, the batch that the cards of each piece name there."""
    found: dict[str, dict[str, str]] = {}
    for verdict in verdicts:
        for point in verdict.points:
            if point.batch:
                found.setdefault(verdict.key.stage, {})[point.serial] = point.batch
    return found


def _odd_one(rows: Sequence[tuple[float, float, _Asked]]) -> tuple[float, float, _Asked]:
    """Return of a series the level with the fewest pieces among those borne out as well as the clearest."""
    least = min(p_value for p_value, _, _ in rows)
    alike = [row for row in rows if row[0] <= ALIKE * least]
    return min(alike, key=lambda row: (sum(row[2].own), KINDS.index(row[2].kind), row[2].name))


def _asked(verdict: SeriesVerdict, today: date | None, parts: Parts) -> Iterator[_Asked]:
    """Yield the levels of a series that take turns; of two that do only the one with fewer pieces."""
    if verdict.kind != "measured":
        return
    odd = {s.start for s in verdict.signals if s.kind == "single"}
    points = [
        p
        for p in verdict.points
        if not p.left_out and p.ordinal not in odd and (today is None or p.day <= today)
    ]
    points = [p for p in points if p.day > points[-1].day - LOOKED_BACK]
    columns = [(kind, "", [str(getattr(p, kind)) for p in points]) for kind in KINDS]
    columns += [("batch", role, [of.get(p.serial, "") for p in points]) for role, of in sorted(parts.items())]
    seen: set[tuple[str, str, frozenset[str]]] = set()
    for kind, role, column in columns:
        known = [(p, level) for p, level in zip(points, column, strict=True) if len(split(level)) == 1]
        borne = [level for _, level in known]
        for name in taking_turns(borne):
            pieces = frozenset(p.serial for p, level in known if level == name)
            if (kind, name, pieces) in seen:
                continue  # one batch that stands on two cards
            seen.add((kind, name, pieces))
            near = _in_use(borne, name)
            over = _used_up(borne, name)
            since = ("", 0) if over is None else (known[over][0].serial, len(borne) - over)
            yield _Asked(verdict, kind, role, name, [p for p, _ in known[near]], borne[near], since)


def _used_up(borne: Sequence[str], name: str) -> int | None:
    """Return the place of the first piece since a level was used last, None while it may come again."""
    own = [place for place, level in enumerate(borne) if level == name]
    paused = max(after - before - 1 for before, after in pairwise(own))
    since = len(borne) - own[-1] - 1
    return own[-1] + 1 if since >= MARGIN and since > paused else None


def _in_use(borne: Sequence[str], name: str) -> slice:
    """Return the stretch in which a level was used, with a little on either side."""
    own = [place for place, level in enumerate(borne) if level == name]
    return slice(max(own[0] - MARGIN, 0), own[-1] + MARGIN + 1)


def taking_turns(borne: Sequence[str]) -> list[str]:
    """Return the levels with pieces enough that come and go."""
    counts: dict[str, int] = {}
    stretches: dict[str, int] = {}
    before = ""
    for level in borne:
        counts[level] = counts.get(level, 0) + 1
        stretches[level] = stretches.get(level, 0) + (level != before)
        before = level
    levels = sorted(counts, key=lambda level: (counts[level], level))
    if len(levels) == 2:
        levels = levels[:1]
    enough = [one for one in levels if min(counts[one], len(borne) - counts[one]) >= FEWEST_APART]
    return [one for one in enough if stretches[one] >= TURNS]
