"""The blocks of the report from the rows they rest on, counted a second time by plain loops."""

from collections import defaultdict
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.plan import Gauge, Plan, Shop, Stage
from qc.report.month import GaugeLine, Yield
from qc.report.month.blocks import (
    DUE_SOON_DAYS,
    data_gaps,
    decisions,
    die_lines,
    gauge_lines,
    return_lines,
    rework_lines,
    stage_yields,
)
from qc.watch import FactorLevels, Forecast, Points, Question, judge

few = settings(max_examples=40, deadline=None)
FIRST, AS_OF = date(2026, 5, 1), date(2026, 5, 31)
serials = st.sampled_from([f"S-{n}" for n in range(6)])
stages = st.sampled_from(["draw", "slide", "tuning"])


@few
@given(
    st.lists(st.tuples(serials, stages), max_size=25),
    st.lists(st.tuples(serials, stages), max_size=8),
    st.lists(st.tuples(serials, st.sampled_from(["pass", "rework", "reject"])), max_size=8),
)
def test_first_pass_counts_pieces_and_not_readings(small_plan, readings, events, measured, again, played):
    """By sets and loops: a piece that was reworked at a stage, however often, did not pass it at first."""
    rows = [{"serial": s, "stage": stage} for s, stage in measured]
    happened = [{"kind": "rework", "serial": s, "stage": stage, "value": 1.0} for s, stage in again]
    happened += [{"kind": "play-test", "serial": s, "code": code} for s, code in played]
    found = stage_yields(small_plan, readings(rows), events(happened))
    expected = []
    for stage in small_plan.stages:
        through = {s for s, at in measured if at == stage.id}
        if through:
            good = {s for s in through if (s, stage.id) not in again}
            expected.append(Yield(stage.name, len(good), len(through)))
    if played:
        tested = {s for s, _ in played}
        back = {s for s, code in played if code != "pass"}
        expected.append(Yield("Play-test", len(tested - back), len(tested)))
    assert found == tuple(expected)
    assert all(0 <= y.passed <= y.through for y in found)


@few
@given(
    st.lists(
        st.tuples(serials, st.sampled_from(["dent", "leak", None]), st.sampled_from([0.5, 1.25, 3.0])),
        max_size=20,
    )
)
def test_rework_adds_hours_by_cause_and_counts_each_piece_once(events, done):
    rows = [{"kind": "rework", "serial": s, "code": code, "value": hours} for s, code, hours in done]
    found = rework_lines(events([*rows, {"kind": "shipped", "serial": "S-1", "value": 99.0}]))
    hours, pieces = defaultdict(float), defaultdict(set)
    for s, code, value in done:
        hours[code or "no cause given"] += value
        pieces[code or "no cause given"].add(s)
    assert {r.cause: (r.hours, r.pieces) for r in found} == {
        cause: (hours[cause], len(pieces[cause])) for cause in hours
    }
    assert [r.hours for r in found] == sorted((r.hours for r in found), reverse=True)


def test_returns_are_told_in_order_of_day_with_their_cause(events):
    rows = [
        {"kind": "returned", "serial": "S-9", "day": date(2026, 5, 9), "code": "dent"},
        {"kind": "returned", "serial": "S-2", "day": date(2026, 5, 3)},
        {"kind": "shipped", "serial": "S-3", "day": date(2026, 5, 1)},
    ]
    assert return_lines(events(rows)) == (
        "S-2 came back on 3 May: no cause given.",
        "S-9 came back on 9 May: dent.",
    )
    assert return_lines(events([])) == ()


def plan_of(*gauges):
    model = {"id": "m", "name": "M", "family": "f", "pedal_midi": 34, "length_mm": 2945.0}
    return Plan(workshop=Shop(name="W"), models=(model,), stages=(Stage(id="s", name="S"),), gauges=gauges)


def gauge(due=None, daily=False):
    tolerance = 0.002 if daily else None
    return Gauge(
        id="G-1", name="Bore gauge", gauge_class="bore", resolution=0.001, unit="mm", due=due,
        daily_check=daily, check_tolerance=tolerance,
    )  # fmt: skip


@pytest.mark.parametrize(("days", "said"), [
    (-1, "calibration ran out on 2026-05-30"),
    (0, "calibration ran out on 2026-05-31"),
    (1, "calibration due 2026-06-01"),
    (DUE_SOON_DAYS, "calibration due 2026-07-01"),
    (DUE_SOON_DAYS + 1, None),
])  # fmt: skip
def test_a_calibration_is_told_from_a_month_before_it_runs_out(readings, events, days, said):
    plan = plan_of(gauge(due=AS_OF + timedelta(days=days)))
    found = gauge_lines(plan, readings([]), events([]), FIRST, AS_OF)
    assert found == ((GaugeLine("G-1", "Bore gauge", said),) if said else ())


@few
@given(
    st.sets(st.integers(-5, 35)),
    st.sets(st.integers(-5, 35)),
)
def test_days_used_without_the_check_are_counted_within_the_month(readings, events, used, checked):
    """Days are counted from the first of the month; those outside it belong to another report."""
    plan = plan_of(gauge(daily=True))
    rows = [{"gauge": "G-1", "day": FIRST + timedelta(days=n), "serial": "S"} for n in sorted(used)]
    checks = [{"kind": "gauge-check", "subject": "G-1", "day": FIRST + timedelta(days=n)} for n in checked]
    found = gauge_lines(plan, readings(rows), events(checks), FIRST, AS_OF)
    missed = sorted(n for n in used - checked if 0 <= n <= 30)
    if not missed:
        assert found == ()
        return
    days = "1 day" if len(missed) == 1 else f"{len(missed)} days"
    assert found[0].state.startswith(f"used on {days} without its check, from {missed[0] + 1} May to ")
    assert gauge_lines(plan_of(gauge()), readings(rows), events([]), FIRST, AS_OF) == (), (
        "only where it is asked"
    )


@pytest.fixture(scope="module")
def verdict(small_plan, points):
    stage = small_plan.stage("tuning")
    question = Question(small_plan, stage, stage.characteristics[0], "tenor", 0.004, AS_OF)
    return judge(question, Points(points([0.1 * (n % 7) for n in range(30)]), centered=False), FactorLevels())


def forecast(tool, by):
    return Forecast(tool, None, 0.1, 10, 1.0, 80, by, "Wrap is at draw 10 and nears its limit.")


def test_tools_are_listed_by_the_day_they_must_be_changed(verdict):
    named = {"D-1": date(2026, 7, 1), "D-2": None, "D-3": date(2026, 6, 4)}
    worn = [replace(verdict, forecast=forecast(tool, by)) for tool, by in named.items()]
    lines = die_lines([verdict, *worn])
    assert [(line.tool, line.change_by_day) for line in lines] == [
        ("D-3", date(2026, 6, 4)),
        ("D-1", date(2026, 7, 1)),
        ("D-2", None),
    ]
    assert {line.sentence for line in lines} == {"F wrap is at draw 10 and nears its limit."}
    told = decisions([], lines, [GaugeLine("G-1", "Bore gauge", "calibration ran out on 2026-05-02")])
    assert told == (
        "Order or polish a replacement for D-3: change it by Thursday 4 Jun.",
        "Order or polish a replacement for D-1: change it by Wednesday 1 Jul.",
        "Bore gauge G-1: calibration ran out on 2026-05-02. Send it, or say why it may stay in use.",
    )


def test_a_steady_series_outside_its_limits_is_a_question_for_the_meeting(verdict):
    bad = replace(verdict, behaviour="steady", capable="no")
    (said,) = decisions([bad, replace(verdict, capable="proven")], [], [])
    assert said.startswith(f"{verdict.title} is steady but does not keep its limits.")


def test_gaps_count_rows_and_each_of_their_reasons(readings):
    """A row with two reasons is one row and counts for both; six reasons are named, the commonest first."""
    taken = readings([{"sheet": "a"}, {"sheet": "a"}, {"sheet": "b"}])
    waiting = [("slip", "unknown"), ("slip",), *((f"other-{n}",) for n in range(7))]
    accepted, still, settled = data_gaps(taken, waiting, 5)
    assert (accepted.what, accepted.number, accepted.remark) == ("readings accepted", 3, "on 2 sheets")
    assert still.number == 9 and still.remark.startswith("2 slip, 1 unknown, 1 other-0")
    assert still.remark.count(", ") == 5
    assert settled.number == 5
    (alone,) = data_gaps(taken, [], 0)
    assert alone.what == "readings accepted"
