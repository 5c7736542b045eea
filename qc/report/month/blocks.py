"""The blocks of the monthly report, each from the rows that it rests on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta

import polars as pl

from qc.plan import Plan
from qc.report.month.content import Change, DieLine, Gap, GaugeLine, Reaction, Rework, Yield
from qc.sayings import OPEN_STATES
from qc.watch import SeriesVerdict, SignalResult
from qc.words import count_words, day_words, inside, number_words, quantity_words

DUE_SOON_DAYS = 31
"""A calibration that runs out within a month is told."""


def shipped_models(plan: Plan, readings: pl.DataFrame, events: pl.DataFrame) -> tuple[tuple[str, int], ...]:
    """Return how many of each model left; one without a model on its record has that of its readings."""
    left = events.filter(pl.col("kind") == "shipped").unique("serial")
    known = dict(readings.filter(pl.col("model") != "").select("serial", "model").unique().iter_rows())
    models = [model or known.get(serial, "") for serial, model in left.select("serial", "model").iter_rows()]
    names = {m.id: m.name for m in plan.models}
    counts = {m: models.count(m) for m in [*names, ""] if m in models}
    return tuple((names.get(m, "of unknown model"), number) for m, number in counts.items())


def stage_yields(plan: Plan, readings: pl.DataFrame, events: pl.DataFrame) -> tuple[Yield, ...]:
    """Return the first-pass yield of each stage in route order.

    A piece passes a stage at the first go when nothing at that stage was reworked and, at the play-test, when
    it was not sent back. Stages without a piece in the period are left out.
    """
    reworked = events.filter(pl.col("kind") == "rework").select("serial", "stage").unique()
    sent_back = events.filter(pl.col("kind") == "play-test", pl.col("code") != "pass")["serial"].unique()
    tested = events.filter(pl.col("kind") == "play-test")["serial"].unique()
    found = []
    for stage in plan.stages:
        through = set(readings.filter(pl.col("stage") == stage.id)["serial"].unique())
        again = set(reworked.filter(pl.col("stage") == stage.id)["serial"])
        if through:
            found.append(Yield(stage.name, len(through - again), len(through)))
    if len(tested) and all(y.stage.lower() != "play-test" for y in found):
        found.append(Yield("Play-test", len(set(tested) - set(sent_back)), len(tested)))
    return tuple(found)


def change_lines(verdicts: Iterable[SeriesVerdict]) -> tuple[Change, ...]:
    """Return what changed and lasts, worst first."""
    return tuple(
        Change(str(verdict.key), signal.sentence, signal.because, signal.next_step, evidence_words(verdict))
        for verdict, signal in _moved(verdicts)
    )


def evidence_words(verdict: SeriesVerdict) -> str:
    """Say how sure a change is: size with its interval, pieces, and the chance of a false alarm."""
    signal = verdict.current
    if signal is None:
        return ""
    size = ""
    if signal.size is not None and signal.size_low is not None and signal.size_high is not None:
        low, high = sorted((signal.size_low, signal.size_high))
        between = f"{number_words(low)} to {number_words(high)}, 95 %"
        size = f"{quantity_words(signal.size, verdict.unit)} ({between}); "
    return f"{size}chance of a false signal {100 * signal.rate:.2g} % a piece."


def reaction_lines(
    verdicts: Iterable[SeriesVerdict], states: Mapping[tuple[str, str], str], as_of: date
) -> tuple[Reaction, ...]:
    """Return the signals that still last, oldest first, with their age in days.

    `states` says how a signal stands, by series and first piece; one it does not have is open.
    """
    found = []
    for verdict in verdicts:
        for signal in verdict.signals:
            state = states.get((str(verdict.key), signal.start_serial), "open")
            if signal.ended is None and state in OPEN_STATES:
                age = (as_of - signal.raised_day).days
                found.append(Reaction(verdict.title, signal.raised_day, age, state, signal.pieces))
    return tuple(sorted(found, key=lambda r: (-r.age_days, r.name)))


def rework_lines(events: pl.DataFrame) -> tuple[Rework, ...]:
    """Return rework by cause, most hours first."""
    rows = (
        events.filter(pl.col("kind") == "rework")
        .group_by("code")
        .agg(pl.col("value").sum().alias("hours"), pl.col("serial").n_unique().alias("pieces"))
        .sort(["hours", "code"], descending=[True, False])
    )
    return tuple(
        Rework(code or "no cause given", hours or 0.0, pieces) for code, hours, pieces in rows.iter_rows()
    )


def return_lines(events: pl.DataFrame) -> tuple[str, ...]:
    """Return one sentence for each instrument that came back."""
    rows = events.filter(pl.col("kind") == "returned").sort("day", "serial").select("serial", "day", "code")
    return tuple(
        f"{serial} came back on {day_words(day)}: {code or 'no cause given'}."
        for serial, day, code in rows.iter_rows()
    )


def gauge_lines(
    plan: Plan, readings: pl.DataFrame, events: pl.DataFrame, first: date, as_of: date
) -> tuple[GaugeLine, ...]:
    """Return gauges out of calibration, due soon, or used on days without their check."""
    checks = set(events.filter(pl.col("kind") == "gauge-check").select("subject", "day").iter_rows())
    found = []
    for gauge in plan.gauges:
        used = readings.filter(pl.col("gauge") == gauge.id, pl.col("day").is_between(first, as_of))
        missed = [d for d in sorted(set(used["day"])) if gauge.daily_check and (gauge.id, d) not in checks]
        said = []
        if gauge.due is not None and gauge.due <= as_of:
            said.append(f"calibration ran out on {gauge.due.isoformat()}")
        elif gauge.due is not None and gauge.due <= as_of + timedelta(days=DUE_SOON_DAYS):
            said.append(f"calibration due {gauge.due.isoformat()}")
        if missed:
            days = count_words(len(missed), "day")
            said.append(
                f"used on {days} without its check, from {day_words(missed[0])} to {day_words(missed[-1])}"
            )
        if said:
            found.append(GaugeLine(gauge.id, gauge.name, "; ".join(said)))
    return tuple(found)


def die_lines(verdicts: Iterable[SeriesVerdict]) -> tuple[DieLine, ...]:
    """Return the tools that wear, the next to be changed first."""
    found = [
        DieLine(
            tool=v.forecast.tool,
            series=v.title,
            count=v.forecast.count_now,
            change_by_count=v.forecast.change_by_count,
            change_by_day=v.forecast.change_by_day,
            sentence=f"{inside(v.name)} {v.forecast.sentence.partition(' ')[2]}",
        )
        for v in verdicts
        if v.forecast is not None
    ]
    return tuple(sorted(found, key=lambda d: (d.change_by_day or date.max, d.tool)))


def decisions(
    verdicts: Sequence[SeriesVerdict], dies: Sequence[DieLine], gauges: Sequence[GaugeLine]
) -> tuple[str, ...]:
    """Return what has to be decided at the monthly meeting, the pressing first."""
    said = [f"{signal.sentence} {signal.next_step}" for _, signal in _moved(verdicts)]
    for die in dies:
        if die.change_by_day is not None:
            when = f"{die.change_by_day:%A} {day_words(die.change_by_day)}"
            said.append(f"Order or polish a replacement for {die.tool}: change it by {when}.")
    for gauge in gauges:
        said.append(f"{gauge.name} {gauge.gauge}: {gauge.state}. Send it, or say why it may stay in use.")
    luck = [v for v in verdicts if v.behaviour == "steady" and v.capable == "no"]
    for verdict in luck:
        said.append(
            f"{verdict.title} is steady but does not keep its limits. "
            "Improve the process, or ask whether the limits are needed."
        )
    return tuple(said)


def data_gaps(readings: pl.DataFrame, waiting: Sequence[Sequence[str]], settled: int) -> tuple[Gap, ...]:
    """Return the readings of the period, and its rows held and put right, by reason.

    Parameters
    ----------
    readings : polars.DataFrame
        Those accepted, with their `sheet`.
    waiting : sequence of sequence of str
        Of each row still held, why.
    settled : int
        How many held rows were mended or set aside.
    """
    found = [Gap("readings accepted", readings.height, f"on {readings['sheet'].n_unique()} sheets")]
    if waiting:
        reasons = Counter(name for own in waiting for name in own)
        said = ", ".join(f"{number} {name}" for name, number in reasons.most_common(6))
        found.append(Gap("rows still held", len(waiting), said))
    if settled:
        found.append(Gap("rows put right or set aside", settled, "kept as typed beside what they became"))
    return tuple(found)


def _moved(verdicts: Iterable[SeriesVerdict]) -> list[tuple[SeriesVerdict, SignalResult]]:
    """Return the series that drift with the signal that tells why, worst first."""
    worst_first = sorted(verdicts, key=lambda v: -v.worst)
    return [(v, v.telling) for v in worst_first if v.telling is not None]
