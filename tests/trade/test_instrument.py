import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc import trade
from qc.trade import Instrument, TradeError, Valve

BASS = Instrument(2944.9, (Valve("F", 986.07), Valve("D", 743.76, depends_on="F")), pedal_note=34)


def test_columns_grow_by_a_semitone_a_position_in_every_state():
    for state in ((), ("F",), ("F", "D")):
        columns = [trade.column_mm(BASS, k, state) for k, _ in trade.slide_table(BASS, state)]
        ratios = [b / a for a, b in zip(columns, columns[1:], strict=False)]
        assert ratios == pytest.approx([2 ** (1 / 12)] * len(ratios))


def test_dependent_valve_reaches_d_in_tune():
    assert trade.state_semitones(BASS, ("F", "D")) == 8
    assert abs(trade.combination_cents(BASS, ("F", "D"))) < 0.01


def test_single_valve_is_judged_against_the_tempered_note():
    assert trade.combination_cents(Instrument(2944.9, (Valve("F", 900.0),)), ("F",)) == 0.0


def test_f_side_has_five_full_positions():
    assert [k for k, _ in trade.slide_table(BASS, ("F",))] == [1, 2, 3, 4, 5]
    with pytest.raises(TradeError, match="position 6 is off the model's slide with F down") as caught:
        trade.column_mm(BASS, 6, ("F",))
    assert caught.value.column == "position"
    assert "Positions 1 to 5" in caught.value.hint


@pytest.mark.parametrize("position", [0, 8, -1])
def test_position_off_the_slide(position):
    with pytest.raises(TradeError, match="off the model's slide"):
        trade.column_mm(BASS, position)


@pytest.mark.parametrize(
    ("text", "state"),
    [
        ("", ()),
        (None, ()),
        ("Open", ()),
        ("-", ()),
        ("none", ()),
        ("f", ("F",)),
        ("F+D", ("F", "D")),
        ("d + f", ("F", "D")),
    ],
)
def test_valve_cells(text, state):
    assert trade.valve_state(BASS, text) == state


def test_valve_cells_that_are_refused():
    with pytest.raises(TradeError, match=r"valve 'G' is not in the model \(it has: F, D\)"):
        trade.valve_state(BASS, "G")
    with pytest.raises(TradeError, match="sounds only together with F"):
        trade.valve_state(BASS, "D")
    with pytest.raises(TradeError, match="it has: none"):
        trade.valve_state(Instrument(2944.9), "F")


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Instrument(2.9449), "effective length"),
        (lambda: Instrument(2944.9, (Valve("F", 0.0),)), "cannot add"),
        (lambda: Instrument(2944.9, (Valve("F", 986), Valve("F", 765))), "used twice"),
        (lambda: Instrument(2944.9, (Valve("D", 744, depends_on="F"),)), "depends on 'F'"),
    ],
)
def test_instruments_that_are_refused(make, words):
    with pytest.raises(TradeError, match=words):
        make()


def test_pedal_note_is_found_from_the_length():
    assert Instrument(2944.9).fundamental_note == 34
    assert Instrument(2206.2).fundamental_note == 39
    assert Instrument(5889.8).fundamental_note == 22
    assert Instrument(2931.6).fundamental_note == 34, "an A4 of 442 Hz does not change the name of the note"


def test_notes_meant():
    assert trade.note_name(trade.note_of(BASS, 4)) == "B-flat3"
    assert trade.note_name(trade.note_of(BASS, 3, 1, ("F",))) == "C3"
    assert trade.note_name(trade.note_of(BASS, 2, 1, ("F", "D"))) == "D2"
    assert trade.note_frequency(BASS, 8, 1, (), 442) == pytest.approx(442 * 2 ** (1 / 12))


def test_local_length_of_evenly_spaced_resonances_is_the_effective_length():
    f1 = 58.2705
    assert trade.local_length_mm(3 * f1, 5 * f1) == pytest.approx(trade.effective_length_mm(f1))
    with pytest.raises(TradeError):
        trade.local_length_mm(5, 3)
    with pytest.raises(TradeError):
        trade.effective_length_mm(0)


@given(st.floats(1500, 6000), st.floats(-60, 60))
def test_exact_change_brings_the_note_home(column, cents):
    """After the change the column sounds `cents` lower: the note is then in tune."""
    after = column + trade.length_change_mm(column, cents)
    assert 1200 * math.log2(column / after) == pytest.approx(-cents, abs=1e-9)


@given(st.floats(1500, 6000), st.floats(0.1, 60))
def test_flat_means_remove_and_sharp_means_add(column, cents):
    assert trade.length_change_mm(column, -cents) < 0 < trade.length_change_mm(column, cents)
