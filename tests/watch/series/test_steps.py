"""The step that the gauge leaves in means, derived figures and series of mixed gauges."""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from qc.plan import Gauge, load_plan
from qc.watch.results import Point
from qc.watch.series.steps import step_of

PLAN = load_plan(Path("sample_measurements/plan.yaml"))
SLIDE = PLAN.stage("slide")


def figure(name, stage=SLIDE):
    return next(c for c in stage.characteristics if c.id == name)


def points_of(readings, gauges=("MIC-2",)):
    from datetime import date

    return [
        Point(
            ordinal=n,
            serial=f"S-{n}",
            day=date(2026, 3, 2),
            model="tenor",
            value=1.0,
            measured=1.0,
            readings=count,
            gauge=gauges[n % len(gauges)],
        )
        for n, count in enumerate(readings, start=1)
    ]


def test_a_piece_with_places_left_out_changes_nothing():
    whole = step_of(points_of([4, 4, 4]), PLAN, SLIDE, figure("inner_od"))
    assert whole == pytest.approx(0.001 / math.sqrt(2))  # as if half of the four places were read
    assert step_of(points_of([4, 2, 3]), PLAN, SLIDE, figure("inner_od")) == whole


def test_repeats_at_one_place_hide_as_much_as_one_reading():
    force = figure("force")
    assert force.places == {}
    assert step_of(points_of([3, 3]), PLAN, SLIDE, force) == force.resolution


def test_of_mixed_gauges_the_coarser_step_counts():
    spare = Gauge(id="MIC-7", name="Spare", gauge_class="micrometer", resolution=0.01, unit="mm")
    mixed = PLAN.model_copy(update={"gauges": (*PLAN.gauges, spare)})
    points = points_of([4, 4], gauges=("MIC-2", "MIC-7"))
    assert step_of(points, mixed, SLIDE, figure("inner_od")) == pytest.approx(0.01 / math.sqrt(2))
    assert step_of(points, PLAN, SLIDE, figure("inner_od")) == pytest.approx(0.001 / math.sqrt(2))


def test_a_clearance_has_the_steps_of_both_diameters():
    points = points_of([6, 6], gauges=("BG-1 + MIC-2",))
    both = step_of(points, PLAN, SLIDE, figure("clearance"))
    assert both == pytest.approx(math.hypot(1.0, 1.0) / math.sqrt(6))  # a thousandth of a millimetre each
    fewer = [*points, replace(points[0], readings=2)]
    assert step_of(fewer, PLAN, SLIDE, figure("clearance")) == pytest.approx(
        math.hypot(1.0, 1.0) / math.sqrt(2)
    )


def test_figures_fitted_to_notes_have_no_step():
    tuning = next(
        s for s in PLAN.stages if any(c.derive and c.derive.what == "main-length" for c in s.characteristics)
    )
    fitted = next(c for c in tuning.characteristics if c.derive and c.derive.what == "main-length")
    assert step_of(points_of([10]), PLAN, tuning, fitted) is None
