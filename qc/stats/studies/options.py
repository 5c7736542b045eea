"""Options of a study: each said once, with its type, what it means and what holds where it is left out.

What every face needs follows from here: the command's options and help, the names that `qc.study` takes, and
together with the chart kinds (`qc.stats.studies.kinds`) what is refused. Nothing heavy is loaded.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Literal, TypedDict, cast, get_args, get_type_hints

from qc.errors import UsageError
from qc.plain import Arguments, as_number
from qc.stats.errors import StatisticsUsageError

Holds = Literal["labels", "numbers"]


@dataclass(frozen=True, slots=True)
class Option:
    """What is known of an option beside its name and type.

    Attributes
    ----------
    meaning : str
        In the words of the command's help; `{charts}` stands for the chart kinds that take it.
    default : object
        What holds where it is left out.
    shown : str, optional
        What the help calls its value; left out, the type says enough.
    holds : {"labels", "numbers"}, optional
        What the column holds that it names.
    lenient : bool
        Every chart takes it; where it has no effect this is said instead of refused.
    type : type
        As `StudyOptions` states it.
    """

    meaning: str
    default: Any = None
    shown: str | None = None
    holds: Holds | None = None
    lenient: bool = False
    type: Any = None


def _column(meaning: str, holds: Holds | None = None, *, lenient: bool = False) -> Option:
    """Make an option that names a column."""
    return Option(meaning, shown="COLUMN", holds=holds, lenient=lenient)


def _number(meaning: str, *, lenient: bool = False) -> Option:
    """Make an option that takes a number."""
    return Option(meaning, shown="NUMBER", lenient=lenient)


def _flag(meaning: str) -> Option:
    """Make an option that is there or not."""
    return Option(meaning, default=False)


class StudyOptions(TypedDict, total=False):
    """Every option of a study, by name; which chart kind takes which stands with the kinds.

    Levels, limits, steps and gauges are in the unit of the readings; `width`, `reference` and `decision` in
    sigma; rates per point.
    """

    subgroup: Annotated[str | None, _column("Subgroup (or piece) of a reading.", "labels", lenient=True)]
    series: Annotated[str | None, _column("Series a reading belongs to: one chart each.", "labels")]
    order: Annotated[str | None, _column("Order of making; else the order of the rows.")]
    size: Annotated[str | None, _column("Number inspected: a column, or one number.", "numbers")]
    against: Annotated[str | None, _column("Count that a trend, or wear, runs against.", "numbers")]
    tool: Annotated[str | None, _column("Tool fitted then: each wears anew ({charts}).", "labels")]
    place: Annotated[str | None, _column("Place on the piece; its fixed pattern is taken out.", "labels")]
    nominal: Annotated[str | None, _column("Target of each piece; deviations are charted.", "numbers")]
    model: Annotated[str | None, _column("Model; models share a chart if they agree.", "labels")]
    baseline: Annotated[str, Option("Points that set the limits: all, N or A:B.", "all", lenient=True)]
    center: Annotated[float | None, _number("Centre, given instead of estimated.")]
    sigma: Annotated[float | None, _number("Sigma of one reading, given instead of estimated.")]
    lower: Annotated[float | None, _number("Lower specification limit.", lenient=True)]
    upper: Annotated[float | None, _number("Upper specification limit.", lenient=True)]
    target: Annotated[float | None, _number("Wanted value.", lenient=True)]
    wanted: Annotated[float, Option("Ppk that counts as proven.", 1.0, lenient=True)]
    resolution: Annotated[float | None, _number("Step of the gauge.", lenient=True)]
    rules: Annotated[str, Option("none, limit, all, or rule names with commas.", "limit", lenient=True)]
    limits: Annotated[
        str, Option("textbook, prediction or guaranteed[:CONFIDENCE].", "textbook", lenient=True)
    ]
    shape: Annotated[str, Option("How readings scatter: normal, positive or any.", "normal", lenient=True)]
    fitted: Annotated[
        str | None,
        Option("Capability by normal, lognormal, weibull, half-normal or empirical.", shown="SHAPE"),
    ]
    gauge_sd: Annotated[float | None, _number("Sd of the gauge: its share, capability without it.")]
    weight: Annotated[float | None, _number("Weight of the newest point ({charts}).")]
    width: Annotated[float | None, _number("Width of the limits in sigma ({charts}).")]
    time_varying: Annotated[bool, _flag("Limits that open up ({charts}).")]
    reference: Annotated[float | None, _number("Reference value in sigma (cusum).")]
    decision: Annotated[float | None, _number("Decision interval in sigma (cusum).")]
    fast_start: Annotated[bool, _flag("Begin half way up (cusum).")]
    false_alarm_rate: Annotated[float | None, _number("Per point ({charts}).")]
    counts: Annotated[str | None, Option("defects or pass-fail: judge counts ({charts}).", shown="KIND")]
    exact: Annotated[bool, _flag("Exact limits for counts.")]
    corrected: Annotated[bool, _flag("Limits for counts that scatter too much.")]
    robust: Annotated[bool, _flag("Medians instead of means.")]
    within: Annotated[
        str | None, Option("Spread within pieces ({charts}): range (if left out) or sd.", shown="KIND")
    ]
    screen: Annotated[bool, _flag("Limits without points beyond them.")]
    checks: Annotated[bool, _flag("Check distribution, order, groups and gauge step too.")]
    sheet: Annotated[str | None, Option("Sheet of a workbook.")]
    signals_only: Annotated[bool, _flag("Leave the plotted values out.")]
    out: Annotated[str | Path | None, Option("Write points and signals.", shown="FILE.parquet")]
    plot: Annotated[str | Path | None, Option("Draw as png, svg or html.", shown="FILE")]


_HINTS = get_type_hints(StudyOptions, include_extras=True)
OPTIONS: dict[str, Option] = {
    name: replace(hint.__metadata__[0], type=hint.__origin__) for name, hint in _HINTS.items()
}
"""What is known of every option, in the order of the help."""


def complete(options: Mapping[str, object]) -> StudyOptions:
    """Fill in what holds for every option that is left out.

    Raises
    ------
    StatisticsUsageError
        An option that does not exist, or text where a number is needed.

    Examples
    --------
    >>> complete({"lower": 13.9})["limits"], complete({"rules": ["same-side", "zigzag"]})["rules"]
    ('textbook', 'same-side,zigzag')
    """
    unknown = sorted(set(options) - set(OPTIONS))
    if unknown:
        raise StatisticsUsageError(f"a study has no option {', '.join(repr(name) for name in unknown)}")
    given = {name: _as_stated(name, value) for name, value in options.items() if value is not None}
    return cast(StudyOptions, {name: option.default for name, option in OPTIONS.items()} | given)


def _as_stated(name: str, value: object) -> object:
    """Make an option as its type states it of what notebooks hold: 20 for a size, (5, 24) for a baseline."""
    kinds = set(get_args(OPTIONS[name].type) or (OPTIONS[name].type,))
    if float in kinds:
        try:
            return as_number(f"--{name.replace('_', '-')}", value)
        except UsageError as wrong:
            raise StatisticsUsageError(str(wrong)) from None
    if str not in kinds or isinstance(value, str | Path):
        return value
    if isinstance(value, list | tuple):
        return (":" if name == "baseline" else ",").join(str(_as_stated(name, one)) for one in value)
    number = as_number(name, value)
    return f"{number:g}" if isinstance(number, float) else str(number)


def given(asked: StudyOptions, option: str) -> bool:
    """Whether an option was given and differs from what holds where it is left out."""
    return bool(cast(Arguments, asked)[option] != OPTIONS[option].default)


def columns(asked: StudyOptions, holds: Holds) -> dict[str, str]:
    """Columns that were named, by the options that name them."""
    return {
        name: cast(Arguments, asked)[name]
        for name, option in OPTIONS.items()
        if option.holds == holds and given(asked, name)
    }
