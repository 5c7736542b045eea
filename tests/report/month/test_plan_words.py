"""What changed between two versions of a plan is said, and nothing else."""

from qc.plan import DatedLimits, Gauge
from qc.report.month import plan_change_lines


def changed(plan, stage_id, figure_id, **fields):
    """A plan in which one figure reads otherwise."""
    stages = []
    for stage in plan.stages:
        figures = [
            c.model_copy(update=fields) if (stage.id, c.id) == (stage_id, figure_id) else c
            for c in stage.characteristics
        ]
        stages.append(stage.model_copy(update={"characteristics": tuple(figures)}))
    return plan.model_copy(update={"stages": tuple(stages)})


def test_a_plan_that_reads_the_same_has_not_changed(small_plan):
    assert plan_change_lines(small_plan, small_plan.model_copy(deep=True)) == ()


def test_limits_are_told_with_what_they_were(small_plan):
    slide = small_plan.stage("slide")
    figure = slide.characteristics[0]
    after = changed(
        small_plan, "slide", figure.id, limits=(DatedLimits(lower=90.0, upper=190.0, models=("alto",)),)
    )
    (said,) = plan_change_lines(small_plan, after)
    assert said.startswith(f"{slide.name}: {figure.name}: ") and "now from 90 to 190 µm for alto." in said
    (back,) = plan_change_lines(after, small_plan)
    assert "from 90 to 190 µm for alto, now " in back


def test_what_came_and_what_went_is_named(small_plan):
    gauge = Gauge(id="G-9", name="Bore gauge", gauge_class="bore", resolution=0.001, unit="mm")
    more = small_plan.model_copy(update={"gauges": (*small_plan.gauges, gauge)})
    assert plan_change_lines(small_plan, more) == ("Gauge G-9 is new.",)
    assert plan_change_lines(more, small_plan) == ("Gauge G-9 was taken out.",)
    finer = more.model_copy(
        update={"gauges": (*small_plan.gauges, gauge.model_copy(update={"resolution": 0.002}))}
    )
    assert plan_change_lines(more, finer) == ("Gauge G-9: resolution changed.",)
    fewer = small_plan.model_copy(update={"stages": small_plan.stages[1:], "causes": ("bent-slide",)})
    assert plan_change_lines(small_plan, fewer) == (
        "Stage draw was taken out.",
        "Causes that are new: bent slide.",
    )
