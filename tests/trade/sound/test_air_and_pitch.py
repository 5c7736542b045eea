"""Pitch, harmonics and air against printed tables, and the laws they must keep whatever the figures."""

import json
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from qc import trade
from qc.trade import TradeError
from qc.trade.sound.acoustics import water_fraction

TABLES = json.loads((Path(__file__).parents[2] / "published" / "trade_tables.json").read_text("utf-8"))
STANDARD_PA = 101325.0
many = settings(max_examples=60, deadline=None)
hertz = st.floats(20.0, 5000.0)
a4s = st.floats(415.0, 466.0)
airs = st.floats(0.0, 30.0)
shares = st.floats(0.0, 1.0)


@pytest.mark.parametrize(("note", "hz"), TABLES["notes_hz"]["four_decimals"].items())
def test_notes_of_the_printed_sequence(note, hz):
    assert trade.tempered_frequency(int(note)) == pytest.approx(hz, abs=1e-4), "cut or rounded"


@pytest.mark.parametrize(("note", "hz"), TABLES["notes_hz"]["three_decimals"].items())
def test_notes_of_the_printed_keyboard(note, hz):
    """The table cuts some of its figures and rounds others: within one of its last digit."""
    assert trade.tempered_frequency(int(note)) == pytest.approx(hz, abs=1e-3)
    found, cents = trade.nearest_note(hz)
    assert (found, cents) == (int(note), pytest.approx(0.0, abs=0.06))


def test_names_follow_the_octave_of_iso_and_count_on_below_zero():
    """C4 holds A4 = 440 Hz (ISO 16); the printed sequence begins with C-1."""
    assert [trade.note_name(n) for n in (0, 9, 10, 11, 12)] == ["C-1", "A-1", "B-flat-1", "B-1", "C0"]
    assert trade.note_name(69) == "A4" and trade.note_name(-1) == "B-2"
    octave = [trade.note_name(n)[:-1] for n in range(60, 72)]
    assert octave == ["C", "C#", "D", "E-flat", "E", "F", "F#", "G", "A-flat", "A", "B-flat", "B"]


@pytest.mark.parametrize(
    ("partial", "cents"), list(enumerate(TABLES["harmonics_cents"]["deviation"], start=1))
)
def test_harmonics_of_the_printed_table(partial, cents):
    assert trade.harmonic_deviation(partial) == pytest.approx(cents, abs=0.051)


@many
@given(st.integers(1, 16), st.integers(1, 16))
def test_harmonics_of_products_add_up_to_whole_semitones(first, second):
    """1200 log2 is additive, so deviations of a product and of its factors differ by semitones only."""
    left = trade.harmonic_deviation(first * second)
    rest = left - trade.harmonic_deviation(first) - trade.harmonic_deviation(second)
    assert rest / 100.0 == pytest.approx(round(rest / 100.0), abs=1e-9)


@many
@given(st.integers(1, 64))
def test_semitones_and_deviation_together_are_the_harmonic(partial):
    """Second route: the note and the rest are what `nearest_note` says of the harmonic's own frequency."""
    base = trade.tempered_frequency(34)
    note, cents = trade.nearest_note(partial * base)
    assert note == 34 + trade.harmonic_semitones(partial)
    assert cents == pytest.approx(trade.harmonic_deviation(partial), abs=1e-9)


@many
@given(hertz, hertz, hertz)
def test_cents_are_an_additive_measure(first, second, third):
    way = trade.cents_between(first, second) + trade.cents_between(second, third)
    assert way == pytest.approx(trade.cents_between(first, third), abs=1e-8)
    assert trade.cents_between(first, second) == pytest.approx(-trade.cents_between(second, first), abs=1e-9)
    assert trade.cents_between(2.0 * first, first) == pytest.approx(1200.0, abs=1e-9)


@many
@given(hertz, a4s, st.floats(0.5, 2.0))
def test_cents_do_not_depend_on_the_unit_of_frequency(hz, a4, unit):
    """Whoever counts in another unit of time gets the same note and the same deviation."""
    note, cents = trade.nearest_note(hz, a4)
    again, same = trade.nearest_note(unit * hz, unit * a4)
    assert 100.0 * again + same == pytest.approx(100.0 * note + cents, abs=1e-7)


@many
@given(hertz)
def test_a_sharper_reference_reads_everything_flatter(hz):
    """442 instead of 440 Hz is 7.85 cents (trade check T005): no note is exempt."""
    note, cents = trade.nearest_note(hz, 440.0)
    other, less = trade.nearest_note(hz, 442.0)
    assert 100.0 * (note - other) + cents - less == pytest.approx(7.8514, abs=1e-4)


@pytest.mark.parametrize("row", TABLES["cramer_figure_1"]["humidity"])
def test_moist_air_lies_on_the_printed_figure(row):
    air_c, humidity, expected = row
    assert trade.speed_of_sound_moist(air_c, humidity, STANDARD_PA, 0.000314) == pytest.approx(
        expected, abs=0.15
    )


@pytest.mark.parametrize("row", TABLES["cramer_figure_1"]["pressure"])
def test_dry_air_at_low_pressure_lies_on_the_printed_figure(row):
    air_c, pressure_pa, expected = row
    assert trade.speed_of_sound_moist(air_c, 0.0, pressure_pa, 0.000314) == pytest.approx(expected, abs=0.15)


@pytest.mark.parametrize(("air_c", "saturated_pa"), TABLES["vapour_pressure_pa"]["rows"])
def test_saturated_air_holds_the_tabled_vapour(air_c, saturated_pa):
    """Mole fraction times pressure is the vapour's; air raises it by the enhancement factor, 0.4 %."""
    vapour = water_fraction(air_c, 1.0, STANDARD_PA) * STANDARD_PA
    assert vapour / saturated_pa == pytest.approx(1.004, abs=5e-4)


@many
@given(airs)
def test_dry_form_and_the_form_of_iso_9613_agree(air_c):
    """ISO 9613-1: 343.2 sqrt(T / 293.15) (formula from memory): alike to 0.02 m/s, a tenth of a cent."""
    iso = 343.2 * math.sqrt((air_c + 273.15) / 293.15)
    assert trade.speed_of_sound_dry(air_c) == pytest.approx(iso, abs=0.02)


@many
@given(airs, shares)
def test_dry_air_agrees_with_the_ideal_gas_of_the_tables(air_c, humidity):
    """sqrt(gamma R T / M) with 1.400, 8.314462618 and 0.0289645 (textbook values): within 0.15 m/s."""
    ideal = math.sqrt(1.400 * 8.314462618 * (air_c + 273.15) / 0.0289645)
    assert trade.speed_of_sound_dry(air_c) == pytest.approx(ideal, abs=0.15)
    assert trade.speed_of_sound_moist(air_c, humidity) >= trade.speed_of_sound_moist(air_c, 0.0) - 1e-9


@many
@given(st.tuples(airs, airs), shares)
def test_warmer_and_moister_air_is_faster(temperatures, humidity):
    cold, warm = sorted(temperatures)
    if warm - cold > 1e-3:
        assert trade.speed_of_sound_dry(warm) > trade.speed_of_sound_dry(cold)
        assert trade.speed_of_sound_moist(warm, humidity) > trade.speed_of_sound_moist(cold, humidity)


@many
@given(airs, shares, st.floats(75e3, 102e3), st.floats(0.0, 0.01))
def test_carbon_dioxide_slows_sound(air_c, humidity, pressure_pa, co2):
    plain = trade.speed_of_sound_moist(air_c, humidity, pressure_pa, 0.0)
    assert trade.speed_of_sound_moist(air_c, humidity, pressure_pa, co2) <= plain + 1e-9


@many
@given(st.floats(-10.0, 40.0), st.floats(-10.0, 40.0), st.floats(-10.0, 40.0))
def test_temperature_cents_chain_and_turn_round(first, second, third):
    there = trade.temperature_cents(first, second)
    assert there == pytest.approx(-trade.temperature_cents(second, first), abs=1e-9)
    on = trade.temperature_cents(second, third)
    assert there + on == pytest.approx(trade.temperature_cents(first, third), abs=1e-9)


@many
@given(st.floats(15.0, 25.0))
def test_slope_of_the_temperature_cents_is_half_of_1731_over_the_absolute_temperature(air_c):
    """Trade note 1.3: 1200 / ln 2 / (2 T); here by differences, so that the formula is not asked itself."""
    step = 1e-3
    slope = (trade.temperature_cents(air_c + step) - trade.temperature_cents(air_c - step)) / (2 * step)
    assert slope == pytest.approx(1200.0 / math.log(2.0) / 2.0 / (air_c + 273.15), rel=1e-6)


def test_at_constant_relative_humidity_the_pitch_climbs_faster_than_in_dry_air():
    """Trade note 1.3: 3.14 cents a kelvin at 50 %, against 2.95 dry, since moisture rises with warmth."""
    fast = trade.cents_between(trade.speed_of_sound_moist(20.5, 0.5), trade.speed_of_sound_moist(19.5, 0.5))
    assert fast == pytest.approx(3.14, abs=0.01)
    assert fast > trade.temperature_cents(20.5, 19.5)


def test_breath_in_the_bore_as_the_trade_note_estimates_it():
    """Saturated air of 30 C with 1 % of CO2: the warmth is +29 cents, CO2 takes back 4.6 (fit's range)."""
    room = trade.speed_of_sound_moist(20.0, 0.0, co2_fraction=0.0004)
    warm = trade.cents_between(trade.speed_of_sound_moist(30.0, 0.0, co2_fraction=0.0004), room)
    breath = trade.speed_of_sound_moist(30.0, 1.0, co2_fraction=0.01)
    assert warm == pytest.approx(29.0, abs=0.7)
    taken = trade.cents_between(breath, trade.speed_of_sound_moist(30.0, 1.0, co2_fraction=0.0004))
    assert taken == pytest.approx(-4.6, abs=0.4)


def test_the_temperature_of_a_pitch_is_found_back_by_root_search():
    for cents in (-20.0, -3.0, 0.0, 12.5, 30.0):
        air_c = optimize.brentq(lambda t, wanted=cents: trade.temperature_cents(t) - wanted, -30.0, 60.0)
        ratio = (air_c + 273.15) / 293.15
        assert 600.0 * math.log2(ratio) == pytest.approx(cents, abs=1e-9)


@many
@given(st.floats(-40.0, 40.0), st.floats(1e-6, 5e-5))
def test_brass_lengthens_the_column_as_much_as_it_flattens_it(warmer, expansion):
    """A column 1 + a t as long sounds 1 / (1 + a t) as high."""
    expected = trade.cents_between(1.0 / (1.0 + expansion * warmer), 1.0)
    assert trade.expansion_cents(warmer, expansion) == pytest.approx(expected, abs=1e-9)


def test_what_is_expanded_is_forty_times_less_than_what_the_air_does():
    """Trade note 1.3: 0.03 cents a kelvin against 3: no correction is built on the brass."""
    assert trade.expansion_cents(1.0) == pytest.approx(-0.0345, abs=5e-4)
    assert abs(trade.temperature_cents(21.0) / trade.expansion_cents(1.0)) > 80


@pytest.mark.parametrize(("air_c", "humidity", "pressure_pa", "co2"), [
    (-0.01, 0.5, STANDARD_PA, 4e-4),
    (30.01, 0.5, STANDARD_PA, 4e-4),
    (20.0, -0.01, STANDARD_PA, 4e-4),
    (20.0, 1.01, STANDARD_PA, 4e-4),
    (20.0, 0.5, 74_999.0, 4e-4),
    (20.0, 0.5, 102_001.0, 4e-4),
    (20.0, 0.5, STANDARD_PA, -1e-6),
    (20.0, 0.5, STANDARD_PA, 0.0101),
    (math.nan, 0.5, STANDARD_PA, 4e-4),
])  # fmt: skip
def test_outside_the_range_of_the_printed_fit_there_is_no_answer(air_c, humidity, pressure_pa, co2):
    with pytest.raises(TradeError, match="0 to 30 C, humidity 0 to 1, 75 to 102 kPa and CO2 up to 0.01"):
        trade.speed_of_sound_moist(air_c, humidity, pressure_pa, co2)


def test_the_corners_of_the_printed_range_are_inside():
    for corner in ((0.0, 0.0, 75e3, 0.0), (30.0, 1.0, 102e3, 0.01)):
        assert 330.0 < trade.speed_of_sound_moist(*corner) < 353.0
