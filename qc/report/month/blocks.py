"""The blocks of the monthly report, each from the rows that it rests on."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

import polars as pl

from qc.intervals import interval_words
from qc.plan import Plan
from qc.report.month.content import (
    Change,
    DieLine,
    GaugeCourse,
    GaugeLine,
    Reaction,
    Rolled,
    Standing,
    Yield,
)
from qc.watch import (
    Forecast,
    SeriesVerdict,
    SignalResult,
    StageYield,
    caution_words,
    fittings,
    forecast_words,
    is_good_news,
    rolled,
    steps_for,
    weekly_pace,
)
from qc.words import code_words, count_words, dated_words, day_words, inside, listed, some_of

DUE_SOON_DAYS = 31
"""A calibration that runs out before the next report is told here; the board tells it a fortnight ahead."""

DAYS_OF_A_WEEK = 7


def shipped_models(plan: Plan, pieces: pl.DataFrame, events: pl.DataFrame) -> tuple[tuple[str, int], ...]:
    """Return how many of each model left; one without a model on its record has that of its cards."""
    left = events.filter(pl.col("kind") == "shipped").unique("serial")
    known = dict(pieces.filter(pl.col("model") != "").select("serial", "model").unique().iter_rows())
    models = [model or known.get(serial, "") for serial, model in left.select("serial", "model").iter_rows()]
    names = {m.id: m.name for m in plan.models}
    counts = {m: models.count(m) for m in [*names, ""] if m in models}
    return tuple((names.get(m, "of unknown model"), number) for m, number in counts.items())


def yield_lines(
    now: Sequence[StageYield], before: Sequence[StageYield], year_ago: Sequence[StageYield]
) -> tuple[Yield, ...]:
    """Return the first-pass yield of each stage beside that of the month before and of a year ago."""
    then, past = ({one.stage: (one.passed, one.of) for one in every} for every in (before, year_ago))
    return tuple(
        Yield(one.name, one.passed, one.of, *one.found.interval, then.get(one.stage), past.get(one.stage))
        for one in now
    )


def rolled_line(
    now: Sequence[StageYield], before: Sequence[StageYield], year_ago: Sequence[StageYield]
) -> Rolled | None:
    """Return the yield of all stages in a row beside that of the month before and of a year ago."""
    whole, *others = (rolled(every) for every in (now, before, year_ago))
    if whole is None:
        return None
    beside = ((one.share, *one.interval) if one else None for one in others)
    return Rolled(whole.share, *whole.interval, *beside)


def change_lines(
    plan: Plan, verdicts: Sequence[SeriesVerdict], first: date, as_of: date
) -> tuple[Change, ...]:
    """Return what changed: what lasts, the worst first; then what settled or was over in the month.

    One piece apart from the rest is no change; it is told among the pieces.
    """
    lasting = [_change(plan, verdict, signal, "lasts", as_of) for verdict, signal in _moved(verdicts)]
    rest: list[tuple[int, date, Change]] = []
    for verdict in verdicts:
        for signal in verdict.signals:
            if signal.kind == "single" or signal is verdict.telling:
                continue
            if verdict.telling is not None and signal.root == verdict.telling.root:
                continue  # it opened anew: the finding that lasts tells of both
            over = day_over(verdict, signal)
            told = verdict.settled_since if signal is verdict.unanswered else None
            if not any(day is not None and first <= day <= as_of for day in (signal.raised_day, over, told)):
                continue
            standing: Standing = "settled" if over is None else "over"
            rest.append(
                (over is not None, signal.raised_day, _change(plan, verdict, signal, standing, as_of))
            )
    rest.sort(key=lambda one: (one[0], -one[1].toordinal(), one[2].key))
    return (*lasting, *(change for _, _, change in rest))


def day_over(verdict: SeriesVerdict, signal: SignalResult) -> date | None:
    """Return the day of the first piece back at the old level, None while a change lasts."""
    if signal.ended is None:
        return None
    return next((p.day for p in verdict.points if p.ordinal >= signal.ended), signal.raised_day)


def over_words(verdict: SeriesVerdict, signal: SignalResult, as_of: date) -> str:
    """Return the sentence of a change, and first of all that it is over, where it is."""
    back = day_over(verdict, signal)
    return f"Over since {day_words(back, as_of)}: {signal.sentence}" if back else signal.sentence


def _change(
    plan: Plan, verdict: SeriesVerdict, signal: SignalResult, standing: Standing, as_of: date
) -> Change:
    """Put a change beside its evidence, steps and cautions; of one that is over that is said first."""
    steps, caution = reaction_of(plan, verdict, signal)
    evidence = evidence_words(verdict, signal)
    return Change(
        key=str(verdict.key),
        sentence=over_words(verdict, signal, as_of) if standing == "over" else signal.sentence,
        because=signal.because,
        next_step=signal.next_step,
        evidence=evidence,
        title=verdict.title,
        standing=standing,
        steps=steps,
        caution=caution,
    )


def reaction_of(plan: Plan, verdict: SeriesVerdict, signal: SignalResult) -> tuple[tuple[str, ...], str]:
    """Return the steps of a reaction, its piece and gauges named, and the usual cautions of its stage."""
    stage = plan.stage(verdict.key.stage)
    figure = plan.characteristic(verdict.key.stage, verdict.key.characteristic)
    better = is_good_news(signal, verdict.kind)
    reaction = figure.reaction if figure else ()
    steps = steps_for(verdict.points, reaction, signal.next_step, verdict.kind, better=better, found=signal)
    return steps, caution_words(stage.cautions if stage else ())


def evidence_words(verdict: SeriesVerdict, signal: SignalResult | None = None) -> str:
    """Say how sure a change is: size with its interval, and the chance of a false alarm."""
    signal = signal or verdict.current
    if signal is None:
        return ""
    size = ""
    if signal.size is not None and signal.size_low is not None and signal.size_high is not None:
        size = f"{interval_words(signal.size, signal.size_low, signal.size_high, verdict.unit)}; "
    said = f"{size}chance of a false signal {100 * signal.rate:.2g} % a piece."
    return said[0].upper() + said[1:]


def return_lines(events: pl.DataFrame) -> tuple[str, ...]:
    """Return one sentence for each instrument that came back."""
    rows = events.filter(pl.col("kind") == "returned").sort("day", "serial").select("serial", "day", "code")
    return tuple(
        f"{serial} came back on {day_words(day)}: {code_words(code or 'no cause given')}."
        for serial, day, code in rows.iter_rows()
    )


def gauge_lines(
    plan: Plan,
    readings: pl.DataFrame,
    events: pl.DataFrame,
    first: date,
    as_of: date,
    courses: Sequence[GaugeCourse] = (),
) -> tuple[GaugeLine, ...]:
    """Return gauges out of calibration, due soon, unchecked or moved by their checks, with what to do."""
    checks = set(events.filter(pl.col("kind") == "gauge-check").select("subject", "day").iter_rows())
    found = []
    for gauge in plan.gauges:
        used = readings.filter(pl.col("gauge") == gauge.id, pl.col("day").is_between(first, as_of))
        missed = [d for d in sorted(set(used["day"])) if gauge.daily_check and (gauge.id, d) not in checks]
        said, todo = [], []
        if gauge.due is not None and gauge.due < as_of:
            said.append(f"calibration ran out on {dated_words(gauge.due)}")
            todo.append(
                "Have it calibrated" if used.height else "Not used in the month: keep it off the bench"
            )
        elif gauge.due is not None and gauge.due <= as_of + timedelta(days=DUE_SOON_DAYS):
            said.append(f"calibration due {dated_words(gauge.due)}")
            todo.append("Book its calibration")
        if missed:
            days = count_words(len(missed), "day")
            between = f"from {day_words(missed[0])} to {day_words(missed[-1])}"
            said.append(
                f"used on {days} without its check, {between if len(missed) > 1 else day_words(missed[0])}"
            )
            # a gauge that nobody checked may well be good: its master tells that in a minute
            todo.append("Put it on its master before the next reading, and daily from then on")
        for moved in (one for one in courses if one.gauge == gauge.id and one.moved):
            said.append(f"{moved.told[:1].lower()}{moved.told[1:].rstrip('.')}")
            todo.append(moved.next_step.rstrip("."))
        if said:
            once = dict.fromkeys(todo)
            found.append(GaugeLine(gauge.id, gauge.name, "; ".join(said), f"{'. '.join(once)}."))
    return tuple(found)


def die_lines(verdicts: Iterable[SeriesVerdict], as_of: date) -> tuple[DieLine, ...]:
    """Return the tools that wear, the next to be changed first, with the draws and weeks that are left."""
    found = []
    for verdict in verdicts:
        told = verdict.forecast
        if told is None:
            continue
        found.append(
            DieLine(
                tool=told.tool,
                series=verdict.title,
                count=told.count_now,
                change_by_count=told.change_by_count,
                change_by_day=told.change_by_day,
                sentence=f"{inside(verdict.name)} {forecast_words(told, as_of).partition(' ')[2]}",
                draws_left=told.draws_left,
                weeks=_weeks(verdict, told, as_of),
            )
        )
    return tuple(sorted(found, key=lambda d: (d.change_by_day or date.max, d.weeks or math.inf, d.tool)))


def _weeks(verdict: SeriesVerdict, told: Forecast, as_of: date) -> float | None:
    """Return how long the draws left last at the pace of the tool's last quarter; None without a pace."""
    left = told.draws_left
    if left is None:
        return None
    if told.change_by_day is not None and (told.change_by_day >= as_of or not left):
        # the day is told beside it: two paces of one tool would contradict each other
        return max(0, (told.change_by_day - as_of).days) / DAYS_OF_A_WEEK
    tools = fittings(verdict.points)
    pace = weekly_pace([verdict.points[place] for place in tools[-1]]) if tools else None
    return left / pace if pace else None


def decisions(
    verdicts: Sequence[SeriesVerdict],
    dies: Sequence[DieLine],
    gauges: Sequence[GaugeLine],
    held: int = 0,
    left_held: Sequence[str] = (),
    *,
    reactions: Sequence[Reaction] = (),
    as_of: date | None = None,
) -> tuple[str, ...]:
    """Return what has to be decided at the monthly meeting, the pressing first.

    Parameters
    ----------
    verdicts, dies, gauges
        As the report has them.
    held : int
        How many pieces wait to be released.
    left_held : sequence of str
        Those that left while they were to be held.
    reactions : sequence of Reaction
        The open ones: of those overdue that nobody has in hand somebody has to say who takes them.
    as_of : date, optional
        The day of the report, by which a day is past.
    """
    said = [f"{verdict.title}: {inside(signal.next_step)}" for verdict, signal in _moved(verdicts)]
    said += _nobodys(reactions, as_of)
    if held:
        said.append(f"{count_words(held, 'piece')} to hold: release each, rework it, or scrap it.")
    if left_held:
        were = "it was" if len(left_held) == 1 else "they were"
        what = f"{some_of(list(left_held))} left while {were} to be held"
        said.append(f"{what}: find out where each is, and call it back or release it by name and reason.")
    for die in dies:
        if die.change_by_day is not None:
            when = f"{die.change_by_day:%A} {day_words(die.change_by_day)}"
            due = f"change it by {when}" if die.draws_left else f"its change has been due since {when}"
            if die.draws_left and as_of is not None and die.change_by_day < as_of:
                left = count_words(die.draws_left, "draw")
                due = f"{left} left; at its pace it was to be changed by {when}"
            said.append(f"Order or polish a replacement for {die.tool}: {due}.")
    for gauge in gauges:
        said.append(f"{gauge.name} {gauge.gauge}: {gauge.state}. {gauge.advice}")
    for verdict in verdicts:
        if verdict.behaviour == "steady" and verdict.capable == "no":
            said.append(
                f"{verdict.title} is steady but does not keep its limits. "
                "Improve the process, or ask whether the limits are needed."
            )
    return tuple(said)


def _nobodys(reactions: Sequence[Reaction], as_of: date | None) -> list[str]:
    """Ask who takes the signals that are overdue and that nobody has in hand."""
    late = [one for one in reactions if as_of is not None and one.due is not None and one.due < as_of]
    own = [one.called for one in late if not (one.owner or one.answered)]
    if not own:
        return []
    if len(own) == 1:
        which, it, each = f"Signal {own[0]} is", "it", "it"
    else:
        which, it, each = f"Signals {listed(own)} are", "them", "each"
    return [f"{which} overdue for an answer and nobody has {it} in hand: say who takes {each}."]


def _moved(verdicts: Iterable[SeriesVerdict]) -> list[tuple[SeriesVerdict, SignalResult]]:
    """Return the series that drift with the signal that tells why, worst first."""
    worst_first = sorted(verdicts, key=lambda v: -v.worst)
    return [(v, v.telling) for v in worst_first if v.telling is not None]
