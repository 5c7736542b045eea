"""Which chart kinds there are: a line each says what it judges, what it needs and which options act on it.

That line and the function of the same name in `qc.stats.studies.building` are all that a kind consists of:
the command's help, what is refused and what is said to do nothing follow. Nothing heavy is loaded.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from qc.stats.errors import StatisticsUsageError

if TYPE_CHECKING:
    import polars as pl

    from qc.stats.studies.outcome import Outcomes
    from qc.stats.studies.question import StudyQuestion

Sigma = Literal["moving-range", "subgroups", "pieces", "line", "sample"]


@dataclass(frozen=True, slots=True)
class Kind:
    """A chart kind.

    Attributes
    ----------
    name : str
        As it is asked for; with underscores that of its function.
    takes : tuple of str
        Options that act on it. One that no kind names acts on all of them.
    needs : tuple of str
        Columns it cannot do without.
    measured, several : bool
        False for counts; true where a piece has several figures.
    sigma : str
        What the spread behind Cp and Cpk is taken from: moving ranges of the points, the spread within
        subgroups, within and between pieces, about a line, or the sample.
    independent : bool
        Whether its points are readings or means of pieces, so that neighbours that hang together make its
        limits doubtful.
    """

    name: str
    takes: tuple[str, ...]
    needs: tuple[str, ...] = ()
    measured: bool = True
    several: bool = False
    sigma: Sigma = "sample"
    independent: bool = False

    @property
    def counts_pieces(self) -> bool:
        """Whether its answer rests on how many pieces there are: one measured figure a piece."""
        return self.measured and not self.several

    def build(self, frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
        """Chart every series of an arranged frame."""
        from qc.stats.studies import building

        outcomes: Outcomes = getattr(building, self.name.replace("-", "_"))(frame, question)
        return outcomes


LEVEL = ("baseline", "rules", "center")
COUNTS = (*LEVEL, "lower", "upper", "exact")
FIGURE = (
    "lower",
    "upper",
    "target",
    "wanted",
    "resolution",
    "shape",
    "fitted",
    "gauge_sd",
    "nominal",
    "model",
)
ONE = (*FIGURE, *LEVEL, "sigma", "subgroup")
SUMS = ("reference", "decision", "fast_start")

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("individuals", (*ONE, "limits", "robust", "screen"), sigma="moving-range", independent=True),
        Kind("mean-range", (*ONE, "limits", "screen"), needs=("subgroup",), sigma="subgroups"),
        Kind("mean-sd", (*ONE, "limits", "screen"), needs=("subgroup",), sigma="subgroups"),
        Kind(
            "three-way",
            (*ONE, "limits", "robust", "place", "within"),
            needs=("subgroup",),
            sigma="pieces",
            independent=True,
        ),
        Kind("ewma", (*ONE, "robust", "weight", "width", "time_varying"), sigma="moving-range"),
        Kind("cusum", (*ONE, "robust", *SUMS), sigma="moving-range"),
        Kind("self-starting", (*FIGURE, "rules", "center", "sigma", "subgroup", *SUMS)),
        Kind("changepoint", (*FIGURE, "subgroup", "size", "against", "tool", "counts", "false_alarm_rate")),
        Kind("trend", (*FIGURE, "baseline", "rules", "sigma", "limits"), needs=("against",), sigma="line"),
        Kind("t2", ("baseline", "rules", "false_alarm_rate", "subgroup"), several=True),
        Kind("mewma", ("baseline", "rules", "false_alarm_rate", "weight"), several=True),
        Kind("defects", (*COUNTS, "corrected"), measured=False),
        Kind("defects-per-unit", (*COUNTS, "corrected"), needs=("size",), measured=False),
        Kind("number-defective", (*COUNTS, "corrected"), needs=("size",), measured=False),
        Kind("proportion", (*COUNTS, "corrected"), needs=("size",), measured=False),
        Kind("time-between", (*COUNTS, "limits"), measured=False),
    )
}


def takers(option: str) -> tuple[str, ...]:
    """Name the kinds that an option acts on: those that need it first; none where it acts on all.

    Examples
    --------
    >>> takers("against"), takers("weight"), takers("order")
    (('trend', 'changepoint'), ('ewma', 'mewma'), ())
    """
    needing = [name for name, kind in KINDS.items() if option in kind.needs]
    return tuple(dict.fromkeys(needing + [name for name, kind in KINDS.items() if option in kind.takes]))


def kind_of(chart: str) -> Kind:
    """Look a kind up.

    Raises
    ------
    StatisticsUsageError
        With the charts there are.
    """
    if chart not in KINDS:
        raise StatisticsUsageError(f"chart {chart!r} is not known: use one of {', '.join(KINDS)}")
    return KINDS[chart]


def check_question(question: StudyQuestion) -> Kind:
    """Look the kind of a question up and refuse what does not go with it.

    Raises
    ------
    StatisticsUsageError
        An unknown kind, or an option that the kind cannot take.
    """
    kind, setting = kind_of(question.chart), question.setting
    if not {"center", "sigma"} & set(kind.takes) and not (setting.center is None and setting.sigma is None):
        raise StatisticsUsageError(f"chart {question.chart} estimates its own level and spread: give neither")
    if "limits" not in kind.takes and setting.limits.method != "textbook":
        raise StatisticsUsageError(f"chart {question.chart} has one kind of limits: leave --limits out")
    if kind.several and question.has_limits:
        raise StatisticsUsageError(f"chart {question.chart} judges several figures: give no limits of one")
    if question.screen and "screen" not in kind.takes:
        raise StatisticsUsageError(f"screening is for {', '.join(takers('screen'))}")
    if question.counts is not None and "counts" not in kind.takes:
        charts = ", ".join(takers("counts"))
        raise StatisticsUsageError(f"counts are named for chart {charts} only: the others are of one kind")
    return kind if question.counts is None else replace(kind, measured=False)
