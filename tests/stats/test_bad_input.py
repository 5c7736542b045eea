"""Every public function of `qc.stats` with every kind of bad figure.

What comes back is a finite answer or a `StatisticsError`; never another error, never a silent NaN, never a
warning (warnings are errors here). Wrong types of single arguments (a word for a number) are the type
checker's business and left out.
"""

import dataclasses
import math
import types

import numpy as np
import polars as pl
import pytest

from qc import stats as qs
from qc.stats import StatisticsError

V = np.random.default_rng(1).normal(10, 1, 30)
COUNT = np.random.default_rng(2).poisson(4, 30).astype(float)
SIZE = np.full(30, 50.0)
TIMES = np.abs(V)
MATRIX = np.random.default_rng(3).normal(size=(30, 3))
RISING = np.arange(30.0)
TRAY = [f"g{i // 3}" for i in range(30)]
SPOT = ["a", "b", "c"] * 10
PART = [f"p{i // 6}" for i in range(30)]
WHO = ["A", "B", "C"] * 10
RINGS = np.repeat([9.0, 10.0, 11.0], 10)
CUBE = np.random.default_rng(4).normal(size=(5, 3, 2))
VERDICTS = ["a", "a", "b", "b", "a", "b"]
OTHERS = ["a", "a", "b", "b", "a", "a"]
TWO = pl.DataFrame({"series": ["a"] * 15 + ["b"] * 15, "value": V})
LEVELS = pl.DataFrame({"series": ["a", "b"], "n": [15, 15], "mean": [10.0, 10.1], "sd": [1.0, 1.1]})
LINE = qs.fit_trend(RISING, V)
BOTH = {"lower": 5.0, "upper": 15.0}
SURE = {"confidence": 0.95}


def case(function, *arguments, **options):
    return pytest.param(getattr(qs, function), arguments, options, id=function)


CASES = [
    case("anderson_darling", V),
    case("average_range", CUBE),
    case("averaged_sets", V, TIMES * 0.1, list(range(30)), repeats=6),
    case("bartlett", [V[:10], V[10:]]),
    case("between_groups", V[:6], TIMES[6:12] * 0.1, **SURE),
    case("binomial_limits", SIZE, 0.1),
    case("c4", 5),
    case("capability", V, **BOTH, target=10.0, sigma=1.0, sigma_df=20.0, wanted=1.0, **SURE, resolution=0.01),
    case("capability", V, **BOTH, shape="positive"),
    case("capability", V, **BOTH, shape="any"),
    case("capability_columns", LEVELS, **BOTH),
    case("check_standard", V, TIMES * 0.1, repeat_df=5, factor=2.0, **SURE),
    case("cohen_kappa", VERDICTS, OTHERS, **SURE),
    case("count_chart", COUNT),
    case("count_chart", COUNT, SIZE, kind="proportion"),
    case("count_chart", COUNT, SIZE, kind="defects-per-unit", exact=True),
    case("count_chart", COUNT, SIZE, kind="number-defective", corrected=True),
    case("count_table", pl.DataFrame({"value": COUNT, "size": SIZE}), "proportion"),
    case("cp_bound", 1.3, 0.95, 19.0),
    case("cpm_bound", 1.3, 0.95, 20.0, 0.1),
    case("cusum", V),
    case("cusum_decision", 0.5, 370.0),
    case("cusum_run_length", 0.5, 4.0, shift=1.0, sd_ratio=1.0, head_start=0.0),
    case("cusum_table", pl.DataFrame({"value": V})),
    case("d2", 5),
    case("d3", 5),
    case("detect", V, false_alarm_rate=0.001, resolution=0.01),
    case("detect", TIMES, shape="positive"),
    case("detect", V, shape="any"),
    case("detect_counts", COUNT, false_alarm_rate=0.001),
    case("detect_counts", COUNT, SIZE, false_alarm_rate=0.001),
    case("detect_many", [V, V[:10]], false_alarm_rate=0.001),
    case("detect_wear", RISING, V, ["t"] * 30),
    case("deviation_from_target", V, V + 1),
    case("equal_spreads", [V[:10], V[10:]]),
    case("estimated_limits", 20),
    case("ewma", V),
    case("ewma_run_length", 0.2, 2.86, shift=1.0),
    case("ewma_table", pl.DataFrame({"value": V})),
    case("ewma_width", 0.2, 370.0),
    case("factors", 5),
    case("false_alarm_rate", 0.2, factor=3.0),
    case("false_alarms", 100.0, 370.0),
    case("family_points", V, TRAY),
    case("fit_line", RISING, V),
    case("fit_trend", RISING, V),
    case("fleiss_kappa", [list("aab"), list("bbb"), list("aaa")], **SURE),
    case("fraction_outside", 10.0, 1.0, **BOTH),
    case("fraction_outside_interval", 10.0, 1.0, 20, **BOTH, **SURE),
    case("gauge_bias", V, 10.0, **SURE),
    case("gauge_resolution", V, resolution=0.01, sigma=1.0),
    case("gauge_study", V, PART, WHO, **BOTH, resolution=0.01, **SURE),
    case("gauge_study", V, PART, **BOTH),
    case("generalised_esd", V, 3, alpha=0.05),
    case("grubbs", V, alpha=0.05),
    case("guaranteed_factor", 20, 0.0027, 0.9),
    case("guard_band", **BOTH, gauge_sd=0.1, coverage=2.0),
    case("howe_factor", 20, 0.99, 0.9),
    case("individuals", V),
    case("individuals_table", TWO),
    case("lag_1_autocorrelation", V),
    case("lay_out", V, PART, WHO),
    case("line_crossing", LINE, 20.0, **SURE),
    case("linearity", V, RINGS, **SURE),
    case("mean_change", V),
    case("mean_change_from_target", V, 10.0, sigma=1.0),
    case("mean_range", V, TRAY),
    case("mean_sd", V, TRAY),
    case("median_range", 5),
    case("mewma", MATRIX, weight=0.1, run_length=200.0),
    case("mewma_limit", 3, 0.1, 200.0),
    case("mewma_run_length", 3, 0.1, 10.0),
    case("misses_and_false_rejects", VERDICTS, OTHERS, bad="b", **SURE),
    case("moving_range_inflation", 0.2),
    case(
        "nested_levels", np.repeat(V, 2), np.repeat(TIMES, 2), [f"a{i // 12}" for i in range(60)],
        [i % 2 for i in range(60)], repeats=6,
    ),
    case("one_person_ranges", CUBE[:, :, 0]),
    case("one_sided_bound", 1.3, 0.95, 20.0, 19.0),
    case("one_way_anova", [V[:10], V[10:]]),
    case("parse_rules", "all"),
    case("phase_one_limit", 3, 30, rate=0.0027),
    case("phase_two_limit", 3, 30, rate=0.0027),
    case("pieces_to_settle", 1.3, 20, sides=2, wanted=1.0, **SURE, least=20),
    case("pooled_autocorrelation", [V, V[:12]]),
    case("pooling_test", V, TRAY),
    case("prediction_factor", 20, 0.99),
    case("proportion", 2, 10, **SURE),
    case("q_over_models", V, TRAY),
    case("q_statistics", V),
    case("q_statistics", V, center=10.0, sigma=1.0),
    case("recursive_residuals", RISING, V),
    case("remove_pattern", V, TRAY, SPOT),
    case("repeat_sets", V, PART),
    case("rule_run_length", "two-of-three-outer", shift=1.0),
    case("runs_test", V),
    case("screen", V),
    case("self_starting", V),
    case("self_starting_table", TWO),
    case("shewhart_run_length", 3.0, shift=1.0, sd_ratio=1.0),
    case("sigma_behind_steps", 1.0, 0.1),
    case("standardised_deviation", V, TRAY),
    case("subgroup_table", pl.DataFrame({"value": V, "subgroup": TRAY})),
    case("sum_interval", {"a": 1.0, "b": 0.5}, {"a": (2.0, 5), "b": (1.0, 10)}, 0.95),
    case("t2_of_means", MATRIX, TRAY),
    case("t2", MATRIX, rate=0.0027),
    case("three_way", V, TRAY),
    case("three_way", V, TRAY, SPOT),
    case("three_way_table", pl.DataFrame({"value": V, "subgroup": TRAY, "place": SPOT})),
    case("threshold_scores", 0.001, 50),
    case("time_between", TIMES),
    case("time_between", np.ceil(TIMES), units=True),
    case("time_between_table", pl.DataFrame({"value": TIMES})),
    case("tolerance_confidence", 20, 3.0, 0.99),
    case("tolerance_factor", 20, 0.99, 0.9),
    case("trend", V, RISING, **BOTH, **SURE),
    case("two_sided_bound", 1.3, 0.95, 20.0, 19.0),
    case("variance_interval", 1.0, 10.0, 0.95),
    case("poisson_limits", 4.0, rate=0.0027),
    case("corrected_p_values", [0.01, 0.2, 0.5]),
    case("grubbs_p_value", 2.5, 20),
    case("guaranteed_run_length_factor", 20, 370.0, 0.9),
    case("lag_1_interval", 0.2, 30),
    case("mean_change_p_value", 3.0, 30),
    case("mewma_run_length_distribution", 2, 0.5, 9.0, 1.0),
    case("moving_range_df", 20),
    case("natrella_factor", 43, 0.9, 0.99),
    case("nested_capability", V, TRAY, **BOTH, **SURE),
    case("shewhart_factor", 370.0),
    case("subgroup_df", 20, 5, "range"),
    case("target_change_p_value", 3.0, 30),
    case("wear_break", RISING, V),
]  # fmt: skip

# NaN that is meant: points that have no moving range, score or limit yet; series with a reason have no limits
GAPS_ARE_MEANT = {
    "individuals", "screen", "q_statistics", "q_over_models", "self_starting", "three_way", "mean_range",
    "mean_sd", "individuals_table", "subgroup_table", "three_way_table", "cusum_table", "count_table",
    "time_between_table", "ewma_table", "self_starting_table", "capability_columns",
    "cp_bound", "cpm_bound", "one_sided_bound", "two_sided_bound",  # missing in, missing out
}  # fmt: skip
# an infinite answer that is true: nothing bounds the mean run length from so few points; no alarm ever
INFINITY_IS_MEANT = {"estimated_limits", "false_alarms", "sigma_estimate"}
# what takes finished results, needs a context of its own or cannot be given a wrong figure
ELSEWHERE = {
    "expanded_uncertainty": "tests/stats/gauges/test_expanded.py",
    "component_intervals": "tests/stats/test_gauge_intervals.py",
    "share_interval": "tests/stats/test_gauge_intervals.py",
    "find_signals": "tests/stats/test_rules.py",
    "table_flags": "tests/stats/test_rules.py",
    "rule_flags": "tests/stats/test_rules.py",
    "percentile_figures": "tests/stats/test_capability_shape.py",
    "shape_figures": "tests/stats/test_capability_shape.py",
    "run_length_of_chain": "tests/stats/test_runlength.py",
    "stretches_of": "tests/stats/test_detector.py",
    "study_frame": "tests/stats/test_study.py and tests/faults/test_study_files.py",
    "verdict": "tests/stats/test_capability.py",
    "score_of": "tests/stats/noise/test_shape.py",
    "lots_margin": "tests/stats/noise/test_lots.py",
    "anderson_darling_many": "as anderson_darling",
    "capability_many": "as capability",
    "checks_together": "tests/stats/test_checks.py",
    "climb_or_stairs": "tests/stats/test_change_kinds.py",
    "count_further": "as detect_counts",
    "detect_further": "as detect",
    "detect_settled_line": "as detect_wear",
    "fit_kinds": "tests/stats/test_change_kinds.py",
    "frame_of": "turns a finished result into a table",
    "fraction_outside_intervals": "as fraction_outside_interval",
    "gauge_share": "as capability",
    "effective_pieces": "tests/stats/capable/test_effective.py",
    "learn_noise": "tests/stats/noise/test_laid.py",
    "learned_capability": "tests/stats/capable/test_learned.py",
    "natural_limits": "tests/stats/capable/test_learned.py",
    "learned_scores": "tests/stats/change/test_learned_shape.py",
    "lag_1_many": "as lag_1_autocorrelation",
    "pieces_to_settle_many": "as pieces_to_settle",
    "place_level": "tests/stats/test_change_kinds.py",
    "place_spread": "tests/stats/test_change_kinds.py",
    "sigma_estimate": "as estimated_limits",
    "step_variance": "tests/stats/test_detector_evidence.py",
    "study_checks": "tests/stats/test_checks.py",
    "counts_told_after": "tests/stats/change/test_told_after.py",
    "told_after": "tests/stats/change/test_told_after.py",
    "explained_share": "tests/stats/samples/test_explained.py",
    "evenly_read": "tests/faults/test_study_files.py, in studies by hand",
    "mean_and_sd": "tests/stats/samples/test_averages.py",
    "apart_from_others": "tests/stats/samples/test_apart.py",
    "few_apart": "tests/stats/samples/test_handful.py",
    "rank_association": "tests/stats/samples/test_together.py",
    "rolled_yield": "tests/stats/samples/test_yields.py",
}


def spoilt(value):
    """Every bad form of one argument, with its name."""
    if isinstance(value, bool | str) or value is LINE:
        return
    if isinstance(value, int):  # that a count is a whole number is the type checker's business
        for number in (0, -1, 1, 2, -value):
            yield f"{number}", number
    elif isinstance(value, float):
        for figure in (math.nan, math.inf, -math.inf, 0, -1, 1, 2, 1e300, 1e-300, -value):
            yield f"{figure}", figure
    elif isinstance(value, np.ndarray):
        yield from spoilt_array(value)
    elif isinstance(value, pl.DataFrame):
        yield from spoilt_frame(value)
    elif isinstance(value, list) and isinstance(value[0], np.ndarray):
        for name, array in spoilt_array(value[0]):
            yield f"first group {name}", [array, *value[1:]]
        yield "no group", []
        yield "one group", value[:1]
    elif isinstance(value, list):
        yield "labels too few", value[:-1]
        yield "no labels", []
        yield "one label", [value[0]] * len(value)
        yield (
            "labels all apart",
            [str(i) for i in range(len(value))] if isinstance(value[0], str) else value[1:],
        )


def spoilt_array(array):
    for cell in (math.nan, math.inf, -math.inf, 1e300, 1e99, 1e-300):
        bad = array.copy()
        bad.flat[min(3, array.size - 1)] = cell
        yield f"one {cell}", bad
    yield "empty", array[:0]
    yield "one reading", array[:1]
    yield "two readings", array[:2]
    yield "one short", array[:-1]
    for constant in (7.0, 0.1, 0.0):
        yield f"constant {constant}", np.full_like(array, constant)
    yield "negative", -array
    for factor in (1e300, 1e99, 1e58, 1e-58, 1e-99, 1e-300):
        yield f"times {factor}", array * factor
    for offset in (1e9, 1e15):
        yield f"plus {offset}", array + offset
    yield "text", ["x"] * len(array)
    yield "holes", [None] * len(array)
    yield "complex", array + 1j
    yield "a dimension too many", np.stack([array, array])
    yield "no list", np.float64(3.0)


def spoilt_frame(frame):
    yield "no rows", frame.head(0)
    yield "one row", frame.head(1)
    yield "two rows", frame.head(2)
    for column in frame.columns:
        yield f"no {column}", frame.drop(column)
        hole = (
            pl.when(pl.int_range(pl.len()) == min(3, frame.height - 1)).then(None).otherwise(pl.col(column))
        )
        yield f"hole in {column}", frame.with_columns(hole.alias(column))
        yield f"empty {column}", frame.with_columns(pl.lit(None).alias(column))
        if not frame[column].dtype.is_float():
            continue
        yield f"text in {column}", frame.with_columns(pl.col(column).cast(pl.String))
        for cell in (math.nan, math.inf, 1e300, 1e99, 0.0, -1.0):
            bad = pl.when(pl.int_range(pl.len()) == min(3, frame.height - 1)).then(pl.lit(cell))
            yield f"{cell} in {column}", frame.with_columns(bad.otherwise(pl.col(column)).alias(column))
        for constant in (7.0, 0.1, 0.0):
            yield f"{column} {constant} throughout", frame.with_columns(pl.lit(constant).alias(column))
        for factor in (1e300, 1e-300):
            yield f"{column} times {factor}", frame.with_columns(pl.col(column) * factor)


def unusable(answer, infinite=False, depth=0):
    """Whether an answer holds NaN (or infinity) anywhere."""
    if isinstance(answer, float | np.floating):
        return math.isnan(answer) or (math.isinf(answer) and not infinite)
    if isinstance(answer, np.ndarray):
        return answer.dtype.kind == "f" and any(unusable(float(x), infinite) for x in answer.ravel())
    if isinstance(answer, dict | types.MappingProxyType):
        return any(unusable(part, infinite) for part in answer.values())
    if isinstance(answer, list | tuple):
        return any(unusable(part, infinite) for part in answer)
    if dataclasses.is_dataclass(answer):
        return any(unusable(getattr(answer, field.name), infinite) for field in dataclasses.fields(answer))
    return False


def questions(arguments, options):
    """Every question with one bad argument."""
    for place, value in enumerate(arguments):
        for name, bad in spoilt(value):
            yield f"argument {place + 1}: {name}", [*arguments[:place], bad, *arguments[place + 1 :]], options
    for key, value in options.items():
        for name, bad in spoilt(value):
            yield f"{key}: {name}", arguments, options | {key: bad}


@pytest.mark.parametrize("function, arguments, options", CASES)
def test_a_bad_figure_is_refused_in_a_sentence_or_answered_in_finite_numbers(function, arguments, options):
    faults = []
    for name, given, chosen in questions(arguments, options):
        try:
            answer = function(*given, **chosen)
        except StatisticsError as error:
            said = str(error)
            if len(said) < 12 or "\n" in said:
                faults.append(f"{name}: says only {said!r}")
        except Exception as error:  # whatever else comes out is what this test looks for
            faults.append(f"{name}: {type(error).__name__}: {error}")
        else:
            meant = function.__name__
            if meant not in GAPS_ARE_MEANT and unusable(answer, infinite=meant in INFINITY_IS_MEANT):
                faults.append(f"{name}: a silent NaN or infinity in {answer}"[:300])
    assert not faults, "\n" + "\n".join(faults)


def test_every_public_function_is_asked_here_or_elsewhere():
    """A new public function needs a line above (or a place in `ELSEWHERE`)."""
    functions = {name for name in qs.__all__ if isinstance(getattr(qs, name), types.FunctionType)}
    functions |= {name for name in qs.__all__ if hasattr(getattr(qs, name), "__wrapped__")}
    asked = {param.values[0].__name__ for param in CASES}
    assert functions - asked - set(ELSEWHERE) == set()


@pytest.mark.parametrize("function, arguments, options", CASES)
def test_the_good_question_is_answered(function, arguments, options):
    """So that the sweep above cannot pass because every question is refused."""
    answer = function(*arguments, **options)
    assert answer is not None


@pytest.mark.parametrize(
    "arguments, said",
    [
        pytest.param((pl.DataFrame({"mm": [1.0, 2.0]}),), "there is no column 'value'", id="column"),
        pytest.param((pl.DataFrame({"value": ["1", "2"]}),), "column 'value' holds String", id="text"),
        pytest.param((pl.DataFrame({"value": [True, False]}),), "column 'value' holds Boolean", id="truth"),
        pytest.param((pl.DataFrame({"value": [1.0, None]}),), "value, reading 2 is None", id="hole"),
        pytest.param((pl.DataFrame({"value": [1.0, 1e99]}),), "beyond 1e.60: too large", id="huge"),
        pytest.param((pl.DataFrame({"value": [0.0, 1e-99]}),), "above 1e-60: too small", id="tiny"),
        pytest.param((pl.DataFrame({"value": []}, schema={"value": pl.Float64}),), "no readings", id="empty"),
    ],
)
@pytest.mark.parametrize(
    "table", ["individuals_table", "cusum_table", "ewma_table", "self_starting_table", "time_between_table"]
)
def test_tables_name_what_is_wrong(table, arguments, said):
    with pytest.raises(StatisticsError, match=said):
        getattr(qs, table)(*arguments)


def test_subgroups_and_sizes_are_named():
    rows = pl.DataFrame(
        {"value": [1.0, 2.0, 3.0], "subgroup": ["a", None, "b"], "size": [1.0, math.inf, 0.0]}
    )
    for table in (qs.subgroup_table, qs.three_way_table):
        with pytest.raises(StatisticsError, match="'subgroup' is empty at reading 2"):
            table(rows)
        with pytest.raises(StatisticsError, match="there is no column 'subgroup'"):
            table(rows.drop("subgroup"))
    for kind in ("proportion", "number-defective", "defects-per-unit"):
        with pytest.raises(StatisticsError, match="size 2 is inf: it must be above 0"):
            qs.count_table(rows, kind)
        with pytest.raises(StatisticsError, match="size 2 is 0: it must be above 0"):
            qs.count_table(rows[::2], kind)
        with pytest.raises(StatisticsError, match="'size' is empty at reading 1"):
            qs.count_table(rows.with_columns(size=pl.lit(None)), kind)
        with pytest.raises(StatisticsError, match="column 'size' holds String"):
            qs.count_table(rows.with_columns(size=pl.lit("x")), kind)


def test_one_bad_series_does_not_stop_the_good_ones():
    """A constant series keeps its row and its reason; its neighbour has its chart."""
    frame = pl.DataFrame({"series": ["flat"] * 20 + ["good"] * 20, "value": [12.041] * 20 + V[:20].tolist()})
    for table in (qs.individuals_table, qs.cusum_table, qs.ewma_table):
        made = table(frame)
        assert list(made.charts()) == ["good"]
        assert "spread is zero" in made.levels["reason"][0]
        assert "flat" not in qs.find_signals(made, qs.parse_rules("all"))


def test_no_chart_of_rounding_alone():
    """12.041 added up and divided again is off by a bit: that is no spread of a figure."""
    still = np.column_stack([np.full(30, 12.041), V])
    for chart in (qs.t2, qs.mewma):
        with pytest.raises(StatisticsError, match="one never changes"):
            chart(still)


def test_corrected_limits_need_counts_that_differ():
    with pytest.raises(StatisticsError, match="corrected limits need counts that differ"):
        qs.count_chart([5.0] * 10, SIZE[:10], kind="proportion", corrected=True)
    with pytest.raises(StatisticsError, match="corrected limits need counts that differ"):
        qs.count_chart([5.0], SIZE[:1], kind="proportion", corrected=True)


def test_ties_at_the_ends_still_give_an_interval():
    """A coarse gauge repeats the extreme readings: the bootstrap then has no acceleration to correct by."""
    coarse = np.round(np.random.default_rng(1).normal(10, 1, 900))
    found = qs.capability(coarse, lower=5.0, upper=15.0, shape="any")
    low, high = found.ppk_interval
    assert low <= found.ppk <= high
    tied = np.tile(np.arange(900.0, 936.0), 30)
    assert qs.capability(tied, lower=600.0, upper=1400.0, shape="any").ppk_interval is not None


def test_a_verdict_needs_more_than_even_confidence():
    with pytest.raises(StatisticsError, match="must lie between 0.5 and 1"):
        qs.capability(V, **BOTH, confidence=0.4)


def test_a_run_length_of_one_has_its_quantiles():
    """A shift so great that the first point signals for certain."""
    assert qs.shewhart_run_length(3.0, 60.0).to_dict()["quantiles"]["0.95"] == 1
    assert qs.cusum_run_length(0.5, 4.0, 60.0).mean == pytest.approx(1.0)
