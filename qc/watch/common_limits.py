"""The limits that a series is held against, on the scale of its points: those of now, and of earlier days."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from itertools import groupby
from typing import TYPE_CHECKING

from qc.plan import Characteristic, DatedLimits, Plan
from qc.watch.results import LimitsThen, Point, SeriesVerdict
from qc.watch.words import new_target_words
from qc.words import listed

if TYPE_CHECKING:
    from qc.watch.series import Points


def common_limits(
    plan: Plan, characteristic: Characteristic, points: Sequence[Point], today: date, *, centered: bool
) -> tuple[DatedLimits, tuple[str, ...]]:
    """Limits on the scale of the points; where models differ there, the narrowest of the present ones."""
    own = plan.models_of(characteristic)
    models = dict.fromkeys(p.model for p in points) or {m.id: None for m in own}
    day = points[-1].day if points else today
    each = [plan.limits(characteristic, model, day) for model in models]
    found, differ = _narrowest((x, (x.target or 0.0) if centered else 0.0) for x in each)
    note = ("The models of this series have different limits; the narrowest are shown.",) if differ else ()
    return found, note


def earlier_limits(
    plan: Plan, characteristic: Characteristic, reduced: Points, points: Sequence[Point], now: DatedLimits
) -> tuple[LimitsThen, ...]:
    """Return the limits that held when earlier pieces were measured, where they were others than now.

    Parameters
    ----------
    plan, characteristic
        Give the limits of each day.
    reduced : Points
        Knows what was taken off which piece.
    points : sequence of Point
        The series, in order of making.
    now : DatedLimits
        Those of now, on the scale of the points.
    """
    turns = sorted(
        {entry.since for entry in characteristic.limits if entry.since is not None and not entry.at}
    )
    if not points or not any(points[0].day < turn <= points[-1].day for turn in turns):
        return ()
    found = []
    for _, own in groupby(points, key=lambda p: sum(turn <= p.day for turn in turns)):
        stretch = [*own]
        places = dict.fromkeys((p.model, p.day) for p in stretch)
        bases = reduced.aims.bases if reduced.centered else {}
        limits, _ = _narrowest(
            (plan.limits(characteristic, *place), bases.get(place) or 0.0) for place in places
        )
        if (limits.lower, limits.upper, limits.target) != (now.lower, now.upper, now.target):
            ends = stretch[0].ordinal, stretch[-1].ordinal
            found.append(LimitsThen(*ends, limits.target, limits.lower, limits.upper))
    return tuple(found)


def limit_lines(
    verdict: SeriesVerdict, first: float, last: float, of: Sequence[str] = ("lower", "upper")
) -> Iterator[tuple[float, float, float]]:
    """Return each limit with the ordinals between which it held, for a chart from `first` to `last`.

    Half an ordinal is added on either side of the pieces, so that the lines meet. `of` may name the target.
    """
    at = first
    for then in (*verdict.earlier_limits, None):
        end = last if then is None else first if then.first == 1 else then.first - 0.5
        spans: list[tuple[SeriesVerdict | LimitsThen, float, float]] = [(verdict, at, end)]
        if then is not None:
            at = then.last + 0.5
            spans.append((then, end, at))
        for held, begin, until in spans:
            edges = [getattr(held, name) for name in of if until > max(begin, first)]
            yield from ((edge, max(begin, first), until) for edge in edges if edge is not None)


def target_notes(plan: Plan, characteristic: Characteristic, reduced: Points, today: date) -> tuple[str, ...]:
    """Say which targets were changed between the pieces of a series, and whether the pieces went along."""
    made = {p.model for p in reduced.points}
    names = {m.id: m.name for m in plan.models_of(characteristic)}
    return tuple(
        new_target_words(
            one,
            characteristic.unit,
            today,
            "" if made <= {*one.models} else listed([names.get(model, model) for model in one.models]),
        )
        for one in reduced.aims.changes
    )


def _narrowest(entries: Iterable[tuple[DatedLimits, float]]) -> tuple[DatedLimits, bool]:
    """Return the narrowest of limits, each less what is taken off there, and whether they differ."""
    scaled = {
        tuple(None if v is None else v - base for v in (x.target, x.lower, x.upper)) for x, base in entries
    }
    targets = {target for target, _, _ in scaled}
    lowers = [low for _, low, _ in scaled if low is not None]
    uppers = [high for _, _, high in scaled if high is not None]
    found = DatedLimits(
        target=targets.pop() if len(targets) == 1 else None,
        lower=max(lowers) if lowers else None,
        upper=min(uppers) if uppers else None,
    )
    return found, len({(low, high) for _, low, high in scaled}) > 1
