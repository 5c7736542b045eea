"""Points in, verdict out: behaviour, signals, stretches, capability and the sentences that say them.

Behaviour asks whether the series is the same process as before, capability whether the process keeps its
limits. The two are judged apart: a steady series may be hopeless and a drifting one may still be well
inside.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qc.plan import Characteristic, Limits, Plan, Stage
from qc.stats import guaranteed_factor
from qc.watch.capability import LEARNING, Proof, prove
from qc.watch.causes import Factors, find_suspects
from qc.watch.changes import (
    Finding,
    KeptStates,
    find_changes,
    fittings,
    forecast_wear,
    in_use,
    line_ends,
    line_limits,
    own_fitting,
    worn_tool,
)
from qc.watch.decisions import Decisions, decision_notes, without
from qc.watch.results import (
    Forecast,
    Point,
    SeriesKey,
    SeriesVerdict,
    SignalResult,
    StretchResult,
    Suspect,
)
from qc.watch.series import Points
from qc.watch.words import because_sentence, day_words, signal_sentence

Floats = NDArray[np.float64]

Behaviour = Literal["learning", "steady", "drifting"]

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
        Serials at which closed signals were raised (or began) whose new level was taken as the settled state.
    rates : sequence of float
        Chance of a false signal of each point, from the budget of its month; empty: `rate` for all.
    decisions : Decisions
        The settled state that a lead froze, and stretches left out.
    before : int
        Pieces made before the first one given.
    """

    plan: Plan
    stage: Stage
    characteristic: Characteristic
    family: str
    rate: float
    today: date
    settled: Collection[str] = ()
    rates: Sequence[float] = ()
    decisions: Decisions = Decisions()
    before: int = 0

    @property
    def key(self) -> SeriesKey:
        """Name of the series."""
        return SeriesKey(self.stage.id, self.characteristic.id, self.family)


def judge(question: Question, reduced: Points, factors: Factors | Callable[[], Factors]) -> SeriesVerdict:
    """Judge one series.

    Parameters
    ----------
    question : Question
        Which series, at which false-alarm rate.
    reduced : Points
        Its points, from `series_points`.
    factors : Factors or callable
        What was recorded around each piece, from `collect_factors`; a callable is asked only where something
        was found.

    Returns
    -------
    SeriesVerdict
        Complete, also for a series without a single piece.
    """
    return judge_further(question, reduced, factors, {})[0]


def judge_further(
    question: Question, reduced: Points, factors: Factors | Callable[[], Factors], kept: KeptStates
) -> tuple[SeriesVerdict, KeptStates]:
    """Judge one series, going on from where it was judged before.

    Parameters
    ----------
    question, reduced, factors
        As for `judge`; the points of the whole window.
    kept : mapping of str to Course
        What the last judging left, empty the first time; anything may have changed since.

    Returns
    -------
    SeriesVerdict
        That of `judge`, bit for bit.
    mapping of str to Course
        To be kept for the next time.
    """
    points = without(reduced.points, question.decisions.left_out)
    once = _frozen(question, points)
    finding = find_changes(question.characteristic, points, question.rates or question.rate, once, kept)
    # what was made on an earlier fitting of a tool stays judged by it; the present one has a line of its own
    frozen = None if once and _wears(question, points) and not in_use(points, once[1]) else once
    around = factors() if callable(factors) and finding.signals else factors
    known = Factors() if callable(around) else around
    signals = tuple(_signal(question, points, s, known) for s in finding.signals)
    lasting = [s for s in signals if s.ended is None and s.kind != "single"]
    drifting = [
        s
        for s in lasting
        if not {s.start_serial, s.raised_serial} & {*question.settled} and (not frozen or s.start > frozen[1])
    ]
    stretches = _stretches(question.characteristic, points, signals)
    present = _present(points, signals, frozen)
    state = present if not frozen else [p for p in present if p.ordinal <= frozen[1]] or present
    limits, uneven = _common_limits(question, points, centered=reduced.centered)
    moving = any(s.kind == "trend" and present and s.start == present[0].ordinal for s in lasting)
    proof = prove(question.plan, question.characteristic, present, limits, moving=moving)
    off_line = next((s.start for s in reversed(lasting) if s.kind in {"shift", "trend"}), None)
    forecast = forecast_wear(question.characteristic, points, limits, question.today, question.plan, off_line)
    settled = (None, None) if drifting else _settled_limits(question, points, state)
    behaviour: Behaviour = "learning" if len(points) < LEARNING else "drifting" if drifting else "steady"
    verdict = SeriesVerdict(
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
        notes=(*finding.notes, *uneven, *_left_out(reduced), *_decided(question, points, frozen)),
        worst=_worst(behaviour, proof, drifting, forecast, question.today),
        capability=proof.contract,
        before=question.before,
        baseline_first=frozen[0] if frozen else None,
        baseline_last=frozen[1] if frozen else None,
    )
    return verdict, finding.kept


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
        rate=float(question.rates[found.point - 1]) if question.rates else question.rate,
        pieces=sum(not p.left_out for p in points[found.start - 1 : last]),
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
        values = np.array([p.value for p in own if not p.left_out] or [p.value for p in own])
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


def _frozen(question: Question, points: Sequence[Point]) -> tuple[int, int] | None:
    """Return the ordinals of the frozen settled state; where a tool wears, those of one fitting of it."""
    baseline = question.decisions.baseline
    span = None if baseline is None else baseline.ordinals(points)
    return own_fitting(points, span) if span is not None and _wears(question, points) else span


def _wears(question: Question, points: Sequence[Point]) -> bool:
    """Say whether the series is judged about the line of a tool."""
    return bool(question.characteristic.wears_with) and any(p.tool_count is not None for p in points)


def _present(
    points: Sequence[Point], signals: Sequence[SignalResult], frozen: tuple[int, int] | None
) -> list[Point]:
    """Return the points of the present state: since the last lasting change, without ended excursions.

    A frozen state is the present one until a later change ends it.
    """
    lasting = [s for s in signals if s.kind in {"shift", "trend", "spread", "count"}]
    first, settled = frozen or (1, 0)
    begin = max((s.start for s in lasting if s.ended is None and s.start > settled), default=first)
    away: set[int] = set()
    for signal in lasting:
        if signal.ended is not None:
            away.update(range(signal.start, signal.ended))
    return [p for p in points if p.ordinal >= begin and p.ordinal not in away and not p.left_out]


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


def _settled_limits(
    question: Question, points: Sequence[Point], present: Sequence[Point]
) -> tuple[float | None, float | None]:
    """Limits for the next piece; without wear they hold the false-alarm rate with 90 % confidence."""
    if _wears(question, points):
        return line_limits(points, present, question.rate)
    values = np.array([p.value for p in present])
    if values.size < LEARNING or not float(values.std(ddof=1)) > 0:
        return None, None
    half = guaranteed_factor(values.size, question.rate, GUARANTEE) * float(values.std(ddof=1))
    return float(values.mean()) - half, float(values.mean()) + half


def _decided(question: Question, points: Sequence[Point], frozen: tuple[int, int] | None) -> tuple[str, ...]:
    wears = _wears(question, points)
    earlier = f"{question.before} pieces made before the first one shown are no longer read."
    told = decision_notes(question.decisions, points, wears=wears, frozen=frozen)
    return (*((earlier,) if question.before else ()), *told)


def _left_out(reduced: Points) -> tuple[str, ...]:
    if not reduced.left_out:
        return ()
    return (f"No point for {', '.join(reduced.left_out)}: under half of the places were read.",)


def _worst(
    behaviour: str, proof: Proof, drifting: Sequence[SignalResult], forecast: Forecast | None, today: date
) -> float:
    """Sort key of the board: drifting first, by size and by what is likely outside; then dies running out."""
    score = {"no": 2.0, "unproven": 1.0}.get(proof.capable, 0.0)
    if behaviour == "drifting":
        size = max((abs(s.size_sigma or 0.0) for s in drifting), default=0.0)
        score += 10.0 + min(size, 9.0) + 10.0 * (proof.outside or 0.0)
    if forecast is not None and forecast.change_by_day is not None:
        score += max(0.0, 5.0 - max((forecast.change_by_day - today).days, 0) / 7)
    return round(score, 4)
