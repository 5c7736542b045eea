"""`qc run-length`: how long a chart runs to a false signal and to a true one, and how to set it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypedDict, Unpack

from qc.plain import Arguments, JsonObject, as_meant
from qc.report.terminal import SHARES, estimated_text, run_lengths_text
from qc.stats import (
    THREE_SIGMA_RATE,
    EstimatedLimits,
    NeverSignals,
    RunLength,
    StatisticsError,
    StatisticsUsageError,
    Tabled,
    cusum_decision,
    cusum_run_length,
    estimated_limits,
    ewma_run_length,
    ewma_width,
    false_alarms,
    guaranteed_run_length_factor,
    mewma_limit,
    mewma_run_length_distribution,
    rule_run_length,
    shewhart_factor,
    shewhart_run_length,
    sigma_estimate,
)

SHIFTS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0)  # common practice, no source
THREE_SIGMA_RUN_LENGTH = round(1 / THREE_SIGMA_RATE, 6)  # of known limits
OPTIONS: dict[str, tuple[str, ...]] = {
    "limits": ("factor", "n", "spread", "wanted", "judged"),
    "rules": ("rules", "spread", "judged"),
    "ewma": ("weight", "width", "start", "time_varying", "spread", "wanted", "judged"),
    "cusum": ("reference", "decision", "sides", "fast_start", "spread", "wanted", "judged"),
    "mewma": ("figures", "weight", "limit", "wanted", "judged"),
    "estimated": ("points", "n", "estimator", "factor", "confidence", "under", "wanted", "judged"),
}
"""Kinds of chart with the options that each takes; all take `shifts`."""

Asked = Mapping[str, Any]


class RunLengthOptions(TypedDict, total=False):
    """Options of all kinds; `OPTIONS` says which goes with which, and None counts as not given.

    Factors, widths and limits are in sigma of a plotted point, `start`, `reference` and `decision` too;
    run lengths and `points` count points.
    """

    factor: float | None
    n: int | None
    rules: str | None
    weight: float | None
    width: float | None
    start: float | None
    time_varying: bool
    reference: float | None
    decision: float | None
    sides: int | None
    fast_start: bool
    figures: int | None
    limit: float | None
    points: int | None
    estimator: str | None
    confidence: float | None
    under: Sequence[float] | None
    spread: float | None
    wanted: float | None
    judged: float | None


@dataclass(frozen=True, slots=True)
class RunLengths(Tabled):
    """Run length of one chart over shifts.

    Attributes
    ----------
    kind : str
        Kind of chart.
    design : mapping
        What sets it, with the value found where a run length was wanted.
    wanted : float, optional
        Wanted in-control run length. [points]
    shifts : tuple of (float, RunLength or None)
        Each shift with its run length, 0 first; None where the chart never signals at it. [sigma]
    judged : float, optional
        Points judged in all.
    """

    ROWS = "shifts"

    kind: str
    design: Mapping[str, Any]
    wanted: float | None
    shifts: tuple[tuple[float, RunLength | None], ...]
    judged: float | None

    @property
    def false_signals(self) -> float | None:
        """False signals to expect in the points judged."""
        still = self.shifts[0][1]
        if self.judged is None:
            return None
        return false_alarms(self.judged, still.mean if still else math.inf)

    def to_dict(self) -> JsonObject:
        """Return the object that `--json` prints."""
        return {
            "kind": self.kind,
            "design": dict(self.design),
            "wanted": self.wanted,
            "shifts": [
                {"shift": shift, **(found.to_dict() if found else _NEVER)} for shift, found in self.shifts
            ],
            "false_signals": self.false_signals,
        }

    def to_text(self) -> str:
        """Return what a person reads: the price and the speed in a sentence, then a table over shifts."""
        return run_lengths_text(self.kind, self.design, self.wanted, self.shifts, self.false_signals)


@dataclass(frozen=True, slots=True)
class EstimatedRunLengths(Tabled):
    """Run lengths that limits estimated from a baseline may have.

    Attributes
    ----------
    design : mapping
        Points, readings in each, estimator and limit factor.
    wanted, confidence : float, optional
        Run length that the factor guarantees, and the share of baselines that keep it.
    shifts : tuple of (float, EstimatedLimits)
        Each shift with its averages, 0 first. [sigma of one reading]
    under : tuple of float
        Run lengths whose chance of not being reached is given. [points]
    worth : float
        Degrees of freedom that the sigma is worth.
    judged : float, optional
        Points judged in all.
    """

    ROWS = "shifts"

    design: Mapping[str, Any]
    wanted: float | None
    confidence: float | None
    shifts: tuple[tuple[float, EstimatedLimits], ...]
    under: tuple[float, ...]
    worth: float
    judged: float | None

    @property
    def false_signals(self) -> float | None:
        """False signals to expect in the points judged, over all baselines."""
        if self.judged is not None and not 0 <= self.judged < math.inf:
            raise StatisticsError(f"false alarms: {self.judged} points judged, at least 0 are needed")
        return None if self.judged is None else self.judged * self.shifts[0][1].signal_rate

    def quantiles(self) -> dict[float, float]:
        """In-control run lengths that these shares of baselines stay under."""
        still = self.shifts[0][1]
        return {share: still.run_length_quantile(share) for share in SHARES}

    def chances(self) -> dict[float, float]:
        """Chance of one's own limits running under each length in `under`."""
        return {length: self.shifts[0][1].chance_under(length) for length in self.under}

    def to_dict(self) -> JsonObject:
        """Return the object that `--json` prints; an average that does not exist is null."""
        rows = []
        for shift, found in self.shifts:
            row = found.to_dict()
            del row["points"], row["factor"]
            rows.append({**row, "shift": shift})
        return {
            "kind": "estimated",
            "design": dict(self.design),
            "wanted": self.wanted,
            "confidence": self.confidence,
            "degrees_of_freedom": self.worth,
            "shifts": rows,
            "own_limits": {
                "quantiles": {
                    f"{share:g}": length if math.isfinite(length) else None
                    for share, length in self.quantiles().items()
                },
                "chance_under": {f"{length:g}": chance for length, chance in self.chances().items()},
            },
            "false_signals": self.false_signals,
        }

    def to_text(self) -> str:
        """Return what a person reads: what one's own limits may do, then the averages over shifts."""
        promise = None
        if self.wanted is not None and self.confidence is not None:
            promise = self.wanted, self.confidence
        return estimated_text(
            self.design,
            self.shifts,
            self.quantiles(),
            self.chances(),
            worth=self.worth,
            promise=promise,
            false_signals=self.false_signals,
        )


@as_meant
def run_lengths(
    kind: str, *, shifts: Sequence[float] = SHIFTS, **options: Unpack[RunLengthOptions]
) -> RunLengths | EstimatedRunLengths:
    """Run length of a chart, in control and shifted; with `wanted` also the setting that gives it.

    Parameters
    ----------
    kind : str
        `limits`, `rules`, `ewma`, `cusum`, `mewma` or `estimated`.
    shifts : sequence of float
        Shifts of the process; 0 is always among the answers. [sigma of one reading]
    **options
        As `OPTIONS` lists them for each kind; None counts as not given.

    Returns
    -------
    RunLengths or EstimatedRunLengths
        With `to_dict()` and `to_text()`.

    Raises
    ------
    StatisticsUsageError
        An unknown kind, an option that does not go with it, or one that is missing.
    StatisticsError
        A value out of range.

    Examples
    --------
    >>> found = run_lengths("cusum", reference=0.5, wanted=500)
    >>> round(found.design["decision"], 3), round(found.shifts[2][1].mean, 1)
    (5.071, 10.5)
    """
    if kind not in OPTIONS:
        raise StatisticsUsageError(f"kind {kind!r} is not known: use one of {', '.join(OPTIONS)}")
    given: Arguments = {name: one for name, one in options.items() if one is not None and one is not False}
    for name in given:
        if name not in OPTIONS[kind]:
            flag = "--" + name.replace("_", "-")
            raise StatisticsUsageError(f"{flag} does not go with {kind}: leave it out")
    # the unshifted chart comes first whatever was asked: its run length is the price
    over = tuple(dict.fromkeys((0.0, *(float(shift) for shift in shifts))))
    if not all(math.isfinite(shift) for shift in over):
        raise StatisticsError("run length: a shift is not a number")
    if kind == "estimated":
        return _estimated(given, over)
    design, chart = _CHARTS[kind](given)
    rows = tuple((shift, _or_never(chart, shift)) for shift in over)
    return RunLengths(kind, design, given.get("wanted"), rows, given.get("judged"))


Chart = Callable[[float], RunLength]

_NEVER: Mapping[str, None] = {"mean": None, "sd": None, "quantiles": None}
"""What stands in the JSON of a shift at which a chart never signals."""


def _or_never(chart: Chart, shift: float) -> RunLength | None:
    """Return the run length at a shift: a rule for points near the centre never signals far from it."""
    try:
        return chart(shift)
    except NeverSignals:
        return None


def _limits(given: Asked) -> tuple[JsonObject, Chart]:
    """Limits without memory."""
    n = given.get("n", 1)
    factor = _either(given, "factor", shewhart_factor, 3.0)
    spread = given.get("spread", 1.0)
    design = {"factor": factor, "n": n, "spread": spread}
    return design, lambda shift: shewhart_run_length(factor, shift, n=n, sd_ratio=spread)


def _rules(given: Asked) -> tuple[JsonObject, Chart]:
    """Pattern rules, alone or together."""
    rules, spread = given.get("rules", "all"), given.get("spread", 1.0)
    return {"rules": rules, "spread": spread}, lambda shift: rule_run_length(rules, shift, sd_ratio=spread)


def _ewma(given: Asked) -> tuple[JsonObject, Chart]:
    """EWMA with fixed or growing limits."""
    weight, growing = given.get("weight", 0.2), bool(given.get("time_varying"))
    width = _either(given, "width", lambda wanted: ewma_width(weight, wanted, time_varying=growing), 3.0)
    start, spread = given.get("start", 0.0), given.get("spread", 1.0)
    design = {"weight": weight, "width": width, "start": start, "time_varying": growing, "spread": spread}
    return design, lambda shift: ewma_run_length(
        weight, width, shift, sd_ratio=spread, start=start, time_varying=growing
    )


def _cusum(given: Asked) -> tuple[JsonObject, Chart]:
    """CUSUM of one or two sides, with or without a fast start."""
    reference, sides = given.get("reference", 0.5), given.get("sides", 2)
    share = 0.5 if given.get("fast_start") else 0.0
    decision = _either(
        given,
        "decision",
        lambda wanted: cusum_decision(reference, wanted, sides=sides, head_start_share=share),
        5.0,
    )
    spread = given.get("spread", 1.0)
    design = {
        "reference": reference,
        "decision": decision,
        "sides": sides,
        "fast_start": share > 0.0,
        "spread": spread,
    }
    return design, lambda shift: cusum_run_length(
        reference, decision, shift, sides=sides, sd_ratio=spread, head_start=share * decision
    )


def _mewma(given: Asked) -> tuple[JsonObject, Chart]:
    """Multivariate EWMA."""
    if "figures" not in given:
        raise StatisticsUsageError("mewma needs --figures N: how many figures are judged together")
    figures, weight = given["figures"], given.get("weight", 0.1)
    limit = _either(
        given,
        "limit",
        lambda wanted: mewma_limit(figures, weight, wanted),
        lambda: mewma_limit(figures, weight, 200.0),
    )
    design = {"figures": figures, "weight": weight, "limit": limit}
    return design, lambda shift: mewma_run_length_distribution(figures, weight, limit, shift)


def _estimated(given: Asked, shifts: tuple[float, ...]) -> EstimatedRunLengths:
    """Limits estimated from a baseline."""
    if "points" not in given:
        raise StatisticsUsageError("estimated needs --points N: how many points the limits rest on")
    points, n = given["points"], given.get("n", 1)
    if n < 1:
        raise StatisticsError(f"estimated limits: points of {n} readings, at least 1 is needed")
    estimator = given.get("estimator", "moving-range" if n == 1 else "range")
    wanted, sure = given.get("wanted"), given.get("confidence", 0.9)
    if "confidence" in given and wanted is None:
        raise StatisticsUsageError("--confidence needs --wanted N: the run length to be guaranteed")
    factor = _either(
        given,
        "factor",
        lambda wanted: guaranteed_run_length_factor(points, wanted, sure, n=n, estimator=estimator),
        3.0,
    )
    found = tuple(
        (
            shift,
            # the shift is in sigma of one reading, the limits are of a mean of n
            estimated_limits(points, n=n, factor=factor, shift=shift * math.sqrt(n), estimator=estimator),
        )
        for shift in shifts
    )
    design = {"points": points, "n": n, "estimator": estimator, "factor": factor}
    under = tuple(given.get("under", ())) or (100.0, THREE_SIGMA_RUN_LENGTH if wanted is None else wanted)
    worth = sigma_estimate(points, n=n, estimator=estimator).df
    confidence = None if wanted is None else sure
    return EstimatedRunLengths(design, wanted, confidence, found, under, worth, given.get("judged"))


def _either(
    given: Asked, name: str, solved: Callable[[float], float], usual: float | Callable[[], float]
) -> float:
    """Take a setting as given, as the wanted run length calls for, or as usual."""
    if "wanted" in given and name in given:
        raise StatisticsUsageError(f"--wanted finds --{name}: give one of the two")
    if "wanted" in given:
        return solved(given["wanted"])
    if name in given:
        return float(given[name])
    return usual() if callable(usual) else usual


_CHARTS: dict[str, Callable[[Asked], tuple[JsonObject, Chart]]] = {
    "limits": _limits,
    "rules": _rules,
    "ewma": _ewma,
    "cusum": _cusum,
    "mewma": _mewma,
}
