"""Instruments and tubes move through the shop in a believable order."""

from itertools import pairwise

import pytest

from sample_measurements.make import scenario
from sample_measurements.make.flow import plan_flow

STAGES = ["bell", "joints", "slide", "valves", "tuning", "polish", "lacquer", "final", "ship"]


def test_two_hundred_and_twenty_instruments_of_five_models(flow):
    counts = {}
    for piece in flow.pieces:
        counts[piece.model] = counts.get(piece.model, 0) + 1
    assert counts == scenario.MODEL_COUNTS
    assert sum(counts.values()) == scenario.INSTRUMENTS == 220
    assert [piece.serial for piece in flow.pieces] == [f"QH-{number}" for number in range(1001, 1221)]


def test_each_instrument_passes_its_stages_in_order(flow):
    for piece in flow.pieces:
        days = [piece.days[stage] for stage in STAGES]
        assert days == sorted(days)
        assert piece.days["bell"] < piece.days["slide"] < piece.days["lacquer"] < piece.days["ship"]


@pytest.mark.parametrize("stage", STAGES)
def test_first_in_first_out_at_every_stage(flow, stage):
    days = [piece.days[stage] for piece in flow.pieces]
    assert days == sorted(days)
    assert set(days) <= set(flow.days)


def test_tubes_are_drawn_days_before_they_are_fitted_and_used_once(flow):
    used = [tube.serial for piece in flow.pieces for tube in piece.tubes]
    assert len(used) == len(set(used)) == 440
    for piece in flow.pieces:
        for tube in piece.tubes:
            wait = flow.days.index(piece.days["slide"]) - flow.days.index(tube.day)
            assert 5 <= wait <= 16
            assert tube.model == scenario.TUBE_MODEL[piece.model]
            assert not tube.spare


def test_there_are_more_tubes_than_instruments_need(flow):
    assert len(flow.tubes) > 2 * len(flow.at("slide"))
    assert sum(tube.spare for tube in flow.tubes) >= 15


def test_draw_counts_only_rise_until_the_die_is_changed(flow):
    for die in {tube.die for tube in flow.tubes}:
        counts = [tube.draws for tube in flow.tubes if tube.die == die]
        assert all(0 < later - earlier <= 2 for earlier, later in pairwise(counts))
    tenor = [tube for tube in flow.tubes if tube.model == "tenor"]
    assert {tube.die for tube in tenor if tube.day >= scenario.DIE_CHANGE} == {"D-24"}
    assert {tube.die for tube in tenor if tube.day < scenario.DIE_CHANGE} == {"D-21"}


def test_enough_pieces_come_after_each_planted_change(flow):
    after = [piece for piece in flow.at("slide") if piece.days["slide"] >= flow.gauge_day]
    assert len(after) >= 7
    assert sum(p.mandrel == scenario.NEW_MANDREL for p in flow.at("tuning")) in (10, 11, 12)
    assert sum(p.leadpipe_batch == "LP-12" for p in flow.at("tuning")) == scenario.LEADPIPE_PIECES
    assert sum(p.nozzle == scenario.NEW_NOZZLE for p in flow.at("lacquer")) >= 12


def test_the_changes_begin_at_different_instruments(flow):
    firsts = [
        next(p.index for p in flow.pieces if p.mandrel == scenario.NEW_MANDREL),
        next(p.index for p in flow.pieces if p.leadpipe_batch == "LP-12"),
        next(p.index for p in flow.pieces if p.nozzle == scenario.NEW_NOZZLE),
        next(p.index for p in flow.pieces if p.days["slide"] >= flow.gauge_day),
    ]
    assert all(later - earlier >= 5 for earlier, later in pairwise(sorted(firsts)))


def test_only_models_with_a_valve_have_a_mandrel(flow):
    assert {piece.model for piece in flow.pieces if piece.mandrel} == set(scenario.VALVES)


def test_the_flow_does_not_depend_on_when_it_is_asked(flow):
    assert plan_flow(flow.days) == flow
