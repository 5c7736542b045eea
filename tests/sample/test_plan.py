"""The plan is valid, whole, and says the same as the program that makes the sheets."""

from datetime import date

import pytest

from sample_measurements.make import scenario
from sample_measurements.make.workdays import working_days


def test_the_plan_asks_for_a_board_of_a_good_size(plan):
    assert 20 <= len(plan.charted()) <= 28
    assert [stage.id for stage in plan.stages] == [
        "draw",
        "bell",
        "joints",
        "slide",
        "valves",
        "tuning",
        "polish",
        "lacquer",
        "final",
    ]


def test_ids_are_given_once(plan):
    for items in (plan.models, plan.stages, plan.gauges, plan.tools, plan.cards):
        ids = [item.id for item in items]
        assert len(ids) == len(set(ids))
    codes = [person.code for person in plan.people]
    assert len(codes) == len(set(codes)) == 9


def test_every_stage_shows_its_usual_cautions_and_never_calls_a_step_safe(plan):
    for stage in plan.stages:
        assert stage.cautions
        assert any(text.startswith("Usual cautions") for text in stage.cautions)
        assert "safe" not in " ".join(stage.cautions).lower().replace("unsafe", "")


def test_every_figure_is_said_in_words(plan):
    for stage in plan.stages:
        for characteristic in stage.characteristics:
            assert characteristic.plain.endswith(".")
            assert {"above", "below"} <= set(characteristic.words) <= {"noun", "above", "below"}
            if characteristic.charted:
                assert characteristic.next_step.endswith(".")
                assert characteristic.reaction


def test_cards_and_gauges_cover_every_recorded_figure(plan):
    for stage in plan.stages:
        carried = {c for card in plan.cards if card.stage == stage.id for c in card.characteristics}
        for characteristic in stage.characteristics:
            assert (characteristic.derive is not None) != (characteristic.id in carried)
            if characteristic.gauge_class:
                assert characteristic.gauge_class in {gauge.gauge_class for gauge in plan.gauges}


def test_targets_lie_inside_their_limits_for_every_model(plan):
    for stage, characteristic, _ in plan.charted():
        for model in plan.models_of(characteristic):
            limits = plan.limits(characteristic, model.id, date(2026, 11, 24))
            low = limits.lower if limits.lower is not None else float("-inf")
            high = limits.upper if limits.upper is not None else float("inf")
            assert low < high
            assert limits.target is None or low < limits.target < high, (
                stage.id,
                characteristic.id,
                model.id,
            )


def test_lengths_follow_from_pitch(plan):
    # c/(2 f1) with c = 343.2 m/s and f1 tempered at A4 = 442 Hz; valves lengthen by 5 and by 8 semitones.
    for model in plan.models:
        fundamental = plan.workshop.a4_hz * 2 ** ((model.pedal_midi - 69) / 12)
        assert model.length_mm == pytest.approx(343_200 / (2 * fundamental), abs=0.05)
        for valve in model.valves:
            steps = {"F": (0, 5), "D": (5, 8)}[valve.name]
            wanted = model.length_mm * (2 ** (steps[1] / 12) - 2 ** (steps[0] / 12))
            assert valve.added_mm == pytest.approx(wanted, abs=0.1)


def test_tools_were_changed_on_the_days_of_the_story(plan, flow):
    assert (
        plan.tool(scenario.NEW_MANDREL).fitted == flow.mandrel_day == plan.tool(scenario.OLD_MANDREL).removed
    )
    assert plan.tool(scenario.NEW_NOZZLE).fitted == flow.nozzle_day == plan.tool(scenario.OLD_NOZZLE).removed
    assert plan.tool(scenario.WEARING_DIE).fitted == scenario.DIE_CHANGE == plan.tool("D-21").removed


def test_targets_of_tubes_are_those_the_draw_bench_aims_at(plan):
    od, bore = (plan.characteristic("draw", name) for name in ("tube_od", "tube_bore"))
    for model, (outside, inside, *_) in scenario.TUBE_SIZES.items():
        assert plan.limits(od, model, scenario.LAST_DAY).target == outside
        assert plan.limits(bore, model, scenario.LAST_DAY).target == inside


def test_only_the_old_spare_runs_out_while_it_could_be_used(plan):
    overdue = [gauge.id for gauge in plan.gauges if gauge.due is not None and gauge.due <= scenario.LAST_DAY]
    assert overdue == ["MIC-9"]


def test_today_is_the_day_after_the_last_sheet(plan):
    assert plan.workshop.today == date(2026, 11, 24)
    assert scenario.LAST_DAY == date(2026, 11, 23)
    days = working_days(scenario.FIRST_DAY, scenario.LAST_DAY, plan.workshop.days_off)
    assert days[-1] == scenario.LAST_DAY
    assert 300 <= len(days) <= 350


def test_the_last_eight_working_days(plan, flow):
    days = working_days(flow.gauge_day, scenario.LAST_DAY, plan.workshop.days_off)
    assert len(days) == scenario.UNZEROED_DAYS == 8
