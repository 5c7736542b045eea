"""What every offered result and function keeps: plain values, and no figure from a missing one."""

import dataclasses
import inspect
import json
import math

import numpy as np
import pytest

from qc import trade
from qc.trade import Instrument, Note, Spot, TradeError, Tube, Valve

TENOR = Instrument(2944.9, (Valve("F", 986.1),))
TONE = sum(np.sin(2 * np.pi * 117.0 * k * np.arange(16000) / 16000) / k for k in range(1, 9))
RACK = [Tube(name, {"": {"a": [mm]}}) for name, mm in (("i", 13.90), ("o", 14.05), ("p", 14.06))]
NOTES = [Note(n, trade.harmonic_deviation(n) + c, k) for n in (2, 3, 4) for k, c in ((1, 1.0), (2, -1.0))]
RESULTS = {
    "LegClearance": lambda: trade.leg_clearance({"a": [14.05, 14.06]}, {"b": [13.90]}),
    "LimitFit": lambda: trade.limit_fit((0.0, 18.0), (-17.0, -6.0)),
    "Pair": lambda: trade.pair_tubes(RACK[:1], RACK[1:], 150, 100, 200).pairs[0],
    "Pairing": lambda: trade.pair_tubes(RACK[:1], RACK[1:], 150, 100, 200),
    "TightEnd": lambda: trade.tight_end(RACK[0], RACK[1]),
    "VolumeBalance": lambda: trade.volume_balance((15.4, 14.25, 500.0), (14.9, 14.05, 692.8)),
    "SpringBack": lambda: trade.spring_back([14.602, 14.604], [14.575, 14.575]),
    "WearLine": lambda: trade.fit_wear([0, 50, 100, 150], [1.0, 1.1, 1.3, 1.35], upper=2.0),
    "AreaThickness": lambda: trade.area_thickness([Spot("bow", "1", 14.0)], 15.0)[0],
    "Spot": lambda: Spot("bow", "1", 14.0),
    "HouseRule": lambda: trade.house_80_20([15.0, 16.0], 15.0),
    "Leak": lambda: trade.judge_leak(200.0, 30.0, 25.0, 30.0),
    "PolishLoss": lambda: trade.polish_loss(1200.0, 1191.5, 0.1, 0.28),
    "HeldNote": lambda: trade.held_notes(TONE, 16000)[0],
    "NoteSetFit": lambda: trade.fit_note_set(NOTES, TENOR),
    "NotePlace": lambda: trade.note_map(NOTES, TENOR)[0],
    "LengthError": lambda: trade.fit_note_set(NOTES, TENOR).lengths[0],
    "PositionError": lambda: trade.fit_note_set(NOTES, TENOR).positions[0],
    "PartialResidual": lambda: trade.fit_note_set(NOTES, TENOR).partials[0],
    "LengthRemedy": lambda: trade.tuning_remedy(NOTES, TENOR, reading_sd=2.0).lengths[0],
    "TuningRemedy": lambda: trade.tuning_remedy(NOTES, TENOR, reading_sd=2.0),
    "Sensitivity": lambda: trade.learn_sensitivity([Note(2, 0.0)], [Note(2, 5.0)], TENOR, "main", -8.0, 1.0),
}
SHAPED = {"Pairing", "TuningRemedy"}
"""Whose dictionary is the agreed one of a command, not field by field."""


def offered(kind):
    return {name: value for name in trade.__all__ if kind(value := getattr(trade, name))}


def test_every_result_is_listed_here():
    results = {name for name, one in offered(inspect.isclass).items() if hasattr(one, "to_dict")}
    assert results == set(RESULTS)


@pytest.mark.parametrize("name", RESULTS)
def test_a_result_is_plain_strict_json_and_cannot_be_changed(name):
    result = RESULTS[name]()
    assert type(result).__name__ == name
    values = result.to_dict()
    assert json.loads(json.dumps(values, allow_nan=False)) == json.loads(json.dumps(values))
    if name not in SHAPED:
        assert set(values) == {field.name for field in dataclasses.fields(result)}
    first = dataclasses.fields(result)[0].name
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(result, first, None)
    assert RESULTS[name]() == result, "the same again from the same"


@pytest.mark.parametrize("name", sorted(offered(inspect.isfunction)))
def test_an_offered_function_says_what_it_does_with_an_example(name):
    words = inspect.getdoc(getattr(trade, name))
    first = words.split("\n")[0]
    assert first[0].isupper() and first.endswith(".")
    hinted = inspect.signature(getattr(trade, name))
    assert hinted.return_annotation is not inspect.Signature.empty
    assert all(p.annotation is not inspect.Parameter.empty for p in hinted.parameters.values())
    if name not in {"check_notes", "design_shortfall", "order_of_work", "partial_apart", "note_frequency"}:
        lengths = {"state_length_mm", "state_semitones", "valve_column_mm"}
        assert ">>>" in words or name in lengths, "a figure has an example"


PLAIN = {
    "tempered_frequency": (60.0, 440.0),
    "cents_between": (441.0, 440.0),
    "nearest_note": (441.0, 440.0),
    "speed_of_sound_dry": (20.0,),
    "speed_of_sound_moist": (20.0, 0.5, 101325.0, 4e-4),
    "temperature_cents": (21.0, 20.0),
    "expansion_cents": (1.0, 2e-5),
    "effective_length_mm": (58.0, 343.0),
    "local_length_mm": (50.0, 60.0, 343.0),
    "slide_travel_mm": (2900.0, 3.0),
    "cents_per_mm": (2900.0,),
    "length_change_mm": (2900.0, 5.0),
    "change_uncertainty_mm": (2900.0, 5.0, 4),
    "clearance_um": (14.0, 13.9),
    "per_side_um": (150.0,),
    "diameter_at_20c": (13.9, 26.0, 1e-5, 2e-5),
    "clearance_lost_um": (13.9, 8.0, 2e-5),
    "random_pairing_yield": (10.0, 10.0, 15.0, 1.0),
    "section_mm2": (15.0, 14.0),
    "wall_mm": (15.0, 14.0),
    "area_reduction": (26.0, 20.0),
    "length_after_mm": (500.0, 26.0, 20.0),
    "draw_force_kn": (400.0, 26.0, 20.0, 0.65),
    "tube_parts_at_kn": (400.0, 20.0),
    "modified_upper_limit": (14.6, 0.004, 0.01, 4, 3.0),
    "spun_wall_mm": (0.5, 35.0),
    "least_spot_um": (12.0,),
    "dry_from_wet_um": (60.0, 0.3),
    "penetration_depth_um": (2e6, 0.28),
    "leak_rate": (200.0, 5.0, 30.0, 1013.0),
    "temperature_pressure_mbar": (1043.0, 0.1, 20.0),
    "decay_time_s": (30.0, 22.0, 45.0),
    "chance_of_short_gap": (2, 0.03),
    "wall_loss_share": (0.28, 0.01),
}


@pytest.mark.parametrize("name", PLAIN)
def test_a_missing_figure_never_makes_a_figure(name):
    """Not-a-number in any place is refused, or comes out as not-a-number; never as something to act on."""
    call = getattr(trade, name)
    assert np.all(np.isfinite(call(*PLAIN[name])))
    for place, value in enumerate(PLAIN[name]):
        if isinstance(value, int):
            continue
        arguments = [*PLAIN[name][:place], math.nan, *PLAIN[name][place + 1 :]]
        try:
            answer = call(*arguments)
        except TradeError:
            continue
        assert np.all(np.isnan(answer)), (name, place)


def test_a_missing_figure_among_readings_is_refused_by_its_place():
    for call in (
        lambda: trade.fit_wear([0, 1, 2, 3], [1.0, 1.1, math.nan, 1.3]),
        lambda: trade.spot_means([Spot("a", "1", 15.0), Spot("a", "2", 15.0), Spot("a", "3", math.nan)]),
        lambda: trade.check_notes([Note(2, 0.0), Note(3, 0.0), Note(4, math.nan)], TENOR),
    ):
        with pytest.raises(TradeError) as caught:
            call()
        assert caught.value.index == 2


@pytest.mark.parametrize(("name", "value", "source"), [
    ("ISO_16_A4_HZ", 440.0, "ISO 16:1975"),
    ("ISO_1_REFERENCE_C", 20.0, "ISO 1"),
    ("INCH_MM", 25.4, "international inch, by definition"),
    ("KELVIN_AT_0C", 273.15, "SI, by definition"),
    ("STANDARD_ATMOSPHERE_MBAR", 1013.25, "standard atmosphere, by definition"),
    ("CENTS_PER_NEPER", 1731.2340490667562, "1200 / ln 2, definition of the cent"),
    ("SOUND_20C_M_PER_S", 343.2, "ISO 9613-1 at 20 C, from memory"),
    ("BRASS_EXPANSION_PER_K", 1.99e-5, "CuZn30 wire data sheet, 19.9e-6"),
    ("STEEL_EXPANSION_PER_K", 1.15e-5, "handbook value of gauge steel, from memory"),
    ("BRASS_G_PER_CM3", 8.53, "CuZn30 wire data sheet"),
    ("VOLUME_BALANCE_LIMIT", 0.02, "common practice, no source"),
    ("LEAST_SHARE_OF_NOMINAL", 0.8, "pattern of film-thickness standards for steelwork"),
])  # fmt: skip
def test_constants_are_those_of_their_source(name, value, source):
    assert getattr(trade, name) == pytest.approx(value, rel=1e-15), source


def test_the_coefficients_of_cramer_are_sixteen_and_their_leading_one_is_sound_at_0_c():
    """331.5024 m/s for dry air at 0 C without pressure or CO2 terms; with them the usual 331.45."""
    assert len(trade.CRAMER_1993) == 16 and trade.CRAMER_1993[0] == 331.5024
    assert trade.speed_of_sound_moist(0.0, 0.0, 101325.0, 0.000314) == pytest.approx(331.45, abs=0.02)
