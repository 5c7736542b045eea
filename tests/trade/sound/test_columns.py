"""Columns, slides and valves by root search, and cuts on resonances that a phase function places."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from qc import trade
from qc.trade import Instrument, TradeError, Valve

TABLES = json.loads((Path(__file__).parents[2] / "published" / "trade_tables.json").read_text("utf-8"))
SOUND = 343.2
MODELS = {"alto": 2206.2, "tenor": 2944.9, "contrabass": 5889.8}
many = settings(max_examples=60, deadline=None)
lengths = st.floats(1800.0, 6500.0)


def wrap_mm(length_mm, semitones, on=0):
    """Tube that lowers a column which already stands `on` semitones down by so many semitones more."""
    return length_mm * (2 ** ((on + semitones) / 12) - 2 ** (on / 12))


def bass(length_mm=2944.9, dependent=False):
    if dependent:
        f, d = wrap_mm(length_mm, 5), wrap_mm(length_mm, 3, on=5)
        return Instrument(length_mm, (Valve("F", f), Valve("D", d, "F")))
    return Instrument(length_mm, (Valve("F", wrap_mm(length_mm, 5)), Valve("G", wrap_mm(length_mm, 4))))


@many
@given(lengths, st.floats(0.1, 9.0))
def test_slide_travel_is_where_the_pitch_has_fallen_by_so_many_semitones(length_mm, semitones):
    """Second route: pull the slide until c / 2(L + 2x) has fallen, by root search."""

    def fallen(travel):
        return 1200 * math.log2((length_mm + 2 * travel) / length_mm) - 100 * semitones

    found = optimize.brentq(fallen, 0.0, length_mm)
    assert trade.slide_travel_mm(length_mm, semitones) == pytest.approx(found, abs=1e-6)


def test_travel_agrees_roughly_with_what_is_taught():
    """A tutor book: about 3.5 in a step at first, about 23 in to 7th; rough figures."""
    taught = TABLES["teaching_slide_inch"]
    table = dict(trade.slide_table(Instrument(MODELS["tenor"])))
    assert table[2] / 25.4 == pytest.approx(taught["step"], abs=0.1)
    assert table[4] / 25.4 == pytest.approx(3 * taught["step"], abs=0.6)
    assert table[7] / 25.4 == pytest.approx(taught["seventh"], abs=1.5)


@pytest.mark.parametrize("length_mm", MODELS.values(), ids=list(MODELS))
@pytest.mark.parametrize("state", [(), ("F",)], ids=["open", "F"])
def test_steps_of_the_slide_grow_by_a_semitone_each(length_mm, state):
    model = Instrument(length_mm, (Valve("F", wrap_mm(length_mm, 5)),))
    travels = [mm for _, mm in trade.slide_table(model, state)]
    steps = np.diff(travels)
    assert steps[1:] / steps[:-1] == pytest.approx(2 ** (1 / 12))
    assert steps[0] == pytest.approx(trade.state_length_mm(model, state) / 2 * (2 ** (1 / 12) - 1))


@many
@given(lengths, st.integers(1, 7), st.floats(0.5, 2.0))
def test_an_instrument_twice_as_large_has_twice_the_travel_and_half_the_sensitivity(length_mm, k, size):
    small, large = Instrument(length_mm), Instrument(min(12000.0, size * length_mm))
    ratio = large.length_mm / small.length_mm
    assert trade.column_mm(large, k) == pytest.approx(ratio * trade.column_mm(small, k))
    assert trade.cents_per_mm(trade.column_mm(large, k)) == pytest.approx(
        trade.cents_per_mm(trade.column_mm(small, k)) / ratio
    )
    assert trade.reachable_semitones(large) == pytest.approx(trade.reachable_semitones(small), abs=1e-9)


@many
@given(lengths, st.integers(1, 6))
def test_reach_with_a_valve_by_root_search(length_mm, semitones):
    """The travel to 7th is fixed; with a longer column it makes fewer semitones."""
    model = Instrument(length_mm, (Valve("V", wrap_mm(length_mm, semitones)),))
    travel = trade.slide_travel_mm(length_mm, 6)
    column = trade.state_length_mm(model, ("V",))
    found = optimize.brentq(lambda s: trade.slide_travel_mm(column, s) - travel, 0.0, 12.0)
    assert trade.reachable_semitones(model, ("V",)) == pytest.approx(found, abs=1e-9)
    assert len(trade.slide_table(model, ("V",))) == math.floor(found) + 1


@many
@given(lengths, st.integers(1, 11))
def test_a_wrap_made_for_so_many_semitones_is_read_back_as_so_many(length_mm, semitones):
    model = Instrument(length_mm, (Valve("V", wrap_mm(length_mm, semitones)),))
    assert trade.state_semitones(model, ("V",)) == semitones
    cents = trade.cents_between(1.0 / trade.state_length_mm(model, ("V",)), 1.0 / length_mm)
    assert cents == pytest.approx(-100.0 * semitones, abs=1e-8)


@many
@given(lengths)
def test_dependent_valves_are_in_tune_and_independent_ones_eight_cents_flat(length_mm):
    """Trade note 1.5: F and G-flat pressed together fall 8.0 cents flat of D on every size of instrument."""
    assert trade.combination_cents(bass(length_mm), ("F", "G")) == pytest.approx(-8.008, abs=5e-3)
    assert trade.combination_cents(bass(length_mm, dependent=True), ("F", "D")) == pytest.approx(
        0.0, abs=1e-8
    )


@many
@given(st.sampled_from([(), ("F",), ("G",), ("F", "G")]), st.integers(1, 4), st.integers(2, 10))
def test_the_note_meant_is_the_one_that_sounds(state, position, partial):
    """The column's harmonic lies off the tempered note by what belongs to series and valves."""
    model = bass()
    sounding = partial * 1000 * SOUND / (2 * trade.column_mm(model, position, state))
    meant = trade.note_frequency(model, partial, position, state)
    natural = trade.harmonic_deviation(partial) + trade.combination_cents(model, state)
    pedal = trade.cents_between(1000 * SOUND / (2 * model.length_mm), trade.tempered_frequency(34))
    assert trade.cents_between(sounding, meant) == pytest.approx(natural + pedal, abs=1e-6)


@many
@given(st.integers(20, 45), st.floats(438.0, 444.0))
def test_the_pedal_is_recognised_from_the_length_of_any_key(note, a4):
    length_mm = trade.effective_length_mm(trade.tempered_frequency(note, a4))
    assert Instrument(length_mm).fundamental_note == note
    assert Instrument(length_mm, pedal_note=note - 12).fundamental_note == note - 12, "what is told, holds"


class Bore:
    """An invented uneven bore: cylinder and an end whose phase bends, so that partials stand unevenly."""

    def __init__(self, cylinder_mm, end_mm, bend):
        self.cylinder_mm, self.end_mm, self.bend = cylinder_mm, end_mm, bend

    def phase(self, hz, extra_mm=0.0):
        k = 2 * math.pi * hz / (1000 * SOUND)
        return k * (self.cylinder_mm + extra_mm + self.end_mm) + self.bend * math.tanh(k * 250.0)

    def resonance(self, number, extra_mm=0.0):
        return optimize.brentq(lambda hz: self.phase(hz, extra_mm) - number * math.pi, 1.0, 5000.0)


@pytest.mark.parametrize("bend", [-0.8, 0.0, 0.8])
@pytest.mark.parametrize("number", [3, 4, 6, 8])
def test_sensitivity_of_a_partial_is_that_of_its_local_length(bend, number):
    """Trade note 1.2: a resonance answers added tube like a column of c / (f above - f below).

    The resonances are found by root search on the phase along the bore, before and after a cut of 4 mm.
    """
    bore = Bore(2500.0, 440.0, bend)
    local = trade.local_length_mm(bore.resonance(number - 1), bore.resonance(number + 1))
    moved = trade.cents_between(bore.resonance(number, -4.0), bore.resonance(number, 4.0)) / 8.0
    assert moved == pytest.approx(trade.cents_per_mm(local), rel=0.004)
    even = 2940.0
    assert (bend == 0.0) == (abs(local / even - 1.0) < 1e-9), (
        "an uneven bore has a length of its own a partial"
    )


@many
@given(lengths, st.floats(-45.0, 45.0), st.integers(1, 8))
def test_the_cut_brings_every_partial_of_an_even_column_home(length_mm, cents, partial):
    """Change the tube as told, find the resonance by root search again: the deviation is gone."""
    bore = Bore(length_mm, 0.0, 0.0)
    wanted = partial * 1000 * SOUND / (2 * length_mm)
    off = bore.cylinder_mm * (2 ** (-cents / 1200) - 1)  # so much too short (sharp) or long
    column = length_mm + off
    change = trade.length_change_mm(column, cents)
    assert trade.cents_between(bore.resonance(partial, off), wanted) == pytest.approx(cents, abs=1e-6)
    assert trade.cents_between(bore.resonance(partial, off + change), wanted) == pytest.approx(0.0, abs=1e-6)


@many
@given(st.floats(1500.0, 6000.0), st.floats(-60.0, 60.0))
def test_the_change_is_undone_by_the_opposite_deviation_on_the_new_column(column, cents):
    change = trade.length_change_mm(column, cents)
    assert trade.length_change_mm(column + change, -cents) == pytest.approx(-change, abs=1e-9)
    linear = cents / trade.cents_per_mm(column)
    assert abs(change - linear) <= abs(linear) * abs(cents) / trade.CENTS_PER_NEPER + 1e-9


def test_uncertainty_of_a_cut_by_simulation():
    """4 readings of sd 5 cents on the F side: 5.7 mm (trade note 1.6); 40,000 draws, error 0.35 %."""
    rng = np.random.default_rng(16)
    means = rng.normal(-12.0, 5.0, (40_000, 4)).mean(axis=1)
    cuts = [trade.length_change_mm(3931.0, cents) for cents in means]
    assert np.std(cuts) == pytest.approx(trade.change_uncertainty_mm(3931.0, 5.0, 4), rel=0.015)


@many
@given(st.integers(2, 10), st.integers(1, 6))
def test_pulling_the_slide_in_brings_the_partial_to_the_tempered_note(partial, position):
    """A naturally flat seventh in 2nd position sounds the tempered note 27.8 mm further in (T038)."""
    model = Instrument(2944.9)
    pull = trade.partial_pull_in_mm(model, partial, position)
    column = trade.column_mm(model, position) - 2 * pull
    deviation = 1200 * math.log2(trade.column_mm(model, position) / column) + trade.harmonic_deviation(
        partial
    )
    assert deviation == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("change", "words", "mend"), [
    ({"length_mm": 2.9}, "no slide instrument's", "a tenor is about 2945"),
    ({"length_mm": math.nan}, "no slide instrument's", "Give it in millimetres"),
    ({"valves": (Valve("F", 986.0), Valve(" f ", 700.0))}, "empty or used twice", "Name each valve once"),
    ({"valves": (Valve("", 986.0),)}, "empty or used twice", "Name each valve once"),
    ({"valves": (Valve("F", 9000.0),)}, "cannot add 9000.0 mm", "about 986 for the F wrap"),
    ({"valves": (Valve("D", 744.0, "F"),)}, "'F', which the model does not have", "valves are: D"),
    ({"valves": (Valve("F", 986.0, "D"), Valve("D", 744.0, "F"))}, "on itself", "sounds alone"),
    ({"valves": (Valve("F", 986.0, "F"),)}, "valve F depends on itself", "Leave `depends_on` out"),
    ({"valves": (Valve("E", 9.0, "F"), Valve("F", 986.0, "D"), Valve("D", 744.0, "F"))}, "valve E", "alone"),
])  # fmt: skip
def test_models_that_cannot_be_say_what_and_how_to_mend_it(change, words, mend):
    with pytest.raises(TradeError, match=words) as caught:
        replace(Instrument(2944.9), **change)
    assert mend in caught.value.hint
    assert str(caught.value) == f"{caught.value.problem}. {caught.value.hint}"


def test_a_chain_of_valves_is_no_ring():
    model = Instrument(2944.9, (Valve("F", 986.0), Valve("D", 744.0, "F"), Valve("C", 300.0, "D")))
    assert trade.valve_column_mm(model, "C") == pytest.approx(2944.9 + 986.0 + 744.0 + 300.0)
    assert trade.valve_state(model, "c + d+F") == ("F", "D", "C"), "in the order of the air"
    with pytest.raises(TradeError, match="sounds only together with"):
        trade.valve_state(model, "C+F")


@many
@given(st.floats(max_value=0.0), st.floats(0.1, 500.0))
def test_resonances_and_fundamentals_are_above_zero_and_in_order(below, above):
    for call in (
        lambda: trade.effective_length_mm(below),
        lambda: trade.local_length_mm(below, above),
        lambda: trade.local_length_mm(above, above),
    ):
        with pytest.raises(TradeError):
            call()
