"""The trade's own check values, one by one, against the functions that answer them."""

import csv
import itertools
import math
import statistics
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from qc import stats, trade
from qc.ingest.cells import read_number, spreadsheet_day
from qc.trade import Instrument, Note, Spot, Tube, Valve

CHECKS = {
    row["id"]: row
    for row in csv.DictReader(
        (Path(__file__).parents[1] / "published" / "trade_checks.csv").read_text().splitlines()
    )
}
LENGTH = trade.effective_length_mm(58.2705)
TENOR = Instrument(LENGTH, (Valve("F", 986.07),))
BASS = Instrument(LENGTH, (Valve("F", 986.07), Valve("G", 765.44)))
BORES = {"mouth": [14.052, 14.046], "middle": [14.050, 14.049], "crook": [14.055, 14.041]}
STOCKINGS = {"one": [13.897, 13.892], "two": [13.895, 13.894], "three": [13.899, 13.890]}
DRAWS = [0, 50, 100, 150, 200, 250]
OD = [14.6020, 14.6031, 14.6038, 14.6052, 14.6060, 14.6069]
A0, A1 = trade.section_mm2(15.40, 14.25), trade.section_mm2(14.90, 14.05)
TEN = [16, 14, 13, 15, 17, 12, 18, 15, 16, 14]


def four_notes():
    plain = Instrument(2944.9, (Valve("F", 986.1),))
    notes = [Note(2, 6.0), Note(4, 5.2), Note(2, -8.1, 1, ("F",)), Note(4, -9.3, 1, ("F",))]
    return trade.fit_note_set(notes, plain, reading_sd=5.0)


def forty_six(**options):
    plain = Instrument(2944.9, (Valve("F", 986.1),))
    keys = [(n, k, ()) for k in range(1, 8) for n in (2, 3, 4, 5, 6, 8)]
    keys += [(n, 1, ("F",)) for n in (2, 3, 4, 6)]
    notes = [Note(n, trade.harmonic_deviation(n), k, v) for n, k, v in keys]
    return trade.fit_note_set(notes, plain, reading_sd=5.0, reference_partial=2, **options)


def shortfall():
    from qc.trade.sound.note_set import note_design

    plain = Instrument(2944.9, (Valve("F", 986.1),))
    keys = [(n, k, ()) for k in range(1, 8) for n in (2, 3, 4, 5, 6, 8)]
    keys += [(n, 1, ("F",)) for n in (2, 3, 4, 6)]
    return trade.design_shortfall(note_design([Note(n, 0.0, k, v) for n, k, v in keys], plain))


def least_sum():
    def rack(values):
        return [Tube(str(v), {"": {"": [v]}}) for v in values]

    paired = trade.pair_tubes(
        rack([13.846, 13.861, 13.852, 13.855]),
        rack([14.013, 14.000, 14.004, 14.010, 14.030]),
        150,
        100,
        200,
        "mean-absolute",
    )
    return paired.cost / 1000.0


ANSWERS = {
    "T001": lambda: trade.tempered_frequency(34),
    "T002": lambda: trade.tempered_frequency(39),
    "T003": lambda: trade.tempered_frequency(22),
    "T004": lambda: trade.cents_between(118.2, trade.tempered_frequency(46)),
    "T005": lambda: trade.cents_between(442, 440),
    "T006": lambda: trade.harmonic_deviation(3),
    "T007": lambda: trade.harmonic_deviation(5),
    "T008": lambda: trade.harmonic_deviation(7),
    "T009": lambda: trade.harmonic_deviation(9),
    "T010": lambda: trade.speed_of_sound_dry(20),
    "T011": lambda: trade.speed_of_sound_moist(20, 0.5),
    "T012": lambda: trade.speed_of_sound_moist(15, 0.0),
    "T013": lambda: (trade.temperature_cents(20.01) - trade.temperature_cents(19.99)) / 0.02,
    "T014": lambda: trade.temperature_cents(24, 18),
    "T015": lambda: trade.expansion_cents(1.0),
    "T016": lambda: trade.effective_length_mm(58.2705) / 1000,
    "T017": lambda: trade.effective_length_mm(77.7817) / 1000,
    "T018": lambda: trade.effective_length_mm(29.1352) / 1000,
    "T019": lambda: trade.slide_travel_mm(LENGTH, 1) / 10,
    "T020": lambda: trade.slide_travel_mm(LENGTH, 3) / 10,
    "T021": lambda: trade.slide_travel_mm(LENGTH, 6) / 10,
    "T022": lambda: trade.slide_travel_mm(2206.2, 1) / 10,
    "T023": lambda: LENGTH * (2 ** (5 / 12) - 1),
    "T024": lambda: LENGTH * (2 ** (4 / 12) - 1),
    "T025": lambda: LENGTH * (2 ** (8 / 12) - 2 ** (5 / 12)),
    "T026": lambda: trade.combination_cents(BASS, ("F", "G")),
    "T027": lambda: dict(trade.slide_table(TENOR, ("F",)))[2] / 10,
    "T028": lambda: trade.reachable_semitones(TENOR, ("F",)),
    "T029": lambda: trade.cents_per_mm(2944.9),
    "T030": lambda: 2 * trade.cents_per_mm(2944.9),
    "T031": lambda: trade.cents_per_mm(5889.8),
    "T032": lambda: trade.cents_per_mm(3931.0),
    "T033": lambda: trade.length_change_mm(3931.0, -12),
    "T034": lambda: trade.length_change_mm(3931.0, -12) / 2,
    "T035": lambda: trade.length_change_mm(2944.9, 7),
    "T037": lambda: trade.change_uncertainty_mm(3931.0, 5, 4),
    "T038": lambda: trade.partial_pull_in_mm(Instrument(2944.9), 7, 2),
    "T039": lambda: four_notes().length("main").error_mm,
    "T040": lambda: four_notes().length("valve:F").error_mm,
    "T041": shortfall,
    "T042": lambda: forty_six().length("main").standard_error_mm,
    "T043": lambda: forty_six().length("valve:F").standard_error_mm,
    "T044": lambda: 0.006 * trade.INCH_MM,
    "T045": lambda: trade.per_side_um(150.0) / 1000,
    "T046": lambda: trade.clearance_um(14.052, 13.897) / 1000,
    "T047": lambda: trade.leg_clearance(BORES, STOCKINGS).least_um / 1000,
    "T048": lambda: trade.ovality_um([14.055, 14.041]) / 1000,
    "T049": lambda: trade.diameter_at_20c(13.9, 26),
    "T050": lambda: 1000 * (13.9 - trade.diameter_at_20c(13.9, 26, trade.STEEL_EXPANSION_PER_K)),
    "T051": lambda: trade.clearance_lost_um(13.9, 8),
    "T053": lambda: trade.stack_root_sum_square([20, 20]),
    "T054": least_sum,
    "T055": lambda: trade.random_pairing_yield(10, 10, 15),
    "T056": lambda: trade.best_pairing_yield(10, 10, 15, 12)[0],
    "T057": lambda: A0,
    "T058": lambda: trade.area_reduction(A0, A1),
    "T059": lambda: trade.length_after_mm(500, A0, A1),
    "T060": lambda: trade.draw_force_kn(400, A0, A1),
    "T061": lambda: 1000 * trade.fit_wear(DRAWS, OD).slope,
    "T062": lambda: 1000 * trade.fit_wear(DRAWS, OD).residual_sd,
    "T063": lambda: trade.fit_wear(DRAWS, OD, upper=14.6120).line_crossing[0],
    "T064": lambda: trade.modified_upper_limit(14.640, 0.004, 0.01, 4),
    "T065": lambda: trade.area_thickness([Spot("a", str(i), um) for i, um in enumerate(TEN)], 15)[0].mean,
    "T066": lambda: trade.house_80_20(TEN, 15).share_below_nominal,
    "T067": lambda: trade.spot_means([Spot("a", "1", um) for um in (14.2, 15.1, 14.6)])[0].um,
    "T068": lambda: trade.least_spot_um(12),
    "T069": lambda: trade.dry_from_wet_um(60, 0.28),
    "T070": lambda: trade.penetration_depth_um(2e6),
    "T071": lambda: trade.lower_capability([16.2 - 1.9, 16.2, 16.2 + 1.9], 12),
    "T075": lambda: trade.chance_of_faults(3, 12, 0.03),
    "T077": lambda: trade.spun_wall_mm(0.50, 35),
    "T078": lambda: trade.leak_rate(200, 5, 30),
    "T079": lambda: trade.temperature_pressure_mbar(1043.25, 0.1),
    "T080": lambda: trade.decay_time_s(30, 22, 45),
    "T110": lambda: trade.lower_capability_interval(1.15, 45)[0],
    "T111": lambda: trade.lower_capability_interval(1.15, 45)[1],
    "T119": lambda: 0.5532 * trade.INCH_MM,
}


def spreadsheet_number(day):
    """The number a spreadsheet shows for a day, found among all it takes for one."""
    return next(n for n in itertools.count(36000) if spreadsheet_day(n) == day)


def nine_and_three():
    """Two readings of each of four parts whose gauge sd is 3 and part sd 9."""
    parts = np.array([-1.5, -0.5, 0.5, 1.5]) * math.sqrt((81.0 + 9.0 / 2) / (5 / 3))
    pairs = parts[:, None] + np.array([-1.0, 1.0]) * 3.0 / math.sqrt(2)
    return stats.gauge_study(pairs.ravel(), np.repeat(range(4), 2).tolist(), lower=-50, upper=50)


ELSEWHERE = {
    "T072": lambda: stats.count_chart([2, 3, 2, 3, 2]).upper,
    "T073": lambda: math.floor(stats.poisson_limits(2.4)[1]),
    "T074": lambda: stats.count_chart([1, 1, 2, 1, 1], [20] * 5, "proportion").upper,
    "T076": lambda: stats.rolled_yield([(n, 100) for n in (97, 95, 92, 98, 90, 96)]).share,
    "T086": lambda: stats.prediction_factor(10, 0.9973),
    "T087": lambda: stats.prediction_factor(20, 0.9973),
    "T088": lambda: stats.prediction_factor(30, 0.9973),
    "T089": lambda: stats.guaranteed_factor(10, 0.0027),
    "T090": lambda: stats.guaranteed_factor(20, 0.0027),
    "T091": lambda: stats.guaranteed_factor(30, 0.0027),
    "T092": lambda: stats.howe_factor(20, 0.9973, 0.90),
    "T100": lambda: stats.cusum_run_length(0.5, 5.0).mean,
    "T101": lambda: stats.ewma_run_length(0.2, 2.86).mean,
    "T102": lambda: stats.shewhart_run_length().mean,
    "T103": lambda: (
        stats.rule_run_length("beyond-limit,two-of-three-outer,four-of-five-middle,same-side(8)").mean
    ),
    "T104": lambda: stats.estimated_limits(10, estimator="moving-range").chance_under(100),
    "T105": lambda: stats.false_alarms(1800, 370.4),
    "T106": lambda: stats.false_alarms(1800, 91.75),
    "T112": lambda: stats.capability([143.0, 152.0, 161.0] * 7, lower=120, upper=200, sigma=9.0).cpk,
    "T114": lambda: nine_and_three().share_of_tolerance,
    "T115": lambda: nine_and_three().categories,
    "T116": lambda: stats.gauge_resolution([0.0, 1.0, 2.0], resolution=1.0, sigma=1.0).steps_inside,
    "T117": lambda: spreadsheet_number(date(2026, 5, 14)),
    "T118": lambda: (spreadsheet_day(44000, epoch_1904=True) - spreadsheet_day(44000)).days,
    "T120": lambda: read_number("14,052", nominal=14.05).value,
}
"""Rows of the note whose figures are worked out in statistics, ingest and report."""
ANSWERS |= ELSEWHERE


@pytest.mark.parametrize("check", sorted(ANSWERS))
def test_answers_the_check_value(check):
    row = CHECKS[check]
    tolerance = float(row["tolerance"])
    assert ANSWERS[check]() == pytest.approx(float(row["expected"]), abs=max(tolerance, 1e-9)), row[
        "quantity"
    ]


def h7_g6() -> tuple[float, float]:
    """H7/g6 in the step 10 to 18 mm, by the limit deviations that the check names."""
    fit = trade.limit_fit((0.0, 18.0), (-17.0, -6.0))
    return fit.least_um, fit.greatest_um


RANGES = {
    "T052": h7_g6,
    "T113": lambda: stats.guard_band(lower=100, upper=200, uncertainty=8).accept,
}


@pytest.mark.parametrize("check", sorted(RANGES))
def test_answers_the_check_range(check):
    """H7/g6 of ISO 286 as clearances of 14 mm tubes (a slide needs ten times as much); ISO 14253-1."""
    low, high = CHECKS[check]["expected"].split("..")
    assert RANGES[check]() == pytest.approx((float(low), float(high)), abs=1e-6)


def test_every_copied_row_is_answered_or_named_as_a_trap():
    trap = {"T036": "see test_the_wrap_is_never_taken_for_the_whole_column"}
    assert set(CHECKS) == set(ANSWERS) | set(RANGES) | set(trap)


def test_the_wrap_is_never_taken_for_the_whole_column():
    trap = float(CHECKS["T036"]["expected"])
    notes = [Note(n, 0.0) for n in (2, 4, 8)] * 30 + [Note(n, -12.0, 1, ("F",)) for n in (2, 4, 8)] * 30
    plain = Instrument(2944.9, (Valve("F", 986.1),))
    wrap = trade.tuning_remedy(notes, plain, reading_sd=5.0).lengths[1]
    assert trade.length_change_mm(986.1, -12) == pytest.approx(trap, abs=0.05)
    assert wrap.change_mm == pytest.approx(float(CHECKS["T033"]["expected"]), abs=0.05)
    assert abs(wrap.change_mm) > 3.5 * abs(trap)


def test_wrong_reading_of_one_side_only_does_not_appear():
    """Looking at the F notes alone would say 19.8 mm (trade note 1.7); the joint fit says 29.3."""
    assert four_notes().length("valve:F").error_mm == pytest.approx(29.28, abs=0.01)
    alone = -statistics.fmean([-8.1, -9.3]) * 3931.0 / trade.CENTS_PER_NEPER
    assert alone == pytest.approx(19.8, abs=0.1)


def test_natural_deviations_are_no_defects():
    """A set that sounds exactly like the harmonic series has no error anywhere."""
    fit = forty_six()
    figures = [p.residual_cents for p in fit.partials] + [m.error_mm for m in fit.positions]
    figures += [length.error_mm for length in fit.lengths]
    assert np.allclose(figures, 0.0, atol=1e-9)
    assert math.isclose(fit.rms_before_cents, 0.0, abs_tol=1e-9)
