"""Points in, verdict out: behaviour, signals, stretches, capability and the sentences that say them.

Behaviour asks whether the series is the same process as before, capability whether the process keeps its
limits. The two are judged apart: a steady series may be hopeless and a drifting one may still be well
inside.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial

from qc.plan import Characteristic, DatedLimits, Plan, Stage
from qc.stats import Noise
from qc.watch.capability import judge_limits, urgency
from qc.watch.carried import told_over, told_suspects, with_kept
from qc.watch.causes import FactorLevels, find_suspects, still_unchanged, without_explained
from qc.watch.changes import (
    FoundChange,
    KeptStates,
    LevelCourse,
    apart_from,
    begun_with,
    course_of,
    result_of,
)
from qc.watch.common_limits import common_limits, earlier_limits, target_notes
from qc.watch.gauges import FoundOff
from qc.watch.mends import after_mend, begun_before, opened_again
from qc.watch.reaction import again_step, better_step, is_good_news
from qc.watch.results import (
    LEARNING,
    Behaviour,
    Point,
    Scatter,
    SeriesKey,
    SeriesVerdict,
    SignalResult,
)
from qc.watch.scatter import scatter_of
from qc.watch.series import Points, sources_of
from qc.watch.series_decisions import Decisions, decision_notes, without
from qc.watch.settling import limits_broken_by, standing_of
from qc.watch.sisters import LotsBy
from qc.watch.words import because_sentence, pace_of, signal_sentence
from qc.words import day_words

Around = FactorLevels | Callable[[], FactorLevels]


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
    noise : sequence of Noise
        How pieces scatter, as far as it was known in the period of each point; empty: what is taken for
        granted where nothing has been learned.
    lots : sequence of str or None
        The lot of each point; empty where none are recorded.
    periods : sequence of date
        First day of the period whose noise each point has.
    lots_by : str
        The word that tells the lots.
    closed : sequence of SignalResult
        Signals of the series that people closed, as they were told last; those whose cause was mended are
        among its decisions.
    stays : sequence of SignalResult
        Of these the ones whose new level is the settled state.
    told : sequence of SignalResult
        All findings of the series, open and closed, as they were told last.
    off : sequence of FoundOff
        Stretches in which a gauge read wrongly, by its checks.
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
    noise: Sequence[Noise] = ()
    lots: Sequence[str | None] = ()
    periods: Sequence[date] = ()
    lots_by: LotsBy = ""
    closed: Sequence[SignalResult] = ()
    stays: Sequence[SignalResult] = ()
    told: Sequence[SignalResult] = ()
    off: Sequence[FoundOff] = ()

    @property
    def key(self) -> SeriesKey:
        """Name of the series."""
        return SeriesKey(self.stage.id, self.characteristic.id, self.family)


def judge(question: Question, reduced: Points, factors: Around) -> SeriesVerdict:
    """Judge one series.

    Parameters
    ----------
    question : Question
        Which series, at which false-alarm rate.
    reduced : Points
        Its points, from `series_points`.
    factors : FactorLevels or callable
        What was recorded around each piece, from `FactorTable`; a callable is asked only where something
        was found.

    Returns
    -------
    SeriesVerdict
        Complete, also for a series without a single piece.
    """
    return judge_further(question, reduced, factors, {})[0]


def judge_further(
    question: Question, reduced: Points, factors: Around, kept: KeptStates
) -> tuple[SeriesVerdict, KeptStates]:
    """Judge one series, going on from where it was judged before.

    Parameters
    ----------
    question, reduced, factors
        As for `judge`; the points of the whole window.
    kept : mapping of str to KeptState
        What the last judging left, empty the first time; anything may have changed since.

    Returns
    -------
    SeriesVerdict
        That of `judge`, bit for bit.
    mapping of str to KeptState
        To be kept for the next time.
    """
    points = without(_with_lots(reduced.points, question.lots), question.decisions.left_out)
    course = course_of(
        question.characteristic,
        points,
        question.decisions.baseline,
        step=reduced.step,
        noise=question.noise,
        lots=question.lots,
        mends=question.decisions.mends,
        over=told_over(question.told),
        off=question.off,
    )
    found = course.changes(question.rates or question.rate, kept)
    if found.signals:
        known = factors() if callable(factors) else factors
        signals = tuple(_signal(question, course, s, known, found.signals) for s in found.signals)
        signals = without_explained(signals, points, question.characteristic.kind)
    else:
        signals = ()
    limits, uneven = common_limits(
        question.plan, question.characteristic, points, question.today, centered=reduced.centered
    )
    notes = (
        *found.notes,
        *uneven,
        *target_notes(question.plan, question.characteristic, reduced, question.today),
        *_left_out(reduced),
        *_decided(question, course),
    )
    verdict = _verdict(question, reduced, course, signals, limits, notes)
    return with_kept(verdict, question.told), found.kept


def _with_lots(points: Sequence[Point], lots: Sequence[str | None]) -> Sequence[Point]:
    return [replace(p, lot=lot or "") for p, lot in zip(points, lots, strict=True)] if lots else points


def _verdict(
    question: Question,
    reduced: Points,
    course: LevelCourse,
    signals: tuple[SignalResult, ...],
    limits: DatedLimits,
    notes: tuple[str, ...],
) -> SeriesVerdict:
    """Say what follows from the signals of a series: its behaviour, its present state, what it can do."""
    present, frozen = course.present(signals), course.frozen
    earlier = earlier_limits(question.plan, question.characteristic, reduced, course.points, limits)
    standing = standing_of(
        signals,
        course.points,
        limits,
        kind=question.characteristic.kind,
        answered=question.settled,
        closed=question.closed,
        frozen=frozen,
        earlier=earlier,
    )
    drifting = standing.drifting
    answer = judge_limits(
        question.plan,
        question.characteristic,
        present,
        limits,
        moving=_is_moving(signals, present),
        noise=course.known,
        lots=course.lots_among(present),
        step=course.step,
    )
    forecast = course.forecast(signals, limits, question.plan)
    natural = (None, None) if drifting else course.limits(present, question.rate)
    behaviour: Behaviour = (
        "learning" if len(course.points) < LEARNING else "drifting" if drifting else "steady"
    )
    return SeriesVerdict(
        key=question.key,
        stage_name=question.stage.name,
        name=question.characteristic.name,
        unit=question.characteristic.unit,
        kind=question.characteristic.kind,
        pieces=len(course.points),
        behaviour=behaviour,
        capable=answer.capable,
        ppk=answer.ppk,
        ppk_low=answer.low,
        ppk_high=answer.high,
        ppk_reason=answer.reason,
        outside_share=answer.outside,
        outside_low=answer.outside_low,
        outside_high=answer.outside_high,
        target=limits.target,
        lower=limits.lower,
        upper=limits.upper,
        natural_lower=natural[0],
        natural_upper=natural[1],
        present=tuple(p.ordinal for p in present),
        sd_between=reduced.between,
        sd_within=reduced.within,
        centered=reduced.centered,
        points=course.points,
        stretches=course.stretches(signals),
        signals=signals,
        forecast=forecast,
        notes=notes,
        worst=urgency(behaviour, answer, drifting, forecast, question.today),
        before=question.before,
        baseline_first=frozen[0] if frozen else None,
        baseline_last=frozen[1] if frozen else None,
        pieces_to_settle=answer.settle,
        scatter=_scatter(question, course, present),
        told_by=standing.told_by.raised if standing.told_by else None,
        settled_since=standing.settled_since,
        not_kept_by=limits_broken_by(signals, course.points, limits, question.stays, answer.capable, earlier),
        earlier_limits=earlier,
    )


def _scatter(question: Question, course: LevelCourse, present: Sequence[Point]) -> Scatter | None:
    """Say how the pieces of the present state scatter, and since when that is known."""
    return scatter_of(
        question.characteristic,
        course.points,
        present,
        question.noise,
        question.lots,
        question.periods,
        question.lots_by,
        question.rate,
        question.today,
        course.step,
    )


def _is_moving(signals: Sequence[SignalResult], present: Sequence[Point]) -> bool:
    """Say whether the present state is a climb or a fall that still goes on."""
    climbs = {s.start for s in signals if s.kind == "trend" and s.ended is None}
    return bool(present) and present[0].ordinal in climbs


def _signal(
    question: Question,
    course: LevelCourse,
    found: FoundChange,
    factors: FactorLevels,
    all_found: Sequence[FoundChange],
) -> SignalResult:
    """Name the pieces of a finding, ask what changed when it began, and say it."""
    points = course.points
    told = partial(
        result_of,
        points=points,
        unit=question.characteristic.unit,
        rate=float(question.rates[found.point - 1]) if question.rates else question.rate,
        over_since=course.over_since(found),
    )
    result = told(found)
    suspects, unchanged, left_open = find_suspects(
        points,
        result,
        factors,
        question.plan,
        [s.id for s in question.plan.stages].index(question.stage.id),
        question.today,
        own=sources_of(question.characteristic),
        apart=apart_from(found, all_found, len(points)),
        worn=bool(question.characteristic.wears_with),
        noise=course.known,
    )
    if not suspects and result.over_since:
        # what was found while it lasted is no less a coincidence for being over
        suspects, left_open = told_suspects(result, question.told), ""
    if not question.characteristic.wears_with:
        result = told(begun_with(found, all_found, points, suspects))
    own = course.own_suspect(result, question.plan, question.today)
    if own is not None:
        suspects, left_open = (own, *(s for s in suspects if s.name != own.name)), ""
        unchanged = still_unchanged(unchanged, own.kind)
    result = begun_before(replace(result, suspects=suspects), question.decisions.mends, points)
    left_open = "" if result.suspects != suspects else left_open
    return _said(question, points, result, unchanged, left_open)


def _said(
    question: Question,
    points: Sequence[Point],
    signal: SignalResult,
    unchanged: tuple[str, ...],
    left_open: str,
) -> SignalResult:
    """Put a signal into words once, while its day is known: board, report and command only repeat them."""
    sentence = signal_sentence(
        question.characteristic,
        question.family,
        signal.kind,
        signal.side,
        signal.size,
        signal.since_serial,
        signal.since_day,
        question.today,
        pace=pace_of(points, signal),
        ends=(signal.size_low, signal.size_high),
    )
    back = ""
    if signal.ended is not None and signal.ended <= len(points):
        since = points[signal.ended - 1]
        back = f"{since.serial} ({day_words(since.day, question.today)})"
    over = signal.mended is None or signal.held is True
    coincides = [s.sentence for s in signal.suspects]
    because = because_sentence(coincides, unchanged, signal.pieces, back, left_open, over=over)
    if signal.reopens:
        sentence = after_mend(sentence, signal, question.decisions.mends, points)
        because = f"{opened_again(signal, question.decisions.mends, question.today)} {because}"
    kind = question.characteristic.kind
    step = question.characteristic.next_step or again_step(points[-1].serial, kind)
    if is_good_news(signal, kind):
        step = better_step(points[-1].serial, kind)
    return replace(signal, unchanged=unchanged, sentence=sentence, because=because, next_step=step)


def _decided(question: Question, course: LevelCourse) -> tuple[str, ...]:
    told = decision_notes(question.decisions, course.points, course.note())
    if not question.before:
        return tuple(told)
    return (f"{question.before} pieces made before the first one shown are no longer read.", *told)


def _left_out(reduced: Points) -> tuple[str, ...]:
    told = f"No point for {', '.join(reduced.left_out)}: under half of the places were read."
    return (told,) if reduced.left_out else ()
