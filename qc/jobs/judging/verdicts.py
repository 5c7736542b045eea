"""Judge series of a workshop and keep the verdicts: at upload, after a mend, or all of them from nothing."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from qc.jobs.judging.circumstances import Circumstances
from qc.jobs.judging.closings import closings_by_series, told_before, with_mends
from qc.jobs.judging.gauge_checks import stretches_off
from qc.jobs.judging.noise import Strand, learn_what_lacks
from qc.jobs.judging.rates import present_budget, rates_of_points
from qc.jobs.judging.windows import Read, Windows
from qc.jobs.spread import Hands
from qc.jobs.workshop import Workshop
from qc.plan import Characteristic, Plan, Stage
from qc.sayings import told_here
from qc.stats.change import program_fingerprint
from qc.store import MARK, Grounds
from qc.watch import (
    Budget,
    Decisions,
    KeptStates,
    Points,
    Question,
    SeriesKey,
    SeriesVerdict,
    course_of,
    judge_further,
    kept_states_from,
    plain_kept_states,
    standing,
    without,
)

JUDGED: Final = "series judged:"


@dataclass(frozen=True, slots=True)
class Judged:
    """Verdicts in route order, the budget of the present month, and how far each series is judged now."""

    verdicts: list[SeriesVerdict]
    budget: Budget
    kept: Mapping[str, KeptStates] = field(default_factory=dict)


def judge_now(
    workshop: Workshop,
    keys: Collection[str] | None = None,
    *,
    afresh: bool = False,
    keep: bool = True,
    learn: bool = False,
    hands: Hands | None = None,
    progress: Callable[[int, int, str], None] | None = None,
) -> Judged:
    """Judge some series as of the workshop's day, without keeping the verdicts.

    Parameters
    ----------
    workshop : Workshop
        Where the readings are; rows of later days than its `today` are passed over.
    keys : collection of str, optional
        Only these series; all when left out.
    afresh : bool
        Judge each piece of a series from nothing, not only what is new; the verdicts are the same.
    keep : bool
        Keep where windows begin, and what is fixed for new months; False where nothing can be written.
    learn : bool
        Learn the noise of all periods anew.
    hands : Hands, optional
        Who follows the series elsewhere; the verdicts are the same.
    progress : callable, optional
        Told how many series are judged, of how many, and in words; also between the steps before the first.

    Returns
    -------
    Judged
        The rate of each point is that of its month, fixed the first time it is judged.
    """
    closings = closings_by_series(workshop)
    decided = with_mends(decisions_of(workshop), closings)
    windows = Windows(workshop, afresh=afresh)
    wanted = _charted(workshop.plan, keys)
    tell = progress or _untold
    read = _read(windows, wanted, decided, tell, keep=keep)
    days = {key: [p.day for p in r.points.points] for key, r in read.items()}
    rates = rates_of_points(workshop, days, keep=keep)
    budget = present_budget(workshop)
    around = Circumstances(workshop, (p.serial for r in read.values() for p in r.points.points))
    kept = {} if afresh else _kept(workshop, wanted)
    strands = {
        key: _strand(figure, decided.get(key, Decisions()), read[key].points, rates[key], kept.get(key, {}))
        for key, (_, figure, _) in wanted.items()
    }
    before = told_before(workshop, wanted)
    off = stretches_off(workshop)
    known = learn_what_lacks(workshop, strands, decided, keep=keep, forget=learn, hands=hands)
    tell(0, len(wanted), JUDGED)
    verdicts, left = [], {}
    for key, (stage, figure, family) in wanted.items():
        question = Question(
            workshop.plan,
            stage,
            figure,
            family,
            rate=rates[key][-1] if rates[key] else budget.rate,
            today=workshop.today,
            rates=rates[key],
            decisions=decided.get(key, Decisions()),
            before=read[key].before,
            noise=strands[key].course.noise,
            lots=strands[key].course.lots,
            periods=[known[key].period(p.day) for p in read[key].points.points] if key in known else (),
            lots_by=known[key].lots if key in known else "",
            closed=closings[key].answered if key in closings else (),
            stays=closings[key].stays if key in closings else (),
            told=before.get(key, ()),
            off=off,
        )
        told = around.of(stage, [point.serial for point in read[key].points.points])
        verdict, left[key] = judge_further(question, read[key].points, told, strands[key].kept)
        verdicts.append(verdict)
        tell(len(verdicts), len(wanted), JUDGED)
    return Judged(verdicts, budget, left)


def _untold(done: int, total: int, what: str) -> None:
    """Tell nobody."""


def _read(
    windows: Windows,
    wanted: Mapping[str, tuple[Stage, Characteristic, str]],
    decided: Mapping[str, Decisions],
    tell: Callable[[int, int, str], None],
    *,
    keep: bool,
) -> dict[str, Read]:
    """Read the window of each series; who is told after each may have it left off."""
    read = {}
    windows.ask_together(wanted.values())
    for key, row in wanted.items():
        read[key] = windows.read(*row, decided.get(key, Decisions()).baseline)
        tell(0, len(wanted), JUDGED)
    if keep:
        windows.keep()
    return read


def _charted(plan: Plan, keys: Collection[str] | None) -> dict[str, tuple[Stage, Characteristic, str]]:
    """Return the series of a plan that are asked for, all where none are named, in route order."""
    every = {str(SeriesKey(s.id, c.id, f)): (s, c, f) for s, c, f in plan.charted()}
    return {key: row for key, row in every.items() if keys is None or key in keys}


def decisions_of(workshop: Workshop, series: str | None = None) -> dict[str, Decisions]:
    """Return what a lead decided about series and what stands on the workshop's day, by series.

    Days are those of the plan's zone: in the evening it may be tomorrow already where moments are kept (UTC).
    """
    said = told_here(workshop.store.said_of_series(series), workshop.plan.workshop.time_zone)
    return standing(said, workshop.today)


def keep_judged(
    workshop: Workshop, judged: Judged, states: Mapping[str, Any], *, afresh: bool = False
) -> None:
    """Keep what was found and how far each series is judged, all at once."""
    kept = {_course(key): plain_kept_states(own) for key, own in judged.kept.items()}
    verdicts = [v.to_dict() for v in judged.verdicts]
    workshop.store.save_verdicts(
        verdicts,
        as_of=workshop.today,
        states={**kept, **states},
        afresh=afresh,
        told=Grounds(workshop.now, program_fingerprint(), states.get(MARK)),
    )


def _strand(
    figure: Characteristic, decisions: Decisions, reduced: Points, rates: Sequence[float], kept: KeptStates
) -> Strand:
    points = without(reduced.points, decisions.left_out)
    course = course_of(figure, points, decisions.baseline, step=reduced.step, mends=decisions.mends)
    return Strand(course, rates, kept)


def _kept(workshop: Workshop, keys: Collection[str]) -> dict[str, KeptStates]:
    """Return how far series were judged the last time."""
    kept = workshop.store.states(map(_course, keys))
    return {key: kept_states_from(kept.get(_course(key))) for key in keys}


def _course(key: str) -> str:
    return f"course {key}"
