"""What the cards of the record and of the upload say together: which stages follow which, which pieces wait.

Both are looked at as one, so that a sheet is judged the same on its own day and among a year of others.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

import numpy as np
import polars as pl

from qc.ingest.doubts.facts import Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.known import CARDS, card_days

TOLD = 20
"""So many pieces say in which order the stages follow; chosen."""

NEARLY_ALL = 0.95
"""Of so many pieces it must be true; chosen."""

_PARTS = re.compile(r"^(.*?)(\d+)$")
_YEARED = re.compile(r"^(\D*)(\d{4}|\d{2})(\D+)$")

Figure = tuple[str, str]
"""A stage and a characteristic of it."""


@dataclass(frozen=True, slots=True)
class Serial:
    """A serial taken apart: what stands before its running number, the number, how many digits it has."""

    head: str
    number: int
    width: int

    def year(self) -> int | None:
        """Return the year that the head carries, None where it has no two or four digits for one."""
        match = _YEARED.match(self.head)
        if match is None:
            return None
        digits = match[2]
        return int(digits) if len(digits) == 4 else 2000 + int(digits)

    def letters(self) -> str:
        """Return the head without its year: what is the same in the series of every year."""
        match = _YEARED.match(self.head)
        return f"{match[1]}*{match[3]}" if match is not None else self.head

    def with_year(self, year: int) -> str:
        """Return the serial of the same number in the series of another year."""
        match = _YEARED.match(self.head)
        if match is None:
            return self.text()
        digits = str(year)[-len(match[2]) :]
        return f"{match[1]}{digits}{match[3]}{self.number:0{self.width}d}"

    def text(self) -> str:
        """Return the serial as written."""
        return f"{self.head}{self.number:0{self.width}d}"


@lru_cache(maxsize=16_384)
def taken_apart(serial: str) -> Serial | None:
    """Take a serial apart, None where it ends in no number.

    Examples
    --------
    >>> taken_apart("PX26-07"), taken_apart("both")
    (Serial(head='PX26-', number=7, width=2), None)
    """
    match = _PARTS.match(serial)
    return Serial(match[1], int(match[2]), len(match[2])) if match and len(match[2]) <= 9 else None


@dataclass(frozen=True, slots=True)
class Record:
    """The cards known, on record and in the upload.

    Attributes
    ----------
    days : mapping of serial to mapping of figure to tuple of date
        On which days each figure of a piece was taken, in order.
    models : mapping of str to str
        Serial -> model.
    follows : mapping of stage to frozenset of stages
        Stages that nearly all pieces had behind them on the day they came to this one.
    alike : mapping of beginning and stage to frozenset of stages
        The same of the pieces whose serials begin alike, where there are enough of them to tell.
    pieces : mapping of figure to int
        How many pieces have it.
    """

    days: Mapping[str, Mapping[Figure, tuple[date, ...]]]
    models: Mapping[str, str]
    follows: Mapping[str, frozenset[str]]
    alike: Mapping[tuple[str, str], frozenset[str]]
    pieces: Mapping[Figure, int]

    def before(self, stage: str, serial: str) -> frozenset[str]:
        """Return the stages that a piece should have behind it when it comes to this one.

        Pieces whose serials begin like its own speak first: a loose tube measured for the rack has neither
        bell nor joints behind it, and an alto has other stages behind it than a tenor with a valve.
        """
        return self.alike.get((beginning(serial), stage), self.follows.get(stage, frozenset()))

    def first(self, serial: str, stage: str) -> date | None:
        """Return the first day of a piece at a stage."""
        found = [days[0] for (at, _), days in self.days.get(serial, {}).items() if at == stage]
        return min(found, default=None)

    def missing(self, serial: str, stage: str) -> list[str]:
        """Return the stages that nearly all pieces have behind them by then and this one has not."""
        return [at for at in sorted(self.before(stage, serial)) if self.first(serial, at) is None]

    def numbers(self) -> dict[str, list[int]]:
        """Return the running numbers of each series, in order."""
        found: dict[str, list[int]] = defaultdict(list)
        for serial in self.days:
            parts = taken_apart(serial)
            if parts is not None:
                found[parts.head].append(parts.number)
        return {head: sorted(numbers) for head, numbers in found.items()}

    def waiting(self, figure: Figure, model: str, day: date, without: Collection[str] = ()) -> list[str]:
        """Return the pieces that lack a figure and have all behind them that comes before it."""
        found = []
        for serial, figures in self.days.items():
            if figure in figures or serial in without or (model and self.models.get(serial) != model):
                continue
            firsts = [self.first(serial, stage) for stage in self.before(figure[0], serial)]
            if firsts and all(first is not None and first <= day for first in firsts):
                found.append(serial)
        return sorted(found)


def gather_record(facts: Facts, doubted: Doubts) -> Record:
    """Bring together the cards on record and those of the upload that are not in doubt.

    Five doubts ask for it; it is made anew only where the one before has put further rows in doubt.
    """
    in_doubt = frozenset(doubted)
    if in_doubt not in facts.records:
        facts.records[in_doubt] = _gathered(facts, in_doubt)
    found: Record = facts.records[in_doubt]
    return found


def _gathered(facts: Facts, in_doubt: frozenset[int]) -> Record:
    """Gather the days of each piece's cards, without the rows in doubt: a slip must not vouch for another."""
    own = facts.readings.select(*CARDS, INDEX) if facts.readings.height else None
    cards = facts.known.cards
    if own is not None:
        sound = own.filter(~pl.col(INDEX).is_in(list(in_doubt)))
        cards = card_days(pl.concat([cards, sound.select(list(CARDS))]))
    days: dict[str, dict[Figure, set[date]]] = defaultdict(lambda: defaultdict(set))
    models: dict[str, str] = {}
    for serial, model, stage, name, day in cards.rows():
        days[serial][(stage, name)].add(day)
        if model:
            models.setdefault(serial, model)
    models |= {serial: model for serial, model in facts.known.serials.items() if model}
    ordered = {s: {f: tuple(sorted(d)) for f, d in figures.items()} for s, figures in days.items()}
    pieces: dict[Figure, int] = defaultdict(int)
    for figures in ordered.values():
        for figure in figures:
            pieces[figure] += 1
    return Record(ordered, models, _follows(ordered), _alike(ordered), dict(pieces))


def beginning(serial: str) -> str:
    """Return what stands before the first digit of a serial.

    Examples
    --------
    >>> beginning("PX26-07"), beginning("0713")
    ('PX', '')
    """
    return re.split(r"\d", serial, maxsplit=1)[0]


Days = Mapping[str, Mapping[Figure, tuple[date, ...]]]


def _alike(days: Days) -> dict[tuple[str, str], frozenset[str]]:
    groups: dict[str, dict[str, Mapping[Figure, tuple[date, ...]]]] = defaultdict(dict)
    for serial, figures in days.items():
        groups[beginning(serial)][serial] = figures
    if len(groups) == 1:
        return {}
    return {(begins, stage): own for begins, of in groups.items() for stage, own in _follows(of).items()}


def _follows(days: Days) -> dict[str, frozenset[str]]:
    """Return what nearly all of some pieces have behind them at each stage that enough of them came to."""
    stages = sorted({stage for figures in days.values() for stage, _ in figures})
    column = {stage: number for number, stage in enumerate(stages)}
    # by number, a stage a column: asked piece by piece it took a tenth of the time of a single row's check
    firsts = np.full((len(days), len(stages)), np.inf)
    for row, figures in enumerate(days.values()):
        for (stage, _), taken in figures.items():
            at = column[stage]
            firsts[row, at] = min(taken[0].toordinal(), firsts[row, at])
    found: dict[str, frozenset[str]] = {}
    for stage, at in column.items():
        came = firsts[np.isfinite(firsts[:, at])]
        if len(came) < TOLD:
            continue
        own = came[:, at, None]
        behind = (came <= own).sum(axis=0) >= NEARLY_ALL * len(came)
        same_day = (came == own).sum(axis=0) > len(came) / 2
        found[stage] = frozenset(
            other for other, n in column.items() if other != stage and behind[n] and not same_day[n]
        )
    return found
