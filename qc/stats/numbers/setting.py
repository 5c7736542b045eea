"""How limits are set: from which points, how far off, and what is given instead of estimated."""

from __future__ import annotations

from dataclasses import dataclass

from qc.stats.numbers.baseline import Baseline
from qc.stats.numbers.limits import LimitRule
from qc.stats.numbers.readings import as_number


@dataclass(frozen=True, slots=True)
class Setting:
    """How limits are set: from which points, how far off, with what given instead of estimated.

    `sigma` is of one reading. `resolution` is the step of the gauge: sigma is never taken below
    `resolution / sqrt(12)`. `robust` takes medians instead of means for a baseline that may hold outliers.
    """

    baseline: Baseline = Baseline()
    limits: LimitRule = LimitRule()
    center: float | None = None
    sigma: float | None = None
    resolution: float | None = None
    robust: bool = False

    def __post_init__(self) -> None:
        for name, value in (("center", self.center), ("sigma", self.sigma), ("resolution", self.resolution)):
            if value is not None:
                as_number(value, name, above=None if name == "center" else 0.0)


AS_THEY_ARE = Setting()
