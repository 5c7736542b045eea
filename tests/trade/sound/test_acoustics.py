import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc import trade
from qc.trade import TradeError

PRINTED = json.loads((Path(__file__).parents[2] / "published" / "trade_cramer_1993.json").read_text())


def test_iso_16_and_the_semitone():
    assert trade.ISO_16_A4_HZ == 440.0
    assert trade.tempered_frequency(69) == 440.0
    assert trade.tempered_frequency(70) / trade.tempered_frequency(69) == pytest.approx(1.0594630943592953)
    assert trade.tempered_frequency(81, 442) == pytest.approx(884.0)


@given(st.floats(20, 5000), st.floats(415, 466))
def test_nearest_note_brings_the_frequency_back(hz, a4):
    note, cents = trade.nearest_note(hz, a4)
    assert -50.0000001 <= cents <= 50.0000001
    assert trade.tempered_frequency(note + cents / 100, a4) == pytest.approx(hz, rel=1e-12)


@pytest.mark.parametrize("partial", range(1, 21))
def test_harmonics_lie_within_half_a_semitone_and_octaves_agree(partial):
    assert abs(trade.harmonic_deviation(partial)) <= 50
    assert trade.harmonic_deviation(2 * partial) == pytest.approx(trade.harmonic_deviation(partial), abs=1e-9)


@pytest.mark.parametrize(("call", "words"), [
    (lambda: trade.tempered_frequency(69, 0), "A4"),
    (lambda: trade.cents_between(0, 440), "interval"),
    (lambda: trade.cents_between(440, float("nan")), "interval"),
    (lambda: trade.harmonic_deviation(0), "partial 0"),
    (lambda: trade.speed_of_sound_dry(-300), "absolute zero"),
    (lambda: trade.speed_of_sound_moist(35, 0.5), "out of range"),
    (lambda: trade.speed_of_sound_moist(20, 50), "out of range"),
    (lambda: trade.speed_of_sound_moist(20, 0.5, 1013.25), "out of range"),
])  # fmt: skip
def test_refuses_what_cannot_be(call, words):
    with pytest.raises(TradeError, match=words):
        call()


@pytest.mark.parametrize(
    ("t", "rh", "p", "xc"), [(0, 0, 101325, 0), (20, 0.5, 101325, 4e-4), (30, 1, 75e3, 0.01)]
)
def test_moist_air_agrees_with_the_printed_coefficients(t, rh, p, xc):
    """Evaluated apart: the printed coefficients as a scalar product with the printed terms."""
    kelvin = t + 273.15
    vapour = math.exp(1.2811805e-5 * kelvin**2 - 1.9509874e-2 * kelvin + 34.04926034 - 6.3536311e3 / kelvin)
    xw = rh * (1.00062 + 3.14e-8 * p + 5.6e-7 * t**2) * vapour / p
    powers = [1, t, t**2]
    terms = [*powers, *(xw * x for x in powers), *(p * x for x in powers), *(xc * x for x in powers)]
    terms += [xw**2, p**2, xc**2, xw * p * xc]
    expected = np.dot(PRINTED["coefficients"], terms)
    assert trade.speed_of_sound_moist(t, rh, p, xc) == pytest.approx(expected, rel=1e-14)


def test_dry_forms_and_the_moist_form_agree_on_dry_air():
    """The published fit and the ideal gas differ by less than 0.2 m/s (half a part in a thousand)."""
    for t in (5, 15, 25):
        assert trade.speed_of_sound_moist(t, 0, 101325, 4e-4) == pytest.approx(
            trade.speed_of_sound_dry(t), abs=0.2
        )


def test_humidity_moves_pitch_as_the_trade_note_says():
    """30 % to 70 % at 20 C: +2.5 cents (trade note 1.3)."""
    shift = trade.cents_between(trade.speed_of_sound_moist(20, 0.7), trade.speed_of_sound_moist(20, 0.3))
    assert shift == pytest.approx(2.5, abs=0.1)


def test_air_and_brass_pull_opposite_ways():
    assert trade.temperature_cents(21) > 2.9
    assert -0.04 < trade.expansion_cents(1) < 0
    assert trade.temperature_cents(20) == 0.0


def test_names_of_notes():
    assert [trade.note_name(n) for n in (22, 34, 39, 60, 69)] == ["B-flat0", "B-flat1", "E-flat2", "C4", "A4"]
