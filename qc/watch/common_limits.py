"""The limits that a series is held against, on the scale of its points."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from qc.plan import Characteristic, DatedLimits, Plan
from qc.watch.results import Point


def common_limits(
    plan: Plan, characteristic: Characteristic, points: Sequence[Point], today: date, *, centered: bool
) -> tuple[DatedLimits, tuple[str, ...]]:
    """Limits on the scale of the points; where models differ there, the narrowest of the present ones."""
    own = plan.models_of(characteristic)
    models = dict.fromkeys(p.model for p in points) or {m.id: None for m in own}
    day = points[-1].day if points else today
    each = [plan.limits(characteristic, model, day) for model in models]
    scaled = {tuple(_less(v, x, centered) for v in (x.target, x.lower, x.upper)) for x in each}
    lowers = [low for _, low, _ in scaled if low is not None]
    uppers = [high for _, _, high in scaled if high is not None]
    targets = {target for target, _, _ in scaled}
    note: tuple[str, ...] = ()
    if len({(low, high) for _, low, high in scaled}) > 1:
        note = ("The models of this series have different limits; the narrowest are shown.",)
    target = targets.pop() if len(targets) == 1 else None
    return DatedLimits(
        target=target, lower=max(lowers) if lowers else None, upper=min(uppers) if uppers else None
    ), note


def _less(value: float | None, limits: DatedLimits, centered: bool) -> float | None:
    return value - (limits.target or 0.0) if centered and value is not None else value
