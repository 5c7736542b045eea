"""Points in, verdict out: behaviour, signals, stretches, capability and the sentences that say them.

Behaviour asks whether the series is the same process as before, capability whether the process keeps its
limits. The two are judged apart: a steady series may be hopeless and a drifting one may still be well
inside.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from qc.plan import Characteristic, Limits, Plan, Stage
from qc.stats import (
    StatisticsError,
    capability,
    fraction_outside,
    fraction_outside_interval,
    guaranteed_factor,
    one_sided_bound,
    two_sided_bound,
)
from qc.watch.factors import Factors
from qc.watch.findings import Finding, find_changes
from qc.watch.points import Points
from qc.watch.results import (
    Capable,
    Forecast,
    Point,
    SeriesKey,
    SeriesVerdict,
    SignalResult,
    StretchResult,
    Suspect,
)
from qc.watch.suspects import find_suspects
from qc.watch.wear import fittings, forecast_wear, line_ends, worn_tool
from qc.watch.words import because_sentence, day_words, signal_sentence

Floats = NDArray[np.float64]

LEARNING = 4
"""The detector speaks from the fourth piece on."""

LEAST_FOR_NO = 5
"""From so few pieces on a series may be called not capable; proven needs the 20 of the capability study."""

GUARANTEE = 0.90
"""Confidence of the limits of the settled state."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is to be judged: one series of the plan on one day.

    Attributes
    ----------
    plan, stage, characteristic, family
        Which series.
    rate : float
        Chance of a false signal per point, from the budget.
    today : date
        The day asked about.
    settled : collection of str
        Serials at which a closed signal began whose new level was taken as the settled state.
    """

    plan: Plan
    stage: Stage
    characteristic: Characteristic
    family: str
    rate: float
    today: date
    settled: Collection[str] = ()

    @property
    def key(self) -> SeriesKey:
        """Name of the series."""
        return SeriesKey(self.stage.id, self.characteristic.id, self.family)


def judge(question: Question, reduced: Points, factors: Factors) -> SeriesVerdict:
    """Judge one series.

    Parameters
    ----------
    question : Question
        Which series, at which false-alarm rate.
    reduced : Points
        Its points, from `series_points`.
    factors : Factors
        What was recorded around each piece, from `collect_factors`.

    Returns
    -------
    SeriesVerdict
        Complete, also for a series without a single piece.
    """
    points = reduced.points
    finding = find_changes(question.characteristic, points, question.rate)
    signals = tuple(_signal(question, points, s, factors) for s in finding.signals)
    lasting = [s for s in signals if s.ended is None and s.kind != "single"]
    drifting = [s for s in lasting if s.start_serial not in question.settled]
    stretches = _stretches(question.characteristic, points, signals)
    present = _present(points, signals)
    limits, uneven = _common_limits(question, points, centered=reduced.centered)
    proof = _capability(question, present, limits)
    forecast = forecast_wear(question.characteristic, points, limits, question.today, question.plan)
    settled = (None, None) if drifting else _settled_limits(present, question.rate)
    behaviour: Literal["learning", "steady", "drifting"] = (
        "learning" if len(points) < LEARNING else "drifting" if drifting else "steady"
    )
    return SeriesVerdict(
        key=question.key,
        stage_name=question.stage.name,
        name=question.characteristic.name,
        unit=question.characteristic.unit,
        kind=question.characteristic.kind,
        pieces=len(points),
        behaviour=behaviour,
        capable=proof.capable,
        ppk=proof.ppk,
        ppk_low=proof.low,
        ppk_high=proof.high,
        ppk_reason=proof.reason,
        outside_share=proof.outside,
        outside_low=proof.outside_low,
        outside_high=proof.outside_high,
        target=limits.target,
        lower=limits.lower,
        upper=limits.upper,
        natural_lower=settled[0],
        natural_upper=settled[1],
        rests_on=len(present),
        sd_between=reduced.between,
        sd_within=reduced.within,
        centered=reduced.centered,
        points=points,
        stretches=stretches,
        signals=signals,
        forecast=forecast,
        notes=(*finding.notes, *uneven, *_left_out(reduced)),
        worst=_worst(behaviour, proof, drifting, forecast, question.today),
        capability=proof.contract,
    )


@dataclass(frozen=True, slots=True)
class _Proof:
    capable: Literal["proven", "unproven", "no", ""] = ""
    ppk: float | None = None
    low: float | None = None
    high: float | None = None
    reason: str = ""
    outside: float | None = None
    outside_low: float | None = None
    outside_high: float | None = None
    contract: dict[str, Any] = field(default_factory=dict)


def _signal(question: Question, points: Sequence[Point], found: Finding, factors: Factors) -> SignalResult:
    first, raised = points[found.start - 1], points[found.point - 1]
    last = len(points) if found.ended is None else found.ended - 1
    result = SignalResult(
        kind=found.kind,
        side=found.side,
        raised=found.point,
        raised_serial=raised.serial,
        raised_day=raised.day,
        start=found.start,
        start_serial=first.serial,
        start_day=first.day,
        start_low=found.start_low,
        start_high=found.start_high,
        size=found.size,
        size_low=found.size_low,
        size_high=found.size_high,
        size_sigma=found.size_sigma,
        unit=question.characteristic.unit,
        rate=question.rate,
        pieces=last - found.start + 1,
        ended=found.ended,
    )
    stage_index = [s.id for s in question.plan.stages].index(question.stage.id)
    suspects, unchanged = find_suspects(points, result, factors, question.plan, stage_index, question.today)
    worn = worn_tool(question.characteristic, points, result, question.plan)
    if worn is not None:
        suspects = (worn, *(s for s in suspects if s.name != worn.name))
        unchanged = tuple(kind for kind in unchanged if kind != "tool")
    return _said(question, points, result, suspects, unchanged)


def _said(
    question: Question,
    points: Sequence[Point],
    signal: SignalResult,
    suspects: tuple[Suspect, ...],
    unchanged: tuple[str, ...],
) -> SignalResult:
    sentence = signal_sentence(
        question.characteristic,
        question.family,
        signal.kind,
        signal.side,
        signal.size,
        signal.start_serial,
        signal.start_day,
        question.today,
    )
    because = because_sentence([s.sentence for s in suspects], unchanged, signal.pieces)
    if signal.ended is not None:
        back = points[signal.ended - 1]
        because += f" Over since {back.serial} ({day_words(back.day, question.today)})."
    newest = points[-1].serial
    step = question.characteristic.next_step or f"re-measure {newest}, then check the gauge's zero."
    return replace(
        signal, suspects=suspects, unchanged=unchanged, sentence=sentence, because=because, next_step=step
    )


def _stretches(
    characteristic: Characteristic, points: Sequence[Point], signals: Sequence[SignalResult]
) -> tuple[StretchResult, ...]:
    """Cut the series at the starts (and ends) of its changes, and where a wearing tool was fitted anew."""
    if not points:
        return ()
    cuts = {1: False}
    tools = fittings(points) if characteristic.wears_with else []
    cuts.update({places[0] + 1: False for places in tools[1:]})
    for signal in signals:
        if signal.kind != "single":
            cuts[signal.start] = True
            if signal.ended is not None:
                cuts[signal.ended] = False
    firsts = sorted(cuts)
    lasts = [first - 1 for first in firsts[1:]] + [len(points)]
    found = []
    for first, last in zip(firsts, lasts, strict=True):
        own = points[first - 1 : last]
        values = np.array([p.value for p in own])
        sd = float(values.std(ddof=1)) if values.size > 1 else None
        ends = line_ends(own) if tools else None
        found.append(
            StretchResult(
                first,
                last,
                float(values.mean()),
                sd,
                int(values.size),
                cuts[first],
                *(ends or (None, None)),
            )
        )
    return tuple(found)


def _present(points: Sequence[Point], signals: Sequence[SignalResult]) -> list[Point]:
    """Return the points of the present state: since the last lasting change, without ended excursions."""
    lasting = [s for s in signals if s.kind in {"shift", "trend", "spread", "count"}]
    begin = max((s.start for s in lasting if s.ended is None), default=1)
    away: set[int] = set()
    for signal in lasting:
        if signal.ended is not None:
            away.update(range(signal.start, signal.ended))
    return [p for p in points if p.ordinal >= begin and p.ordinal not in away]


def _common_limits(
    question: Question, points: Sequence[Point], *, centered: bool
) -> tuple[Limits, tuple[str, ...]]:
    """Limits on the scale of the points; where models differ there, the narrowest of the present ones."""
    own = question.plan.models_of(question.characteristic)
    models = dict.fromkeys(p.model for p in points) or {m.id: None for m in own}
    day = points[-1].day if points else question.today
    each = [question.plan.limits(question.characteristic, model, day) for model in models]
    scaled = {tuple(_less(v, x, centered) for v in (x.target, x.lower, x.upper)) for x in each}
    lowers = [low for _, low, _ in scaled if low is not None]
    uppers = [high for _, _, high in scaled if high is not None]
    targets = {target for target, _, _ in scaled}
    note: tuple[str, ...] = ()
    if len({(low, high) for _, low, high in scaled}) > 1:
        note = ("The models of this series have different limits; the narrowest are shown.",)
    target = targets.pop() if len(targets) == 1 else None
    return Limits(
        target=target, lower=max(lowers) if lowers else None, upper=min(uppers) if uppers else None
    ), note


def _less(value: float | None, limits: Limits, centered: bool) -> float | None:
    return value - (limits.target or 0.0) if centered and value is not None else value


def _capability(question: Question, present: Sequence[Point], limits: Limits) -> _Proof:
    if limits.lower is None and limits.upper is None:
        return _Proof(reason="The plan has no limits for this figure.")
    if question.characteristic.kind != "measured":
        return _Proof(reason="A count has no capability index; see the share of faults.")
    if len(present) < LEARNING:
        return _Proof("unproven", reason=f"{len(present)} of {LEARNING} pieces.")
    values = np.array([p.value for p in present])
    wanted = question.plan.workshop.wanted_ppk
    try:
        result = capability(
            values, lower=limits.lower, upper=limits.upper, target=limits.target, wanted=wanted
        )
        sd = float(values.std(ddof=1))
        share, low, high = _outside(values, sd, limits)
    except StatisticsError as error:
        return _Proof("unproven", reason=f"{error}.")
    capable: Capable = result.capable
    if result.ppk is None and len(present) >= LEAST_FOR_NO and sd > 0:
        capable = "no" if _ppk_at_most(values, limits) < wanted else "unproven"
    interval = result.ppk_interval or (None, None)
    return _Proof(
        capable=capable,
        ppk=result.ppk,
        low=interval[0],
        high=interval[1],
        reason=result.reason or "",
        outside=share,
        outside_low=low,
        outside_high=high,
        contract=result.to_dict(),
    )


def _outside(values: Floats, sd: float, limits: Limits) -> tuple[float | None, float | None, float | None]:
    """Return the expected share outside the limits and its interval; nothing where there is no scatter."""
    if not sd > 0:
        return None, None, None
    mean = float(values.mean())
    low, high = fraction_outside_interval(mean, sd, values.size, lower=limits.lower, upper=limits.upper)
    return fraction_outside(mean, sd, lower=limits.lower, upper=limits.upper), low, high


def _ppk_at_most(values: Floats, limits: Limits) -> float:
    """One-sided 95 % upper bound of Ppk, for a 'no' from few pieces."""
    n, mean, sd = values.size, float(values.mean()), float(values.std(ddof=1))
    sides = [
        (edge - mean) / (3 * sd) * sign
        for edge, sign in ((limits.upper, 1.0), (limits.lower, -1.0))
        if edge is not None
    ]
    bound = two_sided_bound if len(sides) == 2 else one_sided_bound
    return float(bound(min(sides), 0.95, n, n - 1))


def _settled_limits(present: Sequence[Point], rate: float) -> tuple[float | None, float | None]:
    """Limits for the next piece that hold the false-alarm rate with 90 % confidence, whatever n."""
    values = np.array([p.value for p in present])
    if values.size < LEARNING or not float(values.std(ddof=1)) > 0:
        return None, None
    half = guaranteed_factor(values.size, rate, GUARANTEE) * float(values.std(ddof=1))
    return float(values.mean()) - half, float(values.mean()) + half


def _left_out(reduced: Points) -> tuple[str, ...]:
    if not reduced.left_out:
        return ()
    return (f"No point for {', '.join(reduced.left_out)}: under half of the places were read.",)


def _worst(
    behaviour: str, proof: _Proof, drifting: Sequence[SignalResult], forecast: Forecast | None, today: date
) -> float:
    """Sort key of the board: drifting first, by size and by what is likely outside; then dies running out."""
    score = {"no": 2.0, "unproven": 1.0}.get(proof.capable, 0.0)
    if behaviour == "drifting":
        size = max((abs(s.size_sigma or 0.0) for s in drifting), default=0.0)
        score += 10.0 + min(size, 9.0) + 10.0 * (proof.outside or 0.0)
    if forecast is not None and forecast.change_by_day is not None:
        score += max(0.0, 5.0 - max((forecast.change_by_day - today).days, 0) / 7)
    return round(score, 4)
