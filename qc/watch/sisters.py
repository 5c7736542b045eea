"""What is learned of how a series scatters, from which sisters, for how long it holds, and what its lots are.

Estimates are learned at the start of a period from what had been made and judged before it, and hold for it:
a week in the first two calendar months of a pool of sisters, a month from then on. A piece is judged by those
of the period it was made in, whenever its card comes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from qc.plan import Characteristic, Plan, Stage
from qc.watch.results import Point

LotsBy = Literal["batch", "tool", ""]
"""The recorded word that says which pieces are of one lot; empty where none does."""

MONTHS_BY_WEEK = 2
"""For so many months a pool learns week by week: in the first ones each week doubles what is known (house
rule)."""

MOSTLY_RECORDED = 3 / 4
"""A word tells the lots of a series only where so large a share of its pieces bears one (house rule)."""

LEAST_IN_LOT, LEAST_LOTS = 2, 3
"""Lots hold so many pieces on average, and there are so many of them: else they tell nothing of how pieces of
one hang together (house rule)."""


@dataclass(frozen=True, slots=True)
class Pool:
    """What series must share to be believed to scatter alike: one kind of quantity, read alike."""

    unit: str
    source: str
    derived: str
    places: int


def pool_of(plan: Plan, characteristic: Characteristic) -> Pool | None:
    """Return the pool that the series of a characteristic learn in, of all stages and families.

    Parameters
    ----------
    plan : Plan
        Says which kind of card brings the figure.
    characteristic : Characteristic
        What is charted.

    Returns
    -------
    Pool or None
        None for counts, pass-fail figures and what wears with a tool: they scatter about no one level.
    """
    if characteristic.kind != "measured" or characteristic.wears_with:
        return None
    places = 1
    for allowed in characteristic.places.values():
        places *= max(len(allowed), 1)
    rule = characteristic.derive
    cards = {c.source for c in plan.cards if any(f.id == characteristic.id for f in plan.figures_on(c))}
    return Pool(characteristic.unit, "+".join(sorted(cards)), rule.what if rule else "", places)


def members_of(plan: Plan, pool: Pool) -> list[tuple[Stage, Characteristic, str]]:
    """Return the series that learn in a pool, in route order."""
    return [row for row in plan.charted() if pool_of(plan, row[1]) == pool]


def period_of(day: date, first: date) -> date:
    """Return the first day of the period that a day lies in.

    Parameters
    ----------
    day : date
        Measured day of a piece.
    first : date
        Of the first piece of its pool.

    Examples
    --------
    >>> first = date(2026, 1, 20)
    >>> [period_of(day, first).isoformat() for day in (date(2026, 2, 12), date(2026, 3, 31))]
    ['2026-02-09', '2026-03-01']
    """
    months = (day.year - first.year) * 12 + day.month - first.month
    return day.replace(day=1) if months >= MONTHS_BY_WEEK else day - timedelta(days=day.weekday())


def lots_told_by(points: Sequence[Point], fitted: Mapping[str, Sequence[date]]) -> LotsBy:
    """Choose the word that tells the lots of a series: the batch on the card, else the set-up of the tool.

    Parameters
    ----------
    points : sequence of Point
        Pieces in order of making.
    fitted : mapping of str to sequence of date
        Days on which each tool was fitted, in order.

    Returns
    -------
    str
        The first of both that three quarters of the pieces bear and that gives at least three lots, of two
        pieces on average; empty where neither does. (A spray run stands on the card as a batch.)
    """
    told: tuple[LotsBy, ...] = ("batch", "tool")
    for word in told:
        lots = [lot for lot in lots_of(points, word, fitted) if lot is not None]
        kinds = len(set(lots))
        if (
            len(lots) >= max(MOSTLY_RECORDED * len(points), 1)
            and kinds >= LEAST_LOTS
            and len(lots) >= LEAST_IN_LOT * kinds
        ):
            return word
    return ""


def lots_of(
    points: Sequence[Point], by: LotsBy, fitted: Mapping[str, Sequence[date]]
) -> tuple[str | None, ...]:
    """Return the lot of each piece, None for one that stands alone.

    A tool begins a new lot where it was fitted anew, or its count starts again.
    """
    if by != "tool":
        return tuple((p.batch or None) if by else None for p in points)
    found: list[str | None] = []
    counts: dict[str, int] = {}
    restarts: dict[str, int] = {}
    set_ups: dict[str, list[tuple[int, int]]] = {}
    for point in points:
        if not point.tool:
            found.append(None)
            continue
        if point.tool_count is not None:
            if point.tool_count < counts.get(point.tool, point.tool_count):
                restarts[point.tool] = restarts.get(point.tool, 0) + 1
            counts[point.tool] = point.tool_count
        since = sum(day <= point.day for day in fitted.get(point.tool, ()))
        own, now = set_ups.setdefault(point.tool, []), (since, restarts.get(point.tool, 0))
        if now not in own:
            own.append(now)
        number = own.index(now) + 1
        found.append(point.tool if number == 1 else f"{point.tool} ({number})")
    return tuple(found)
