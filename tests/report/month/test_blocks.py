"""The blocks of the report from the rows they rest on, counted a second time by plain loops."""

import itertools
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest

from qc.plan import Gauge, Plan, Shop, Stage
from qc.report.month import DieLine, GaugeLine, Reaction
from qc.report.month.blocks import (
    DUE_SOON_DAYS,
    change_lines,
    day_over,
    decisions,
    die_lines,
    evidence_words,
    gauge_lines,
    return_lines,
    rolled_line,
    yield_lines,
)
from qc.report.month.panel_words import panel_lines
from qc.watch import FactorLevels, Forecast, NotPassed, Points, Question, StageYield, judge
from qc.words import level_words, number_words

few = settings(max_examples=40, deadline=None)
FIRST, AS_OF = date(2026, 5, 1), date(2026, 5, 31)


def test_yields_stand_beside_those_of_the_month_before_and_a_year_ago():
    """Stages go by their id: one that is new has nothing beside it; interval by scipy's exact one."""
    failed = tuple(NotPassed(f"S-{n}", AS_OF, "reworked") for n in range(3))
    now = [StageYield("draw", "Draw", 20, failed[:1]), StageYield("new", "New", 4)]
    before = [StageYield("draw", "Drawing", 9, failed[:2])]
    year_ago = [StageYield("draw", "Draw", 10, failed), StageYield("old", "Old", 3)]
    first, second = yield_lines(now, before, year_ago)
    assert (first.stage, first.passed, first.through) == ("Draw", 19, 20)
    exact = binomtest(19, 20).proportion_ci(method="exact")
    assert (first.low, first.high) == pytest.approx((exact.low, exact.high), rel=1e-9)
    assert (first.before, first.year_ago) == ((7, 9), (7, 10))
    assert (second.share, second.before, second.year_ago) == (1.0, None, None)
    whole = rolled_line(now, before, year_ago)
    assert whole.share == pytest.approx(0.95)
    exact = binomtest(7, 9).proportion_ci(method="exact")  # scipy; one stage alone is exact
    assert whole.before == pytest.approx((7 / 9, exact.low, exact.high))
    assert whole.year_ago[0] == pytest.approx(0.7) and whole.year_ago[1] < 0.7 < whole.year_ago[2]
    assert rolled_line([], before, year_ago) is None


def test_returns_are_told_in_order_of_day_with_their_cause(events):
    rows = [
        {"kind": "returned", "serial": "S-9", "day": date(2026, 5, 9), "code": "bent-slide"},
        {"kind": "returned", "serial": "S-2", "day": date(2026, 5, 3)},
        {"kind": "shipped", "serial": "S-3", "day": date(2026, 5, 1)},
    ]
    assert return_lines(events(rows)) == (
        "S-2 came back on 3 May: no cause given.",
        "S-9 came back on 9 May: bent slide.",
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
    (-1, "calibration ran out on 30 May 2026"),
    (0, "calibration due 31 May 2026"),
    (1, "calibration due 1 Jun 2026"),
    (DUE_SOON_DAYS, "calibration due 1 Jul 2026"),
    (DUE_SOON_DAYS + 1, None),
])  # fmt: skip
def test_a_calibration_is_told_from_a_month_before_it_runs_out(readings, events, days, said):
    plan = plan_of(gauge(due=AS_OF + timedelta(days=days)))
    found = gauge_lines(plan, readings([]), events([]), FIRST, AS_OF)
    unused = "Book its calibration." if days >= 0 else "Not used in the month: keep it off the bench."
    assert found == ((GaugeLine("G-1", "Bore gauge", said, unused),) if said else ())
    used = gauge_lines(
        plan, readings([{"gauge": "G-1", "day": FIRST, "serial": "S"}]), events([]), FIRST, AS_OF
    )
    if days < 0:
        assert used[0].advice == "Have it calibrated."


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
    said = f"from {missed[0] + 1} May to {missed[-1] + 1} May" if len(missed) > 1 else f"{missed[0] + 1} May"
    assert found[0].state == f"used on {days} without its check, {said}"
    assert found[0].advice.startswith("Put it on its master"), "nobody knows yet that it is off"
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
    lines = die_lines([verdict, *worn], AS_OF)
    assert [(line.tool, line.change_by_day) for line in lines] == [
        ("D-3", date(2026, 6, 4)),
        ("D-1", date(2026, 7, 1)),
        ("D-2", None),
    ]
    assert {line.sentence for line in lines} == {"F wrap is at draw 10 and nears its limit."}
    assert {line.draws_left for line in lines} == {70}
    weeks = [pytest.approx(4 / 7), pytest.approx(31 / 7), None]
    assert [line.weeks for line in lines] == weeks, "up to the day that is told; no piece names D-2"
    gauges = [GaugeLine("G-1", "Bore gauge", "calibration ran out on 2 May 2026", "Have it calibrated.")]
    told = decisions([], lines, gauges, held=2)
    assert told == (
        "2 pieces to hold: release each, rework it, or scrap it.",
        "Order or polish a replacement for D-3: change it by Thursday 4 Jun.",
        "Order or polish a replacement for D-1: change it by Wednesday 1 Jul.",
        "Bore gauge G-1: calibration ran out on 2 May 2026. Have it calibrated.",
    )


def test_a_day_that_has_passed_is_not_set_to_change_a_tool_by():
    """Seven draws left of a die that rested: "change it by Monday 25 May" was told on the 31st."""
    late = DieLine("D-9", "Draw: OD", 209, 216, date(2026, 5, 25), "od at draw 209.", draws_left=7)
    (said,) = decisions([], [late], [], as_of=AS_OF)
    assert said == (
        "Order or polish a replacement for D-9: 7 draws left; at its pace it was to be changed by "
        "Monday 25 May."
    )
    assert "change it by" in decisions([], [late], [], as_of=date(2026, 5, 25))[0]


def test_what_is_overdue_and_nobodys_is_for_the_meeting():
    """Signals that settled unanswered asked for nothing there, however long they had waited."""
    day = date(2026, 4, 20)
    open_one = Reaction("Tuning: wrap", day, 41, "open", 11, "3", due=day + timedelta(days=7))
    taken, answered = replace(open_one, owner="ML"), replace(open_one, answered="Answered since.")
    asked = decisions([], [], [], reactions=[open_one, taken, answered], as_of=AS_OF)
    assert asked == ("Signal 3 is overdue for an answer and nobody has it in hand: say who takes it.",)
    two = decisions([], [], [], reactions=[open_one, replace(open_one, called="8")], as_of=AS_OF)
    assert two == (
        "Signals 3 and 8 are overdue for an answer and nobody has them in hand: say who takes each.",
    )
    assert decisions([], [], [], reactions=[open_one], as_of=open_one.due) == ()


def test_a_steady_series_outside_its_limits_is_a_question_for_the_meeting(verdict):
    bad = replace(verdict, behaviour="steady", capable="no")
    (said,) = decisions([bad, replace(verdict, capable="proven")], [], [])
    assert said.startswith(f"{verdict.title} is steady but does not keep its limits.")


def test_a_die_is_told_in_draws_and_weeks_at_the_pace_of_its_last_quarter(verdict):
    """Ten draws a week for nine weeks, 70 left: seven weeks by hand; what it drew before takes no part."""
    count = itertools.count(100, 10)
    days = [AS_OF - timedelta(weeks=9 - n) for n in range(10)]
    points = [
        replace(p, tool="D-1", tool_count=next(count), day=day)
        for p, day in zip(verdict.points[:10], days, strict=True)
    ]
    old = replace(verdict.points[10], tool="D-1", tool_count=1, day=AS_OF - timedelta(days=300))
    worn = replace(verdict, points=(old, *points), forecast=forecast("D-1", None))
    (line,) = die_lines([worn], AS_OF)
    assert (line.draws_left, line.weeks) == (70, pytest.approx(7.0))
    still = [replace(p, tool_count=5) for p in points]
    assert die_lines([replace(worn, points=tuple(still))], AS_OF)[0].weeks is None


@pytest.fixture(scope="module")
def moved(small_plan, points):
    """A series that climbed and came back, and one that moved and stays."""
    stage = small_plan.stage("tuning")
    question = Question(small_plan, stage, stage.characteristics[0], "tenor", 0.004, AS_OF)
    noise = [0.5 * ((7 * n) % 5 - 2) for n in range(60)]
    back = [v + (22 if 30 <= n < 42 else 0) for n, v in enumerate(noise)]
    stays = [v + (22 if n >= 48 else 0) for n, v in enumerate(noise)]
    return [judge(question, Points(points(v), centered=False), FactorLevels()) for v in (back, stays)]


def test_what_lasts_is_told_first_and_what_is_over_only_in_its_own_month(small_plan, moved):
    back, stays = moved
    assert back.behaviour == "steady" and stays.behaviour == "drifting"
    ended = next(s for s in back.signals if s.ended is not None and s.kind != "single")
    over = day_over(back, ended)
    first = over.replace(day=1)
    told = change_lines(small_plan, [back, stays], first, over)
    assert [(c.standing, c.sentence) for c in told][0] == ("lasts", stays.telling.sentence)
    # in the first words: as its bold line stood, it read as if it lasted
    said = f"Over since {over.day} {over:%b}: {ended.sentence}"
    assert ("over", said) in [(c.standing, c.sentence) for c in told]
    assert told[0].steps[0] == f"Re-measure {stays.points[-1].serial}." and len(told[0].steps) >= 4
    later = over + timedelta(days=40)
    assert [c.standing for c in change_lines(small_plan, [back], later, later)] == []


def test_a_finding_that_opened_anew_is_told_once(small_plan, moved):
    """The page had the same change twice: as it lasts, and as it was over until the mend."""
    stays = moved[1]
    before = replace(stays.telling, ended=stays.telling.raised)
    both = replace(stays, signals=(before, *stays.signals))
    day = both.points[-1].day
    assert [c.standing for c in change_lines(small_plan, [both], day.replace(day=1), day)].count("lasts") == 1
    assert "over" not in [c.standing for c in change_lines(small_plan, [both], day.replace(day=1), day)]


def test_a_panel_says_of_a_finding_that_is_over_that_it_is(moved):
    """It headed the panel as if it were current, long after it was over."""
    back = moved[0]
    ended = next(s for s in back.signals if s.ended is not None and s.kind != "single")
    over = day_over(back, ended)
    within = panel_lines(back, over.replace(day=1))["finding"]
    assert within.startswith(f"As it was: {back.pieces} pieces without a lasting change. Over since ")
    assert within.endswith(ended.sentence)
    assert ended.sentence not in panel_lines(back, over + timedelta(days=1))["finding"]


def test_evidence_keeps_one_unit(moved):
    """A size of 14 um was told as "14 µm (0.011 to 0.017, 95 %)": the interval in millimetres."""
    verdict = replace(moved[1], unit="mm")
    signal = replace(verdict.telling, size=0.0139, size_low=0.0108, size_high=0.0171, rate=0.0041)
    assert evidence_words(verdict, signal) == (
        "14 µm (11 to 17, 95 %); chance of a false signal 0.41 % a piece."
    )


def test_a_level_that_rounds_to_nothing_has_no_sign():
    assert [level_words(v, 40.0) for v in (-0.02, -0.06, -3.1)] == ["0.0", "−0.1", "−3.1"]
    assert number_words(-0.0) == "0"
