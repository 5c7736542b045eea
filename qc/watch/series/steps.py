"""The step that the gauge leaves in a charted figure: what it hides of the scatter is not to pass for calm.

A reading to the nearest step hides a variance of step^2 / 12. The mean of m places hides the m-th part of it,
a difference of two readings the sum of both. Repeats at one place mostly fall on the same mark, so their mean
hides as much as one reading.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from qc.plan import Characteristic, Plan, Stage
from qc.watch.results import Point
from qc.watch.series.derive import INNER, OUTER, UM_PER_MM
from qc.watch.series.nesting import HALF
from qc.words import IN_UNIT


def step_of(
    points: Sequence[Point], plan: Plan, stage: Stage, characteristic: Characteristic
) -> float | None:
    """Return the step that stands for what the gauge hides in the points of a series.

    Parameters
    ----------
    points : sequence of Point
        The series. Which gauges read it, and how many places its pieces have, is taken from here.
    plan, stage, characteristic
        What is charted.

    Returns
    -------
    float or None
        Of mixed gauges the coarsest; of means over places that of a piece with half of them read, so that a
        piece with places left out changes nothing for the others; of a clearance or an ovality both readings
        together. None where no step is known, and for figures fitted to many notes. [unit of the figure]

    Examples
    --------
    >>> from pathlib import Path
    >>> from qc.plan import load_plan
    >>> plan = load_plan(Path("sample_measurements/plan.yaml"))
    >>> slide = plan.stage("slide")
    >>> clearance = next(c for c in slide.characteristics if c.id == "clearance")
    >>> round(step_of((), plan, slide, clearance), 3)  # both diameters to a thousandth of a millimetre
    1.414
    """
    if characteristic.kind != "measured":
        return None
    used = {name for point in points for name in point.gauge.split(" + ") if name}
    step = _reading_step(plan, stage, characteristic, used)
    if step is None or not points:
        return step
    if characteristic.places:
        return step / math.sqrt(math.ceil(HALF * max(p.readings for p in points)))
    if characteristic.derive is not None:  # a figure a station, averaged over those of the piece
        return step / math.sqrt(min(p.readings for p in points))
    return step


def _reading_step(plan: Plan, stage: Stage, characteristic: Characteristic, used: set[str]) -> float | None:
    """Return the step of one figure before any mean: the coarser of what the plan and its gauges say."""
    if characteristic.derive is None:
        return _coarsest(plan, characteristic, used)
    sources = {c.id: c for c in stage.characteristics}
    names = {"clearance": (INNER, OUTER), "ovality": (OUTER, OUTER)}.get(characteristic.derive.what, ())
    steps = [_coarsest(plan, sources[name], used) for name in names if name in sources]
    known = [step * UM_PER_MM for step in steps if step is not None]
    if len(known) < 2:
        return None
    return max(math.hypot(*known), characteristic.resolution or 0.0)


def _coarsest(plan: Plan, characteristic: Characteristic, used: set[str]) -> float | None:
    """Return the coarsest step of the gauges in use that read this characteristic, and of itself."""
    steps = [] if characteristic.resolution is None else [characteristic.resolution]
    for gauge in plan.gauges:
        scale = 1.0 if gauge.unit == characteristic.unit else IN_UNIT.get((gauge.unit, characteristic.unit))
        fits = characteristic.gauge_class in (None, gauge.gauge_class)
        if gauge.id in used and fits and scale is not None:
            steps.append(gauge.resolution * scale)
    return max(steps, default=None)
