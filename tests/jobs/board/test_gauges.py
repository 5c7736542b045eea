"""Gauges on the board: checks, working days, bias and steps, against the store asked directly."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import polars as pl
import pytest

from qc.jobs.also import also
from qc.jobs.board.data import StoreBoardData
from qc.jobs.board.gauges import gauge_views, gauges_to_look_at, trusted_since
from qc.jobs.workshop import open_workshop
from qc.plan import Gauge
from qc.stats import gauge_bias
from qc.watch import is_off, next_working_day


@pytest.fixture(scope="module")
def workshop(demo_folder):
    return open_workshop(demo_folder)


@pytest.fixture(scope="module")
def views(workshop):
    return {view.id: view for view in gauge_views(workshop)}


def days(workshop, gauge):
    return workshop.store.events("gauge-check", subjects=[gauge]).sort("day", "id")


def test_every_gauge_of_the_plan_is_there_the_worst_first(workshop):
    found = gauge_views(workshop)
    assert {view.id for view in found} == {gauge.id for gauge in workshop.plan.gauges}
    rank = ["off", "overdue", "never checked", "due", "in order"]
    states = [rank.index(view.state) for view in found]
    assert states == sorted(states)


def test_the_planted_lapse_of_checks_is_seen(workshop, views):
    # planted in the sample: nobody zeroed BG-1 on its ring from the day after its last check on
    view = views["BG-1"]
    last = days(workshop, "BG-1")["day"][-1]
    assert view.state == "overdue" and view.last_good == last
    off = workshop.plan.workshop.days_off
    between = [last + timedelta(days=n) for n in range(1, (workshop.today - last).days)]
    missed = [d for d in between if d.weekday() < 5 and d not in off]
    assert view.missed == len(missed) > 3 and view.next_check == missed[0]
    assert f"{len(missed)} working days without a check" in view.sentence


def test_a_gauge_checked_yesterday_is_due_today(workshop, views):
    view = views["BG-2"]
    assert view.checks[-1].day == days(workshop, "BG-2")["day"][-1]
    assert view.state == "due" and view.missed == 0 and view.next_check == workshop.today
    assert "inside ±4.0 µm. Next check today." in view.sentence


def test_bias_is_the_mean_of_the_last_checks_with_students_interval(workshop, views):
    newest = days(workshop, "EC-1")["value"].to_list()[-20:]
    expected = gauge_bias(newest, 0.0)
    bias = views["EC-1"].bias
    assert (bias.mean, bias.n) == (pytest.approx(sum(newest) / 20), 20)
    assert (bias.low, bias.high) == pytest.approx(expected.interval)


def test_a_calibration_says_how_many_days_are_left_or_that_it_ran_out(workshop, views):
    left = (workshop.plan.gauge("LR-2").due - workshop.today).days
    assert f"runs out in {left} days" in views["LR-2"].sentence and views["LR-2"].state == "in order"
    assert views["MIC-9"].state == "overdue" and "ran out on 31 Mar" in views["MIC-9"].sentence


def test_the_scatter_is_taken_from_piece_to_piece_at_one_place(workshop, views):
    (measure,) = views["LR-2"].measures
    rows = workshop.store.readings(stage="valves", characteristics=["valve_leak"])
    steps = []
    for _, own in rows.sort("measured_at", "id").group_by("model", "valve"):
        newest = own.unique("serial", keep="first", maintain_order=True)["value"].to_list()
        steps += [abs(b - a) for a, b in pairwise(newest)]
    assert measure.n == rows.height and measure.name == "Valves: Valve leak"
    assert measure.spread == pytest.approx(sum(steps) / len(steps) / 1.1283791670955126)  # over d2 of two
    assert measure.steps == pytest.approx(measure.spread / 0.1) and measure.fine


def test_a_coarse_step_is_called_coarse(workshop):
    coarse = [
        g.model_copy(update={"resolution": 0.05}) if g.id == "BM-1" else g for g in workshop.plan.gauges
    ]
    plan = workshop.plan.model_copy(update={"gauges": tuple(coarse)})
    view = next(v for v in gauge_views(replace(workshop, plan=plan)) if v.id == "BM-1")
    assert view.measures[0].fine is False and view.measures[0].steps < 0.5


def test_a_check_outside_its_tolerance_is_the_worst(workshop):
    tight = [g.model_copy(update={"check_tolerance": 1e-9}) for g in workshop.plan.gauges]
    plan = workshop.plan.model_copy(update={"gauges": tuple(tight)})
    found = {v.id: v for v in gauge_views(replace(workshop, plan=plan))}
    view = found["BG-2"]
    assert view.state == "off" and "was off: +1.0 µm, outside" in view.sentence
    assert view.last_good == max(c.day for c in view.checks if c.value == 0.0)
    off = [c.value for c in view.checks if c.day > view.last_good]
    assert view.bias.mean == pytest.approx(sum(off) / len(off)) and view.bias.n == len(off)


def test_what_a_gauge_read_before_it_was_found_off_and_set_is_no_bias_of_now(workshop, views):
    every = views["EC-1"].checks[:-3]
    worst = max(every, key=lambda c: abs(c.value))
    tight = [g.model_copy(update={"check_tolerance": abs(worst.value) * 0.999}) for g in workshop.plan.gauges]
    plan = workshop.plan.model_copy(update={"gauges": tuple(tight)})
    view = next(v for v in gauge_views(replace(workshop, plan=plan)) if v.id == "EC-1")
    last_off = max(c.day for c in view.checks if c.good is False)
    assert view.state != "off" and last_off >= worst.day
    own = [c.value for c in view.checks if c.day >= last_off and c.good is not False and c.master == ""][-20:]
    assert (view.bias.mean, view.bias.n) == (pytest.approx(sum(own) / len(own)), len(own))
    assert worst.value not in own


def test_a_gauge_never_checked_says_so(workshop):
    fresh = Gauge(id="X-1", name="New", gauge_class="rule", resolution=1, unit="mm", daily_check=True)
    bare = Gauge(id="X-2", name="Bare", gauge_class="rule", resolution=1, unit="mm")
    soon = workshop.today + timedelta(days=1)
    near = Gauge(id="X-3", name="Near", gauge_class="rule", resolution=1, unit="mm", due=soon)
    plan = workshop.plan.model_copy(update={"gauges": (fresh, bare, near)})
    found = {v.id: v for v in gauge_views(replace(workshop, plan=plan))}
    assert found["X-1"].state == "never checked" and "no check is on record" in found["X-1"].sentence
    assert found["X-2"].state == "in order" and "No check and no calibration" in found["X-2"].sentence
    assert found["X-3"].state == "due" and "runs out in 1 day," in found["X-3"].sentence
    assert [trusted_since(found[x]) for x in ("X-1", "X-2")] == ["", ""]


def test_a_daily_check_that_was_never_made_is_due_today_or_when_work_goes_on(workshop):
    fresh = Gauge(id="X-1", name="New", gauge_class="rule", resolution=1, unit="mm", daily_check=True)
    bare = fresh.model_copy(update={"id": "X-2", "daily_check": False})
    plan = workshop.plan.model_copy(update={"gauges": (fresh, bare)})
    shop = replace(workshop, plan=plan)
    assert [(g.id, v.next_check) for g, v in gauges_to_look_at(shop)] == [("X-1", workshop.today)]
    closed = plan.model_copy(
        update={"workshop": plan.workshop.model_copy(update={"days_off": (workshop.today,)})}
    )
    (_, view), *_ = gauges_to_look_at(replace(workshop, plan=closed))
    assert view.next_check == workshop.today + timedelta(days=1)
    assert view.sentence == "It is to be checked daily, and no check is on record."


def test_days_off_are_passed_over(workshop):
    friday = date(2026, 11, 20)
    assert is_off(workshop.plan, friday + timedelta(days=1)) and not is_off(workshop.plan, friday)
    assert next_working_day(workshop.plan, friday) == date(2026, 11, 23)
    assert next_working_day(workshop.plan, date(2026, 8, 7)) > date(2026, 8, 14)  # the summer closure


def test_what_a_gauge_touched_is_what_the_command_says(demo_folder, workshop):
    board = StoreBoardData(demo_folder)
    said = also(workshop, "gauge", "BG-1", since="last-good-check")
    found = board.gauge_touched("BG-1")
    assert [row[0] for row in found.pieces] == [piece.serial for piece in said.pieces]
    assert found.sentence in said.to_text()
    assert board.gauge_touched("none") is None
    (spare,) = board.gauge_touched("MIC-9").pieces  # on one card only, whose rows are all held
    assert spare[0] == "QH-1153" and spare[3].endswith("only on a held row")
    calibrated = board.gauge_touched("MIC-1")
    assert min(row[1] for row in calibrated.pieces) >= workshop.plan.gauge("MIC-1").calibrated[-1]
    assert board.gauges() is board.gauges()


def test_nothing_later_than_the_boards_day_is_looked_at(demo_folder):
    early = open_workshop(demo_folder, as_of=date(2026, 6, 30))
    view = next(v for v in gauge_views(early) if v.id == "EC-1")
    assert view.checks[-1].day <= date(2026, 6, 30)
    assert days(early, "EC-1").filter(pl.col("day") > date(2026, 6, 30)).height > 0
