"""What can be asked of a table of readings: the chart and everything that shapes it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from qc.stats.capable import Limits
from qc.stats.charts import PLAIN_CUSUM, PLAIN_EWMA, CusumDesign, EwmaDesign
from qc.stats.errors import StatisticsUsageError
from qc.stats.numbers import AS_THEY_ARE, LIMIT, Rule, Setting

SHAPES = ("normal", "positive", "any")
FITTED = {  # distributions that capability can be judged by, and their names in `qc.stats.capability_shape`
    "normal": "normal",
    "lognormal": "positive",
    "weibull": "weibull",
    "half-normal": "half-normal",
    "empirical": "any",
}


@dataclass(frozen=True, slots=True)
class StudyQuestion:
    """The chart and everything that shapes it; options that do not concern the chart are left alone.

    Attributes
    ----------
    chart : str
        Kind of chart, see `qc.stats.study_kinds.KINDS`.
    setting : Setting
        Baseline, limits, given centre and sigma, resolution.
    rules : tuple of Rule
        Which rules make a signal.
    lower, upper, target : float or None
        Specification limits and wanted value (without limits only the checks use it). [unit of the readings]
    wanted : float
        Ppk that counts as proven.
    confidence : float
        Of intervals and bounds.
    shape : str
        `normal`, `positive` or `any`: how readings are distributed.
    ewma, cusum
        Designs of the charts with a memory.
    false_alarm_rate : float or None
        Wanted rate per point where the chart takes one (changepoint, t2).
    exact : bool
        Exact limits for counts instead of three sigma.
    corrected : bool
        Limits for counts that scatter more than counts should.
    within : str
        `range` or `sd`: what the spread within the pieces of a three-way chart is taken from.
    screen : bool
        Leave points beyond the limits out of the baseline, listing each.
    mewma_weight : float or None
        Weight of the newest point of a MEWMA.
    fitted : str or None
        Distribution that capability is judged by, one of `FITTED`; left out, `shape` decides.
    gauge_sd : float or None
        Spread of the gauge itself, for its share of what is seen. [unit of the readings]
    counts : str or None
        `defects` or `pass-fail` where a change-point chart judges counts instead of readings.
    piece_column : str or None
        What the table calls the column `piece` of its frame, where nobody asked for subgroups.
    """

    chart: str
    setting: Setting = AS_THEY_ARE
    rules: tuple[Rule, ...] = (Rule(LIMIT),)
    lower: float | None = None
    upper: float | None = None
    target: float | None = None
    wanted: float = 1.0
    confidence: float = 0.95
    shape: str = "normal"
    ewma: EwmaDesign = PLAIN_EWMA
    cusum: CusumDesign = PLAIN_CUSUM
    false_alarm_rate: float | None = None
    exact: bool = False
    corrected: bool = False
    within: str = "range"
    screen: bool = False
    mewma_weight: float | None = None
    fitted: str | None = None
    gauge_sd: float | None = None
    counts: str | None = None
    piece_column: str | None = None

    def __post_init__(self) -> None:
        if self.has_limits:
            Limits(self.lower, self.upper, self.target)  # says what is wrong before any work is done
        self._check_capability()
        if self.shape not in SHAPES:
            raise StatisticsUsageError(f"shape {self.shape!r} is not known: use {', '.join(SHAPES)}")
        if self.counts not in (None, "defects", "pass-fail"):
            raise StatisticsUsageError(f"counts {self.counts!r} are not known: use defects or pass-fail")
        if self.within not in ("range", "sd"):
            raise StatisticsUsageError(f"within {self.within!r} is not known: use range or sd")
        if self.false_alarm_rate is not None and not 0 < self.false_alarm_rate < 1:
            raise StatisticsUsageError(
                f"false-alarm rate is {self.false_alarm_rate}: it must lie between 0 and 1, such as 0.001"
            )

    @property
    def has_limits(self) -> bool:
        """Whether specification limits are given."""
        return self.lower is not None or self.upper is not None

    @property
    def fitted_shape(self) -> str:
        """Distribution of the capability figures, by its name in `qc.stats.capability_shape`."""
        return self.shape if self.fitted is None else FITTED[self.fitted]

    def _check_capability(self) -> None:
        """Refuse what shapes capability where there are no limits, or no such distribution."""
        if self.fitted is not None and self.fitted not in FITTED:
            raise StatisticsUsageError(f"distribution {self.fitted!r} is not known: use {', '.join(FITTED)}")
        if self.gauge_sd is not None and not (math.isfinite(self.gauge_sd) and self.gauge_sd > 0):
            raise StatisticsUsageError(f"gauge sd is {self.gauge_sd}: it must be a number above 0")
        if not self.has_limits and not (self.fitted is None and self.gauge_sd is None):
            raise StatisticsUsageError(
                "a fitted distribution or a gauge sd is for capability: give a lower or upper limit too"
            )
