"""From options to a question: what has no effect on the chart is refused or said, never swallowed."""

from __future__ import annotations

from qc.plain import Arguments
from qc.stats.charts import CusumDesign, EwmaDesign
from qc.stats.errors import StatisticsUsageError
from qc.stats.numbers import Baseline, LimitRule, Setting, parse_rules
from qc.stats.studies.kinds import KINDS, Kind, kind_of, takers
from qc.stats.studies.options import OPTIONS, StudyOptions, given
from qc.stats.studies.question import StudyQuestion


def check_fit(asked: StudyOptions, chart: str) -> tuple[str, ...]:
    """Refuse options that the chart has no use for, and name those that do nothing here.

    Parameters
    ----------
    asked : StudyOptions
        Complete.
    chart : str
        Kind of chart.

    Returns
    -------
    tuple of str
        A sentence for each option that every chart takes but that has no effect on this one.

    Raises
    ------
    StatisticsUsageError
        An unknown chart, a column that it needs and lacks, an option that goes with other charts only, or not
        without another one.
    """
    kind = kind_of(chart)
    for need in kind.needs:
        if not given(asked, need):
            raise StatisticsUsageError(f"chart {chart} needs {_flag(need)} COLUMN")
    for name, option in OPTIONS.items():
        charts = takers(name)
        if charts and chart not in charts and not option.lenient and given(asked, name):
            raise StatisticsUsageError(_refusal(name, charts, chart))
    if "counts" in kind.takes:
        _check_changepoint(asked)
    return tuple(f"{_flag(name)} has no effect on {where}" for name, where in _idle(asked, kind))


def question_of(asked: StudyOptions, chart: str) -> StudyQuestion:
    """Make the question; what has no effect on the chart is left out, as `check_fit` says.

    Parameters
    ----------
    asked, chart
        As for `check_fit`.

    Raises
    ------
    StatisticsUsageError
        An unknown chart, rule, kind of limits or shape.
    StatisticsError
        Limits the wrong way round, a sigma that is not above 0, and the like.
    """
    kind = kind_of(chart)
    return StudyQuestion(
        chart=chart,
        setting=Setting(
            baseline=Baseline.parse(asked["baseline"]),
            limits=_limits(asked, kind),
            center=asked["center"],
            sigma=asked["sigma"],
            resolution=asked["resolution"],
            robust=asked["robust"],
        ),
        rules=parse_rules(asked["rules"]),
        lower=None if kind.several else asked["lower"],
        upper=None if kind.several else asked["upper"],
        target=asked["target"],
        wanted=asked["wanted"],
        shape=asked["shape"],
        fitted=asked["fitted"],
        gauge_sd=asked["gauge_sd"],
        ewma=EwmaDesign(**_known(asked, "weight", "width"), time_varying=asked["time_varying"]),
        cusum=CusumDesign(**_known(asked, "reference", "decision"), fast_start=asked["fast_start"]),
        false_alarm_rate=asked["false_alarm_rate"],
        exact=asked["exact"],
        corrected=asked["corrected"],
        within=asked["within"] or "range",
        screen=asked["screen"],
        mewma_weight=asked["weight"],
        counts=asked["counts"],
    )


def _known(asked: StudyOptions, *names: str) -> Arguments:
    """Take the options that were given."""
    return {name: value for name, value in asked.items() if name in names and value is not None}


def _limits(asked: StudyOptions, kind: Kind) -> LimitRule:
    """Return the kind of limits asked for, or textbook limits where the chart has no others."""
    rule = LimitRule.parse(asked["limits"])
    # times between faults are not normal, so no tolerance factor guarantees their limits
    fits = "limits" in kind.takes and (kind.measured or rule.method != "guaranteed")
    return rule if fits else LimitRule()


def _flag(option: str) -> str:
    return f"--{option.replace('_', '-')}"


def _refusal(option: str, charts: tuple[str, ...], chart: str) -> str:
    """Say with which charts an option goes, or, where those are most, with which it does not."""
    name = _flag(option)
    if option in ("center", "sigma") and not {"center", "sigma"} & set(KINDS[chart].takes):
        return f"chart {chart} estimates its own level and spread: leave {name} out"
    if len(charts) > len(KINDS) // 2:
        left_out = ", ".join(kind for kind in KINDS if kind not in charts)
        return f"{name} does not go with chart {chart} (nor with any of {left_out}): leave it out"
    word = "chart" if len(charts) == 1 else "charts"
    return f"{name} goes with {word} {', '.join(charts)}; chart {chart} has no use for it: leave it out"


def _check_changepoint(asked: StudyOptions) -> None:
    """Refuse options of the change-point chart that need another one, or exclude one another."""
    counts = given(asked, "counts")
    if counts and given(asked, "against"):
        raise StatisticsUsageError("--counts and --against exclude one another: counts do not wear")
    if given(asked, "size") and not counts:
        raise StatisticsUsageError("--size goes with --counts defects or --counts pass-fail: say which")
    if asked["counts"] == "pass-fail" and not given(asked, "size"):
        raise StatisticsUsageError("--counts pass-fail needs --size COLUMN: how many pieces were tried")
    if given(asked, "tool") and not given(asked, "against"):
        raise StatisticsUsageError("--tool goes with --against COLUMN: the count since the tool was fitted")
    for option in ("nominal", "model", "fitted", "gauge_sd"):
        if counts and given(asked, option):
            raise StatisticsUsageError(f"{_flag(option)} is for measured values: leave it out with --counts")


def _idle(asked: StudyOptions, kind: Kind) -> list[tuple[str, str]]:
    """Options that every chart takes, but that change nothing on this one, with the words for "this one"."""
    here, counts, against = f"chart {kind.name}", given(asked, "counts"), given(asked, "against")
    measured = kind.measured and not kind.several and not counts
    limited = given(asked, "lower") or given(asked, "upper")
    detects = "rules" not in kind.takes
    plain = f"{here} of counts" if counts else here
    without = f"{plain} without --lower or --upper" if measured else plain
    grouped = "subgroup" in (*kind.takes, *kind.needs) and not counts and not against
    shaped = measured and (limited or (detects and not against))
    narrowed = LimitRule.parse(asked["limits"]).method != "textbook"
    idle = {
        "subgroup": (not grouped and not (asked["checks"] and measured), plain),
        "baseline": ("baseline" not in kind.takes, f"{here}, which learns from all points before"),
        "limits": (narrowed and _limits(asked, kind).method == "textbook", here),
        "lower": (kind.several, here),
        "upper": (kind.several, here),
        "target": (not measured or not (limited or asked["checks"]), without),
        "wanted": (not (measured and limited), without),
        "resolution": (not measured, plain),
        "shape": (not shaped, f"{plain} against a line" if detects else without),
        "rules": (detects and asked["rules"] not in ("limit", "none"), f"{here}, which has none"),
    }
    return [(name, where) for name, (nothing, where) in idle.items() if nothing and given(asked, name)]
