"""The notes follow the trade's arithmetic; expected values are computed check values of the trade notes."""

import math

import pytest

from qc.plan import Model, ModelValve
from sample_measurements.make.tuning import PARTIALS, Voice, length_cents, natural_cents

TENOR = Model(
    id="tenor-bass",
    name="",
    family="tenor",
    pedal_midi=34,
    length_mm=2944.9,
    valves=(ModelValve(name="F", added_mm=986.1),),
)
QUIET = dict.fromkeys(PARTIALS, 0.0)


@pytest.mark.parametrize(
    ("partial", "expected"),
    [
        pytest.param(3, 1.955, id="trade check T006"),
        pytest.param(5, -13.686, id="trade check T007"),
        pytest.param(9, 3.910, id="trade check T009"),
        pytest.param(8, 0.0, id="octaves are in tune"),
    ],
)
def test_natural_deviation_of_partials(partial, expected):
    assert natural_cents(partial) == pytest.approx(expected, abs=0.001)


def test_twelve_cents_flat_on_the_f_side_is_27_mm_too_long():
    # trade check T033: L = 3931.0 mm, 12 cents flat, cut 27.15 mm
    voice = Voice(0.0, {"F": 27.15}, QUIET, {})
    assert length_cents(TENOR, voice, 1, "F") == pytest.approx(-11.92, abs=0.02)
    exact = 3931.0 * (1 - 2 ** (-12 / 1200))
    assert exact == pytest.approx(27.15, abs=0.01)
    back = 3931.0 * (2 ** (12 / 1200) - 1)
    assert length_cents(TENOR, Voice(0.0, {"F": back}, QUIET, {}), 1, "F") == pytest.approx(-12.0, abs=1e-3)


def test_cents_per_millimetre_of_the_open_tenor():
    # trade check T029: 0.5879 cents a millimetre of tubing, T030: double for a millimetre of slide
    tube = length_cents(TENOR, Voice(1.0, {"F": 0.0}, QUIET, {}), 1, "open")
    assert tube == pytest.approx(-0.5879, abs=0.0005)
    longer = 2944.9 * 2 ** (3 / 12)
    slide = length_cents(TENOR, Voice(0.0, {"F": 0.0}, QUIET, {4: 1.0}), 4, "open")
    assert slide == pytest.approx(-1200 * math.log2(1 + 2 / longer), abs=1e-9)


def test_a_wrap_does_not_touch_the_open_notes():
    voice = Voice(0.0, {"F": 50.0}, QUIET, {})
    assert length_cents(TENOR, voice, 1, "open") == 0.0


def test_main_length_moves_open_notes_more_than_the_f_side():
    voice = Voice(10.0, {"F": 0.0}, QUIET, {})
    assert length_cents(TENOR, voice, 1, "open") < length_cents(TENOR, voice, 1, "F") < 0
