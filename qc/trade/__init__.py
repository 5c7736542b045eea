"""Pure brass: acoustics, tuning, slide fit, drawing, coating, wear; plain values in, results out.

Names are fetched on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from qc.trade.acoustics import (
        BRASS_EXPANSION_PER_K,
        CENTS_PER_NEPER,
        CRAMER_1993,
        ISO_16_A4_HZ,
        KELVIN_AT_0C,
        SOUND_20C_M_PER_S,
        cents_between,
        expansion_cents,
        harmonic_deviation,
        harmonic_semitones,
        nearest_note,
        note_name,
        speed_of_sound_dry,
        speed_of_sound_moist,
        temperature_cents,
        tempered_frequency,
    )
    from qc.trade.cautions import DEFER, cautions_for
    from qc.trade.coating import (
        BASE_DRIFT_LIMIT_UM,
        LEAST_SHARE_OF_NOMINAL,
        MOST_BELOW_NOMINAL,
        MOST_OF_NOMINAL,
        AreaThickness,
        HouseRule,
        Spot,
        area_thickness,
        base_drift_um,
        defects_per_unit,
        dry_from_wet_um,
        house_80_20,
        least_spot_um,
        lower_capability,
        lower_capability_interval,
        penetration_depth_um,
        spot_means,
        wall_is_thin_for_probe,
    )
    from qc.trade.cut import cents_per_mm, change_uncertainty_mm, length_change_mm, partial_pull_in_mm
    from qc.trade.drawing import (
        SpringBack,
        VolumeBalance,
        area_reduction,
        draw_force_kn,
        eccentricity,
        length_after_mm,
        modified_upper_limit,
        section_mm2,
        spring_back,
        spun_wall_mm,
        tube_parts_at_kn,
        volume_balance,
        wall_mm,
    )
    from qc.trade.errors import TradeError
    from qc.trade.instrument import (
        Instrument,
        Valve,
        column_mm,
        combination_cents,
        effective_length_mm,
        local_length_mm,
        note_frequency,
        note_of,
        reachable_semitones,
        slide_table,
        slide_travel_mm,
        state_length_mm,
        state_semitones,
        valve_state,
    )
    from qc.trade.leak import (
        STANDARD_ATMOSPHERE_MBAR,
        Leak,
        chance_of_faults,
        chance_of_short_gap,
        decay_time_s,
        good_between_faults,
        judge_leak,
        leak_rate,
        temperature_pressure_mbar,
    )
    from qc.trade.note_set import (
        HIGHEST_PARTIAL,
        METHODS,
        WIDEST_READING_CENTS,
        Note,
        check_notes,
        valve_column_mm,
    )
    from qc.trade.pairing import (
        BODY_EXTRA_UM,
        COSTS,
        LeftTube,
        Pair,
        Pairing,
        Tube,
        best_pairing_yield,
        body_suspects,
        mean_mm,
        pair_tubes,
        random_pairing_yield,
    )
    from qc.trade.polishing import BRASS_G_PER_CM3, PolishLoss, polish_loss, wall_loss_share
    from qc.trade.recording import (
        MOST_APART_CENTS,
        NOISIEST,
        SHORTEST_STEADY_S,
        WIDEST_VIBRATO_CENTS,
        YIN_THRESHOLD,
        HeldNote,
        held_notes,
    )
    from qc.trade.remedy import (
        PARTIAL_ALLOWANCE_CENTS,
        USUAL_TRAVEL_MM,
        TuningRemedy,
        partial_apart,
        tuning_remedy,
    )
    from qc.trade.sensitivity import SENSITIVITY_PRIOR_SD, Sensitivity, learn_sensitivity
    from qc.trade.separation import design_shortfall, part_words
    from qc.trade.slide import (
        INCH_MM,
        ISO_1_REFERENCE_C,
        STEEL_EXPANSION_PER_K,
        VOLUME_BALANCE_LIMIT,
        LegClearance,
        clearance_lost_um,
        clearance_um,
        diameter_at_20c,
        leg_clearance,
        ovality_um,
        per_side_um,
        stack_root_sum_square,
        stack_worst_case,
        taper_um,
    )
    from qc.trade.testers import tester_offsets
    from qc.trade.tuning import LengthError, NoteSetFit, PartialResidual, PositionError, fit_note_set
    from qc.trade.wear import BEND_RISK, FAR_AHEAD, WearLine, fit_wear
    from qc.trade.work_order import NOT_CURABLE, LengthRemedy, order_of_work

# fmt: off
_HOME = {
    "acoustics": (
        "BRASS_EXPANSION_PER_K", "CENTS_PER_NEPER", "CRAMER_1993", "ISO_16_A4_HZ", "KELVIN_AT_0C",
        "SOUND_20C_M_PER_S", "cents_between", "expansion_cents", "harmonic_deviation",
        "harmonic_semitones", "nearest_note", "note_name", "speed_of_sound_dry", "speed_of_sound_moist",
        "temperature_cents", "tempered_frequency",
    ),
    "cautions": (
        "DEFER", "cautions_for",
    ),
    "coating": (
        "AreaThickness", "BASE_DRIFT_LIMIT_UM", "HouseRule", "LEAST_SHARE_OF_NOMINAL",
        "MOST_BELOW_NOMINAL", "MOST_OF_NOMINAL", "Spot", "area_thickness", "base_drift_um",
        "defects_per_unit", "dry_from_wet_um", "house_80_20", "least_spot_um", "lower_capability",
        "lower_capability_interval", "penetration_depth_um", "spot_means", "wall_is_thin_for_probe",
    ),
    "cut": (
        "cents_per_mm", "change_uncertainty_mm", "length_change_mm", "partial_pull_in_mm",
    ),
    "drawing": (
        "SpringBack", "VolumeBalance", "area_reduction", "draw_force_kn", "eccentricity",
        "length_after_mm", "modified_upper_limit", "section_mm2", "spring_back", "spun_wall_mm",
        "tube_parts_at_kn", "volume_balance", "wall_mm",
    ),
    "errors": (
        "TradeError",
    ),
    "instrument": (
        "Instrument", "Valve", "column_mm", "combination_cents", "effective_length_mm",
        "local_length_mm", "note_frequency", "note_of", "reachable_semitones", "slide_table",
        "slide_travel_mm", "state_length_mm", "state_semitones", "valve_state",
    ),
    "leak": (
        "Leak", "STANDARD_ATMOSPHERE_MBAR", "chance_of_faults", "chance_of_short_gap", "decay_time_s",
        "good_between_faults", "judge_leak", "leak_rate", "temperature_pressure_mbar",
    ),
    "note_set": (
        "HIGHEST_PARTIAL", "METHODS", "Note", "WIDEST_READING_CENTS", "check_notes", "valve_column_mm",
    ),
    "pairing": (
        "BODY_EXTRA_UM", "COSTS", "LeftTube", "Pair", "Pairing", "Tube", "best_pairing_yield",
        "body_suspects", "mean_mm", "pair_tubes", "random_pairing_yield",
    ),
    "polishing": (
        "BRASS_G_PER_CM3", "PolishLoss", "polish_loss", "wall_loss_share",
    ),
    "recording": (
        "HeldNote", "MOST_APART_CENTS", "NOISIEST", "SHORTEST_STEADY_S", "WIDEST_VIBRATO_CENTS",
        "YIN_THRESHOLD", "held_notes",
    ),
    "remedy": (
        "PARTIAL_ALLOWANCE_CENTS", "TuningRemedy", "USUAL_TRAVEL_MM", "partial_apart", "tuning_remedy",
    ),
    "sensitivity": (
        "SENSITIVITY_PRIOR_SD", "Sensitivity", "learn_sensitivity",
    ),
    "separation": (
        "design_shortfall", "part_words",
    ),
    "slide": (
        "INCH_MM", "ISO_1_REFERENCE_C", "LegClearance", "STEEL_EXPANSION_PER_K", "VOLUME_BALANCE_LIMIT",
        "clearance_lost_um", "clearance_um", "diameter_at_20c", "leg_clearance", "ovality_um",
        "per_side_um", "stack_root_sum_square", "stack_worst_case", "taper_um",
    ),
    "testers": (
        "tester_offsets",
    ),
    "tuning": (
        "LengthError", "NoteSetFit", "PartialResidual", "PositionError", "fit_note_set",
    ),
    "wear": (
        "BEND_RISK", "FAR_AHEAD", "WearLine", "fit_wear",
    ),
    "work_order": (
        "LengthRemedy", "NOT_CURABLE", "order_of_work",
    ),
}

__all__ = [
    "AreaThickness", "BASE_DRIFT_LIMIT_UM", "BEND_RISK", "BODY_EXTRA_UM", "BRASS_EXPANSION_PER_K",
    "BRASS_G_PER_CM3", "CENTS_PER_NEPER", "COSTS", "CRAMER_1993", "DEFER", "FAR_AHEAD",
    "HIGHEST_PARTIAL", "HeldNote", "HouseRule", "INCH_MM", "ISO_16_A4_HZ", "ISO_1_REFERENCE_C",
    "Instrument", "KELVIN_AT_0C", "LEAST_SHARE_OF_NOMINAL", "Leak", "LeftTube", "LegClearance",
    "LengthError", "LengthRemedy", "METHODS", "MOST_APART_CENTS", "MOST_BELOW_NOMINAL",
    "MOST_OF_NOMINAL", "NOISIEST", "NOT_CURABLE", "Note", "NoteSetFit", "PARTIAL_ALLOWANCE_CENTS",
    "Pair", "Pairing", "PartialResidual", "PolishLoss", "PositionError", "SENSITIVITY_PRIOR_SD",
    "SHORTEST_STEADY_S", "SOUND_20C_M_PER_S", "STANDARD_ATMOSPHERE_MBAR", "STEEL_EXPANSION_PER_K",
    "Sensitivity", "Spot", "SpringBack", "TradeError", "Tube", "TuningRemedy", "USUAL_TRAVEL_MM",
    "VOLUME_BALANCE_LIMIT", "Valve", "VolumeBalance", "WIDEST_READING_CENTS", "WIDEST_VIBRATO_CENTS",
    "WearLine", "YIN_THRESHOLD", "area_reduction", "area_thickness", "base_drift_um",
    "best_pairing_yield", "body_suspects", "cautions_for", "cents_between", "cents_per_mm",
    "chance_of_faults", "chance_of_short_gap", "change_uncertainty_mm", "check_notes",
    "clearance_lost_um", "clearance_um", "column_mm", "combination_cents", "decay_time_s",
    "defects_per_unit", "design_shortfall", "diameter_at_20c", "draw_force_kn", "dry_from_wet_um",
    "eccentricity", "effective_length_mm", "expansion_cents", "fit_note_set", "fit_wear",
    "good_between_faults", "harmonic_deviation", "harmonic_semitones", "held_notes", "house_80_20",
    "judge_leak", "leak_rate", "learn_sensitivity", "least_spot_um", "leg_clearance", "length_after_mm",
    "length_change_mm", "local_length_mm", "lower_capability", "lower_capability_interval", "mean_mm",
    "modified_upper_limit", "nearest_note", "note_frequency", "note_name", "note_of", "order_of_work",
    "ovality_um", "pair_tubes", "part_words", "partial_apart", "partial_pull_in_mm",
    "penetration_depth_um", "per_side_um", "polish_loss", "random_pairing_yield", "reachable_semitones",
    "section_mm2", "slide_table", "slide_travel_mm", "speed_of_sound_dry", "speed_of_sound_moist",
    "spot_means", "spring_back", "spun_wall_mm", "stack_root_sum_square", "stack_worst_case",
    "state_length_mm", "state_semitones", "taper_um", "temperature_cents", "temperature_pressure_mbar",
    "tempered_frequency", "tester_offsets", "tube_parts_at_kn", "tuning_remedy", "valve_column_mm",
    "valve_state", "volume_balance", "wall_is_thin_for_probe", "wall_loss_share", "wall_mm",
]
# fmt: on


def __getattr__(name: str) -> object:
    """Fetch an offered name from the module that holds it."""
    for module, names in _HOME.items():
        if name in names:
            value: object = getattr(import_module(f"qc.trade.{module}"), name)
            globals()[name] = value  # the next look-up finds it at once
            return value
    raise AttributeError(f"module 'qc.trade' has no attribute {name!r}")
