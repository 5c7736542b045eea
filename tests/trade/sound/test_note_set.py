import math

import pytest

from qc import trade
from qc.trade import Instrument, Note, TradeError, Valve

TENOR = Instrument(2944.9, (Valve("F", 986.1),))


@pytest.mark.parametrize(("note", "column", "problem", "hint"), [
    (Note(0, 0.0), "partial", "off the range", "Count the partials"),
    (Note(17, 0.0), "partial", "off the range", "Count the partials"),
    (Note(4, 0.0, 8), "position", "off the model's slide", "Positions 1 to 7"),
    (Note(4, 0.0, 6, ("F",)), "position", "with F down", "Positions 1 to 5"),
    (Note(4, 0.0, 1, (), method="guessed"), "method", "not known", "by-ear"),
    (Note(4, math.nan), "cents", "not a number", "again"),
    (Note(4, 233.1), "cents", "not this note", "hertz"),
    (Note(4, 960.0), "cents", "not this note", "hertz"),
    (Note(4, 1195.0), "cents", "not this note", "1 octave off"),
    (Note(4, -96.0, 2), "cents", "not this note", "position 3 and +4 cents"),
    (Note(4, 104.0, 3), "cents", "not this note", "position 2 and +4 cents"),
    (Note(4, -900.0), "cents", "not this note", "in cents"),
])  # fmt: skip
def test_notes_that_are_refused_with_a_mend(note, column, problem, hint):
    with pytest.raises(TradeError, match=problem) as caught:
        trade.check_notes([Note(2, 0.0), note], TENOR)
    assert (caught.value.index, caught.value.column) == (1, column)
    assert hint in caught.value.hint


def test_a_slip_hides_behind_a_sharp_instrument_no_longer():
    """-75 cents beside notes at +25 is a slide step, though it is within a semitone of the note."""
    notes = [Note(n, 25.0 + trade.harmonic_deviation(n), k) for n in (2, 3, 4) for k in (1, 2)]
    with pytest.raises(TradeError, match="a slide step away") as caught:
        trade.check_notes([*notes, Note(4, -75.0, 4)], TENOR)
    assert caught.value.index == 6
    assert "position 5" in caught.value.hint


def test_an_empty_set():
    with pytest.raises(TradeError, match="empty"):
        trade.check_notes([], TENOR)


def test_seventh_partial_may_read_far_flat():
    trade.check_notes([Note(7, -31.2 - 40, 2)], TENOR)


def test_slide_settings_are_put_to_one():
    """The same instrument blown with the slide at two settings: the difference is known, not an error."""
    out = [Note(2, 0.0, main_out_mm=10.0)] * 2
    farther = Note(2, -2 * 5.0 * trade.CENTS_PER_NEPER / 2944.9, main_out_mm=15.0)
    fit = trade.fit_note_set([*out, farther], TENOR, reading_sd=1.0)
    assert fit.length("main").error_mm == pytest.approx(0.0, abs=1e-9)


def test_wrap_settings_are_put_to_one():
    notes = [Note(2, 0.0), Note(2, 0.0, 1, ("F",), wrap_out_mm=3.0), Note(2, 0.0, 1, ("F",), wrap_out_mm=3.0)]
    notes.append(Note(2, -2 * 4.0 * trade.CENTS_PER_NEPER / 3931.0, 1, ("F",), wrap_out_mm=7.0))
    fit = trade.fit_note_set(notes, TENOR, reading_sd=1.0)
    assert fit.length("valve:F").error_mm == pytest.approx(0.0, abs=1e-9)


def test_warm_air_is_no_short_instrument():
    cents = trade.temperature_cents(26.0)
    fit = trade.fit_note_set([Note(2, cents, air_c=26.0)] * 3, TENOR, reading_sd=1.0)
    assert fit.length("main").error_mm == pytest.approx(0.0, abs=1e-9)
    assert fit.common_cents == pytest.approx(17.5, abs=0.2)
    assert trade.fit_note_set(
        [Note(2, 0.0, air_c=26.0)], TENOR, reading_sd=1.0, reference_air_c=26.0
    ).common_cents == pytest.approx(0.0)


def test_combination_by_design_is_no_error():
    bass = Instrument(2944.9, (Valve("F", 986.07), Valve("G", 765.44)))
    notes = [Note(2, 0.0), Note(2, 0.0, 1, ("F",)), Note(2, 0.0, 1, ("G",)), Note(2, -8.0, 1, ("F", "G"))]
    fit = trade.fit_note_set(notes, bass, reading_sd=1.0)
    assert max(abs(length.error_mm) for length in fit.lengths) < 0.1


def test_dependent_wrap_is_judged_on_the_whole_chain():
    bass = Instrument(2944.9, (Valve("F", 986.07), Valve("D", 743.76, "F")))
    assert trade.valve_column_mm(bass, "D") == pytest.approx(2944.9 + 986.07 + 743.76)
    assert trade.valve_column_mm(bass, "F") == pytest.approx(2944.9 + 986.07)
