"""A whole card of figures that is on record already: of the same piece on another day, or of another piece.

`copied_run` looks for runs in one upload and must hold against a year of sheets at once. Here a whole card
is weighed against those of the month before it, on record or in the upload, so that a copy of few figures is
seen too, and on the day it is handed in. All figures of a stage count as one card, those of one
characteristic as another.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from operator import itemgetter

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX, PART
from qc.ingest.known import IDENTITY
from qc.ingest.reasons import Finding, Reason
from qc.plan import PLACE

BY_CHANCE = 1e-4
"""Accepted chance that an honest card equals one of the month before it."""

FEWEST = 4
"""A card of fewer figures is not asked about; chosen."""

FEWEST_OWN = 3
"""The same for all figures of a stage that come again for the same piece; chosen."""

DIFFERENT = 3
"""It must show so many different figures: a row of equal ones is a coarse gauge."""

RULE_OF_THREE = 3.0
"""What was never seen in n trials happens in at most so many of n (95 %: e to the -3 is nearly 0.05)."""

BACK = timedelta(days=31)

AT = [*PLACE, "repeat"]
CARD = ["stage", "serial", "day"]


@dataclass(frozen=True, slots=True)
class Whole:
    """All figures of one sheet of a piece on a day; `rows` are empty for a card on record."""

    serial: str
    day: date
    figures: tuple[tuple[str, float], ...]
    rows: tuple[int, ...]


def find_same_card(facts: Facts, doubted: Doubts) -> Doubted:
    """Find cards whose figures are, place by place, those of an earlier one."""
    if facts.readings.is_empty():
        return Doubted()
    kinds = pl.col("_kind").is_in(["measured", "count"])
    own = facts.readings.filter(kinds & ~pl.col(INDEX).is_in(list(doubted)))
    names = own.select("stage", "characteristic").unique()
    past = facts.known.past.join(names, on=["stage", "characteristic"], how="semi")
    new = [pl.lit(None, dtype=pl.Int64).alias(name) for name in (INDEX, PART)]
    columns = [*IDENTITY, "value"]
    every = pl.concat(
        [
            past.select(*(pl.col(c).cast(own.schema[c]) for c in columns), *new),
            own.select(*columns, *(pl.col(c).cast(pl.Int64) for c in (INDEX, PART))),
        ]
    ).filter(pl.col("value").is_not_null() & pl.col("day").is_not_null() & (pl.col("serial") != ""))
    place = [pl.col(n).cast(pl.String).fill_null("") for n in ("characteristic", *AT)]
    every = every.with_columns(pl.concat_str(place, separator="|").alias("_place"))
    found: dict[int, Finding] = {}
    for (_,), group in every.group_by(["stage"], maintain_order=True):
        several = [rows for _, rows in group.group_by(["characteristic"], maintain_order=True)]
        if len(several) > 1:
            _add(found, _same(_wholes(group, FEWEST_OWN), of_stage=True))
        for rows in several:
            _add(found, _same(_wholes(rows, FEWEST), of_stage=False))
    return Doubted([found[index] for index in sorted(found)])


def _add(found: dict[int, Finding], more: Iterable[Finding]) -> None:
    for finding in more:
        found.setdefault(finding.index, finding)


def _wholes(group: pl.DataFrame, fewest: int) -> list[Whole]:
    cards: dict[tuple[str, str, date, int | None], list[tuple[str, float, int | None]]] = {}
    columns = group.select(*CARD, PART, "_place", "value", INDEX)
    for stage, serial, day, part, place, value, index in columns.iter_rows():
        cards.setdefault((stage, serial, day, part), []).append((place, value, index))
    wholes = []
    for (_, serial, day, _), rows in cards.items():
        if len(rows) < fewest:
            continue
        rows.sort(key=itemgetter(0))
        figures = tuple((place, value) for place, value, _ in rows)
        indexes = tuple(index for *_, index in rows if index is not None)
        wholes.append(Whole(serial, day, figures, indexes))
    return sorted(wholes, key=lambda whole: (bool(whole.rows), whole.day, whole.rows[:1]))


def _same(wholes: list[Whole], *, of_stage: bool) -> list[Finding]:
    """Find the wholes that equal one before them."""
    if len(wholes) < 2:
        return []
    chance: _Chance | None = None
    seen: dict[tuple[tuple[str, float], ...], list[Whole]] = defaultdict(list)
    found: list[Finding] = []
    for whole in wholes:
        before = seen[whole.figures]
        unlike = len({value for _, value in whole.figures})
        if whole.rows and before and unlike >= (2 if of_stage else DIFFERENT):
            same = next((b for b in before if b.serial == whole.serial), None)
            other = next((b for b in reversed(before) if abs(b.day - whole.day) <= BACK), None)
            if same is not None and same.day != whole.day:
                found += _findings(whole, same)
            elif other is not None and other.serial != whole.serial and unlike >= DIFFERENT:
                chance = chance or _Chance(wholes)
                near = sum(abs(w.day - whole.day) <= BACK for w in wholes)
                if near * chance.of(whole) < BY_CHANCE:
                    found += _findings(whole, other)
        before.append(whole)
    return found


class _Chance:
    """How often two pieces agree in a whole card by chance, from how often any two of them agree in parts.

    The first figure of each characteristic says how often pieces are alike at all; of every further one it is
    counted how often it lies as far from the first as on another piece.
    """

    def __init__(self, wholes: Sequence[Whole]) -> None:
        self.seen: dict[str, Counter[float]] = defaultdict(Counter)
        for whole in wholes:
            for key, value in _relative(whole):
                self.seen[key][value] += 1

    def of(self, whole: Whole) -> float:
        """Return the chance that another piece shows the same card."""
        chance = 1.0
        for key, _ in _relative(whole):
            counts = self.seen[key]
            total = sum(counts.values())
            pairs = total * (total - 1) / 2
            alike = sum(n * (n - 1) / 2 for n in counts.values())
            chance *= min(1.0, (alike + RULE_OF_THREE) / (pairs + RULE_OF_THREE))
        return chance


def _relative(whole: Whole) -> list[tuple[str, float]]:
    """Return the first figure of each characteristic, and how far the others lie from it."""
    first: dict[str, float] = {}
    found = []
    for place, value in whole.figures:
        name = place.partition("|")[0]
        level = first.get(name)
        found.append((place, value if level is None else round(value - level, 6)))
        first.setdefault(name, value)
    return found


def _findings(whole: Whole, source: Whole) -> list[Finding]:
    count = len(whole.figures)
    if source.serial == whole.serial:
        reason = Reason.SAME_CARD_TWICE
        problem = f"all {count} figures of {whole.serial} are those of its card of {source.day}"
        mend = "Leave the card out if it was handed in before; if it was measured again, confirm it."
    else:
        reason = Reason.COPIED_RUN
        of = f"{source.serial} of {source.day}"
        problem = f"all {count} figures of {whole.serial} are the same in the same order as those of {of}"
        mend = "Measure the piece again; if both really read the same, confirm it."
    return [Finding(index, reason, problem, mend) for index in whole.rows]
