"""Pure statistics: arrays or columns in, frozen results out.

Names are fetched from their modules on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import Any

_HOME: dict[str, str] = {}
"""Where each public name lives: name -> module."""


def _offer(module: str, *names: str) -> None:
    """Enter the public names of a module."""
    _HOME.update({name: f"{__name__}.{module}" for name in names})


_offer("errors", "StatisticsError", "StatisticsUsageError")
_offer("tabled", "Tabled", "frame_of")
_offer("constants", "Factors", "c4", "d2", "d3", "factors", "median_range")
_offer("limits", "THREE_SIGMA_RATE", "LimitRule")
_offer("points", "GREATEST", "Baseline", "Chart", "Companion", "Signal")
_offer("charttable", "ChartTable")
_offer("setting", "Setting")
_offer("measured", "individuals", "individuals_table", "mean_range", "mean_sd", "subgroup_table")
_offer("memory", "CusumDesign", "EwmaDesign", "cusum", "cusum_table", "ewma", "ewma_table")
_offer("rules", "Rule", "parse_rules", "rule_flags")
_offer("rule_signals", "find_signals", "table_flags")
_offer("counts", "count_chart", "count_table")
_offer("count_limits", "binomial_limits", "poisson_limits")
_offer("rare", "time_between", "time_between_table")
_offer("selfstarting", "q_statistics", "self_starting", "self_starting_table")
_offer("threeway", "Pattern", "remove_pattern", "three_way", "three_way_table")
_offer("trend_chart", "Crossing", "Line", "fit_trend", "line_crossing", "trend")
_offer("multivariate", "mewma", "phase_one_limit", "phase_two_limit", "t2")
_offer("mewma_design", "mewma_limit", "mewma_run_length", "mewma_run_length_distribution")
_offer("shortrun", "Pooling", "deviation_from_target", "family_points", "pooling_test")
_offer("shortrun", "q_over_models", "standardised_deviation")
_offer("screening", "Screening", "screen")
_offer("study", "SeriesStudy", "study_frame")
_offer("study_kinds", "KINDS")
_offer("study_question", "StudyQuestion")
_offer("capability", "capability", "capability_many")
_offer("capability_beside", "GaugeShare", "Spread")
_offer("capability_bounds", "cp_bound", "cpm_bound", "one_sided_bound", "two_sided_bound")
_offer("capability_columns", "capability_columns")
_offer("capability_gauge", "Seen", "gauge_share")
_offer("capability_nested", "nested_capability")
_offer("capability_outside", "fraction_outside", "fraction_outside_interval", "fraction_outside_intervals")
_offer("capability_pieces", "pieces_to_settle", "pieces_to_settle_many")
_offer("capability_result", "Capability", "Limits", "verdict")
_offer("capability_samples", "Basis")
_offer("capability_shape", "Percentiles", "percentile_figures", "shape_figures")
_offer("tolerance", "guaranteed_factor", "howe_factor", "natrella_factor", "prediction_factor")
_offer("tolerance", "tolerance_confidence", "tolerance_factor")
_offer("distribution", "Outlier", "SignificanceTest", "anderson_darling", "bartlett", "equal_spreads")
_offer("distribution", "generalised_esd", "grubbs")
_offer("distribution_columns", "anderson_darling_many", "lag_1_many")
_offer("dependence", "Autocorrelation", "lag_1_autocorrelation", "moving_range_inflation")
_offer("dependence", "false_alarm_rate", "pooled_autocorrelation", "runs_test")
_offer("runlength", "RunLength", "false_alarms", "run_length_of_chain")
_offer("runlength", "shewhart_factor", "shewhart_run_length")
_offer("runlength_memory", "cusum_decision", "cusum_run_length", "ewma_run_length", "ewma_width")
_offer("runlength_rules", "ZoneRule", "rule_run_length")
_offer("runlength_estimated", "EstimatedLimits", "estimated_limits", "guaranteed_run_length_factor")
_offer("runlength_sigma", "SigmaEstimate", "sigma_estimate")
_offer("sigma_worth", "moving_range_df", "subgroup_df")
_offer("anova", "AnovaRow", "OneWay", "one_way_anova")
_offer("gauge_agreement", "Kappa", "Proportion", "cohen_kappa", "fleiss_kappa", "misses_and_false_rejects")
_offer("gauge_agreement", "proportion")
_offer("gauge_references", "Bias", "Linearity", "fit_line", "gauge_bias", "linearity")
_offer("gauge_guard", "GuardBand", "guard_band")
_offer("gauge_intervals", "component_intervals", "share_interval", "sum_interval", "variance_interval")
_offer("gauge_levels", "CheckStandard", "NestedLevels", "check_standard", "nested_levels")
_offer("gauge_sets", "RepeatSets", "averaged_sets", "repeat_sets")
_offer("gauge_ranges", "AverageRange", "OnePersonRanges", "average_range", "one_person_ranges")
_offer("gauge_layout", "lay_out")
_offer("gauge", "GaugeStudy", "gauge_study")
_offer("gauge_step", "Resolution", "gauge_resolution", "sigma_behind_steps")
_offer("check_evidence", "corrected_p_values", "grubbs_p_value", "lag_1_interval")
_offer("check_evidence", "mean_change_p_value", "target_change_p_value")
_offer("check_result", "FIGURES", "Check", "ChecksTogether", "SeriesChecks", "checks_together")
_offer("checks", "study_checks")
_offer("change_kinds", "KindFit", "Placed", "climb_or_stairs", "fit_kinds", "place_level", "place_spread")
_offer("changepoint", "ChangePoint", "mean_change", "mean_change_from_target")
_offer("detector", "detect", "detect_many")
_offer("detector_counts", "detect_counts")
_offer("detector_course", "Course", "count_further", "detect_further")
_offer("detector_evidence", "step_variance")
_offer("detector_wear", "ToolFinding", "detect_wear")
_offer("wear_break", "WearBreak", "wear_break")
_offer("wear_line", "recursive_residuals")
_offer("wear_settled", "detect_settled_line")
_offer("detector_result", "Detection", "DetectorSignal", "Stretch", "stretches_of")
_offer("detector_state", "DetectorState")
_offer("thresholds", "threshold_scores")

__all__ = sorted(_HOME)


class _Package(ModuleType):
    """The package; a module never hides a function of the same name (`capability` is both)."""

    def __setattr__(self, name: str, value: Any) -> None:
        if not (name in _HOME and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package


def __getattr__(name: str) -> Any:
    """Fetch a public name from its module."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(import_module(_HOME[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """List the public names."""
    return __all__
