"""Options of a study as a person writes them, and the question they make."""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from qc.stats import (
    KINDS,
    Baseline,
    CusumDesign,
    EwmaDesign,
    LimitRule,
    Setting,
    StatisticsUsageError,
    StudyQuestion,
    parse_rules,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyOptions:
    """Every option of `qc study` under its own name.

    Attributes
    ----------
    subgroup, series, order, size, against, tool, place, nominal, model : str, optional
        Columns: subgroup of a reading, series it belongs to, order of making, number inspected (or one number
        for all), the count a trend or wear runs against, the tool fitted then, place on the piece (its fixed
        pattern is taken out first), the piece's own target (deviations are charted), its model (models share
        a chart if they agree).
    baseline, rules, limits : str
        `all`, `N` or `A:B`; `none`, `limit`, `all` or rule names; `textbook`, `prediction` or
        `guaranteed[:CONFIDENCE]`.
    center, sigma, resolution : float, optional
        Given instead of estimated; step of the gauge. [unit of the readings]
    lower, upper, target, wanted : float, optional
        Specification limits, wanted value [unit of the readings]; Ppk that counts as proven.
    shape : str
        `normal`, `positive` or `any`.
    fitted, gauge_sd : str, float, optional
        For capability: distribution it is judged by (`normal`, `lognormal`, `weibull`, `half-normal` or
        `empirical`; left out, `shape` decides); spread of the gauge itself [unit of the readings].
    weight, width, time_varying
        Of an EWMA (the weight of a MEWMA too).
    reference, decision, fast_start
        Of a CUSUM, in sigma.
    false_alarm_rate : float, optional
        Per point, for changepoint, t2 and mewma.
    counts : str, optional
        `defects` or `pass-fail`: what a changepoint chart judges are counts.
    exact, corrected, robust : bool
        Exact limits for counts; limits for over-dispersed counts; medians instead of means.
    within : str, optional
        `range` (also when left out) or `sd`: spread within the pieces of a three-way chart.
    screen : bool
        Leave points beyond the limits out of the baseline, listing each.
    checks : bool
        Check distribution, order, groups and gauge step too.
    sheet : str, optional
        Sheet of a workbook.
    signals_only : bool
        Leave the plotted values out.
    out, plot : path, optional
        Write points and signals as parquet tables; draw the chart.
    """

    subgroup: str | None = None
    series: str | None = None
    order: str | None = None
    size: str | None = None
    against: str | None = None
    tool: str | None = None
    place: str | None = None
    nominal: str | None = None
    model: str | None = None
    baseline: str = "all"
    center: float | None = None
    sigma: float | None = None
    lower: float | None = None
    upper: float | None = None
    target: float | None = None
    wanted: float = 1.0
    resolution: float | None = None
    rules: str = "limit"
    limits: str = "textbook"
    shape: str = "normal"
    fitted: str | None = None
    gauge_sd: float | None = None
    weight: float | None = None
    width: float | None = None
    time_varying: bool = False
    reference: float | None = None
    decision: float | None = None
    fast_start: bool = False
    false_alarm_rate: float | None = None
    counts: str | None = None
    exact: bool = False
    corrected: bool = False
    robust: bool = False
    within: str | None = None
    screen: bool = False
    checks: bool = False
    sheet: str | None = None
    signals_only: bool = False
    out: str | Path | None = None
    plot: str | Path | None = None

    @classmethod
    def of(cls, **options: Any) -> StudyOptions:
        """Take options by name.

        Raises
        ------
        StatisticsUsageError
            An option that does not exist.
        """
        unknown = sorted(set(options) - {one.name for one in fields(cls)})
        if unknown:
            raise StatisticsUsageError(f"a study has no option {', '.join(repr(name) for name in unknown)}")
        return cls(**options)

    @property
    def columns(self) -> dict[str, str | None]:
        """Columns that were named, by their role."""
        return {
            "subgroup": self.subgroup,
            "series": self.series,
            "size": self.size,
            "against": self.against,
            "tool": self.tool,
            "place": self.place,
            "nominal": self.nominal,
            "model": self.model,
        }

    def limits_on(self, chart: str) -> LimitRule:
        """Return the kind of limits asked for, or textbook limits where the chart has no others.

        Raises
        ------
        StatisticsUsageError
            No such kind of limits.
        """
        rule = LimitRule.parse(self.limits)
        # times between faults are not normal, so no tolerance factor guarantees their limits
        fits = KINDS[chart].limits and not (chart == "time-between" and rule.method == "guaranteed")
        return rule if fits else LimitRule()

    def check_needs(self, chart: str) -> None:
        """Refuse an unknown chart, or one that lacks a column it needs.

        Raises
        ------
        StatisticsUsageError
            With the charts there are, or the option to give.
        """
        if chart not in KINDS:
            raise StatisticsUsageError(f"chart {chart!r} is not known: use one of {', '.join(KINDS)}")
        for need in KINDS[chart].needs:
            if self.columns[need] is None:
                raise StatisticsUsageError(f"chart {chart} needs --{need} COLUMN")

    def question(self, chart: str) -> StudyQuestion:
        """Make the question.

        Raises
        ------
        StatisticsUsageError
            An unknown chart, rule, kind of limits or shape, or a column option that the chart needs.
        StatisticsError
            Limits the wrong way round, a sigma that is not above 0, and the like.
        """
        self.check_needs(chart)
        # what has no effect on this chart is said by `study_fit`, and so is left out here
        kind = KINDS[chart]
        return StudyQuestion(
            chart=chart,
            setting=Setting(
                baseline=Baseline.parse(self.baseline),
                limits=self.limits_on(chart),
                center=self.center,
                sigma=self.sigma,
                resolution=self.resolution,
                robust=self.robust,
            ),
            rules=parse_rules(self.rules),
            lower=None if kind.several else self.lower,
            upper=None if kind.several else self.upper,
            target=self.target,
            wanted=self.wanted,
            shape=self.shape,
            fitted=self.fitted,
            gauge_sd=self.gauge_sd,
            ewma=EwmaDesign(**_given(weight=self.weight, width=self.width), time_varying=self.time_varying),
            cusum=CusumDesign(
                **_given(reference=self.reference, decision=self.decision), fast_start=self.fast_start
            ),
            false_alarm_rate=self.false_alarm_rate,
            exact=self.exact,
            corrected=self.corrected,
            within=self.within or "range",
            screen=self.screen,
            mewma_weight=self.weight,
            counts=self.counts,
        )


def _given(**options: float | None) -> dict[str, Any]:
    return {name: value for name, value in options.items() if value is not None}
