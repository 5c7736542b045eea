"""All checks of a study together: published values, second routes, many series, what cannot be made."""

import json
import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy import stats
from statsmodels.stats.diagnostic import normal_ad

from qc.stats import (
    FIGURES,
    Baseline,
    Setting,
    StatisticsUsageError,
    StudyQuestion,
    checks_together,
    corrected_p_values,
    generalised_esd,
    individuals,
    lag_1_autocorrelation,
    mean_change,
    moving_range_inflation,
    pooled_autocorrelation,
    recursive_residuals,
    runs_test,
    study_checks,
)

PUBLISHED = Path(__file__).parents[2] / "published"
CHECKS = json.loads((PUBLISHED / "capability_checks.json").read_text("utf-8"))
NILE = json.loads((PUBLISHED / "changepoint_nile.json").read_text("utf-8"))
GEAR = np.array(CHECKS["B14"]["data"]["rows"])
INDIVIDUALS = StudyQuestion("individuals")


def one(columns, question=INDIVIDUALS):
    return study_checks(pl.DataFrame(columns), question)[""]


def test_gears_by_batch():
    """NIST GEAR: 1.3.5.4 (F), 1.3.5.7 (Bartlett), 1.3.5.14 (Anderson-Darling, statistic recomputed)."""
    found = one({"value": GEAR.ravel(), "subgroup": np.repeat(np.arange(10), 10)})
    published, recomputed = CHECKS["B14"]["published"], CHECKS["B14"]["recomputed"]
    assert found["anova"].statistic == pytest.approx(recomputed["F"], rel=1e-9)
    assert found["anova"].p_value == pytest.approx(published["p"], abs=5e-5)
    assert found["anova"].figures["table"][0]["ss"] == pytest.approx(published["SSB"], abs=5e-7)
    assert found["anova"].figures["within_sd"] == pytest.approx(published["resid_sd"], abs=5e-10)
    assert found["bartlett"].statistic == pytest.approx(published["bartlett"], abs=1e-4)
    assert found["brown_forsythe"].statistic == pytest.approx(stats.levene(*GEAR, center="median")[0])
    assert found["levene"].p_value == pytest.approx(stats.levene(*GEAR, center="mean")[1])
    assert found["anderson_darling"].statistic == pytest.approx(
        CHECKS["B21"]["recomputed"]["GEAR_A2_adjusted"], abs=1e-8
    )
    assert found["anova"].clear and found["anova"].figures["by"] == "subgroup"
    assert found["runs"].judged == "subgroup means" and found["runs"].n == 10
    assert found["anderson_darling"].judged == "readings" and found["anderson_darling"].n == 100
    assert any("hang together" in note for note in found.notes)


def test_uranium_readings():
    """B19, NIST 1.3.5.17.1: G 2.4687, critical value 2.032 one-sided."""
    readings = CHECKS["B19"]["data"]
    found = one({"value": readings})["grubbs"]
    above, below = found.figures["above"], found.figures["below"]
    assert above["statistic"] == pytest.approx(CHECKS["B19"]["published"]["G"], abs=6e-4)
    assert above["critical"] == pytest.approx(CHECKS["B19"]["published"]["crit_one_sided_05"], abs=6e-4)
    assert (above["point"], above["value"], above["clear"]) == (8, readings[7], True)
    assert not below["clear"] and below["point"] == 1
    assert found.p_value == pytest.approx(2 * above["p_value"]) and found.clear


ROSNER = [  # Rosner 1983 / NIST 1.3.5.17.3 (data and result from memory): three outliers among 54
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56,
    1.58, 1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10,
    2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92,
    2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
]  # fmt: skip


def test_rosners_outliers():
    found = one({"value": ROSNER})["generalised_esd"]
    assert [outlier["point"] for outlier in found.figures["outliers"]] == [54, 53, 52]
    assert found.figures["most"] == 10 and len(found.figures["steps"]) == 10
    assert found.clear and found.p_value is None
    steps = generalised_esd(ROSNER, 10)
    assert [step["critical"] for step in found.figures["steps"]] == [step.critical for step in steps]


def test_beam_deflections():
    """NIST LEW: runs Z 2.6938 (1.3.5.13), certified lag-1 coefficient (StRD)."""
    lew = CHECKS["B16"]["data"]
    found = one({"value": lew})
    assert found["runs"].statistic == pytest.approx(CHECKS["B16"]["published"]["Z"], abs=6e-5)
    assert found["runs"].p_value == pytest.approx(CHECKS["B16"]["published"]["p"], abs=6e-7)
    lag = found["lag_1"]
    assert lag.statistic == pytest.approx(CHECKS["B17"]["published"]["r1"], rel=1e-11)
    assert lag.clear and lag.p_value < 1e-4 and "opposed" in lag.verdict
    assert lag.figures["interval"][0] < lag.statistic < lag.figures["interval"][1] < 0
    assert lag.figures["moving_range_inflation"] == moving_range_inflation(lag.statistic) < 1
    usual = individuals(lew)
    assert lag.figures["limits"] == pytest.approx([usual.lower, usual.upper])
    widths = [np.ptp(lag.figures[name]) for name in ("limits_allowing", "limits")]
    assert widths[0] / widths[1] == pytest.approx(lag.figures["moving_range_inflation"])


def test_allowing_limits_keep_the_rate_of_like_neighbours():
    """The limits that allow for it hold what they are asked to hold, by simulation; the usual ones do not."""
    rng, n = np.random.default_rng(17), 40_000
    x = np.empty(n)
    x[0] = rng.standard_normal()
    for i in range(1, n):
        x[i] = 0.5 * x[i - 1] + math.sqrt(0.75) * rng.standard_normal()
    lag = one({"value": x})["lag_1"]
    for name, rate in (
        ("limits", lag.figures["false_alarm_rate"]),
        ("limits_allowing", lag.figures["false_alarm_rate_asked"]),
    ):
        low, high = lag.figures[name]
        assert np.mean((x < low) | (x > high)) == pytest.approx(rate, rel=0.15)
    assert lag.figures["false_alarm_rate"] > 10 * lag.figures["false_alarm_rate_asked"]


def test_the_nile():
    """Cobb 1978: the last year before the change is 1898 (from memory; recomputed)."""
    found = one({"value": NILE["volume"]}, StudyQuestion("individuals", target=1000.0))
    change = found["mean_change"]
    assert change.figures["start"] + 1870 == NILE["published"]["last_year_before"] + 1
    assert change.figures["mean_after"] == pytest.approx(NILE["recomputed"]["mean_after"])
    assert abs(change.statistic) == pytest.approx(NILE["recomputed"]["max_abs_t"])
    assert change.clear and change.p_value < 1e-9
    assert change.figures["start_set"] == list(mean_change(NILE["volume"]).start_set)
    away = found["mean_change_from_target"]
    assert away.clear and away.figures["target"] == 1000.0 and not away.figures["sd_given"]
    assert any("change of level" in note for note in found.notes)


def test_change_from_a_target_with_a_given_spread():
    x = [10.1, 9.9, 10.0, 10.2, 9.8, 10.9, 11.2, 11.0]
    setting = Setting(center=10.0, sigma=0.15)
    found = one({"value": x}, StudyQuestion("individuals", setting=setting))["mean_change_from_target"]
    assert found.figures["start"] == 6 and found.figures["start_set"] == [6, 6]
    assert found.figures["sd_given"] and found.figures["sd"] == 0.15
    assert found.figures["size"] == pytest.approx(np.mean(x[5:]) - 10.0)


def test_start_set_without_a_given_spread_holds_the_start():
    """Coverage of the 90 % set of the start over 300 series, change of 2 sd after 20 of 35 points."""
    rng = np.random.default_rng(6)
    held = []
    for _ in range(300):
        x = rng.standard_normal(35) + np.where(np.arange(35) >= 20, 2.0, 0.0)
        low, high = one({"value": x}, StudyQuestion("individuals", target=0.0))[
            "mean_change_from_target"
        ].figures["start_set"]
        held.append(low <= 21 <= high)
    assert np.mean(held) > 0.90 - 3 * math.sqrt(0.09 / 300)


def test_each_check_is_wrong_as_often_as_it_says():
    """700 settled series of 40 readings in 8 groups: no check calls more often than 5 %, most about so."""
    rng, rows = np.random.default_rng(5), 700
    frame = pl.DataFrame(
        {
            "series": np.repeat([f"s{i}" for i in range(rows)], 40),
            "subgroup": np.tile(np.repeat(np.arange(8), 5), rows),
            "value": rng.normal(10, 1, 40 * rows),
        }
    )
    together = checks_together(study_checks(frame, StudyQuestion("individuals", target=10.0)))
    error = 4 * math.sqrt(0.05 * 0.95 / rows)
    assert together.series == rows
    # Levene's test about means calls far too often in groups of five: it is told, but not relied on
    assert together.clear["levene"] / rows > 0.09 and "levene" not in together.by_chance
    for name, expected in together.by_chance.items():
        assert expected == pytest.approx(0.05 * rows) and together.made[name] == rows
        assert together.clear[name] / rows < 0.05 + error
        if name in ("anderson_darling", "grubbs", "anova", "bartlett"):
            assert together.clear[name] / rows > 0.05 - error


def test_correction_for_several_checks():
    """At most 5 % of settled series keep anything clear once all checks are allowed for."""
    rng = np.random.default_rng(12)
    frame = pl.DataFrame(
        {"series": np.repeat(np.arange(600), 30).astype(str), "value": rng.normal(size=18_000)}
    )
    found = study_checks(frame, INDIVIDUALS)
    alone = np.mean([bool(one.clear) for one in found.values()])
    allowed = np.mean([bool(one.clear_together) for one in found.values()])
    assert allowed <= 0.05 + 4 * math.sqrt(0.05 * 0.95 / 600) < alone
    some = found["7"]
    known = corrected_p_values([check.p_value for check in some.tested])
    assert [check.p_corrected for check in some.tested] == known
    assert some.by_chance == pytest.approx(1 - 0.95 ** len(some.tested))
    assert "once in twenty" in some.sentence


def test_second_routes():
    rng = np.random.default_rng(40)
    x = rng.standard_exponential(50)
    found = one({"value": x})
    raw, p_value = normal_ad(x)
    assert found["anderson_darling"].p_value == pytest.approx(p_value, rel=1e-5)
    assert found["anderson_darling"].statistic == pytest.approx(raw * (1 + 0.75 / 50 + 2.25 / 2500), rel=1e-6)
    assert found["runs"].statistic == runs_test(x).statistic
    assert found["lag_1"].statistic == lag_1_autocorrelation(x).lag_1


def test_many_series_are_each_as_if_alone():
    rng = np.random.default_rng(3)
    columns = {
        "series": np.tile(["a", "b", "c"], 40),
        "subgroup": np.repeat(np.arange(20), 6),
        "value": rng.normal(size=120).round(2),
    }
    frame = pl.DataFrame(columns)
    every = study_checks(frame, INDIVIDUALS)
    assert list(every) == ["a", "b", "c"]
    for name, found in every.items():
        alone = study_checks(frame.filter(pl.col("series") == name).drop("series"), INDIVIDUALS)[""]
        assert found == alone
    together = checks_together(every)
    pooled = pooled_autocorrelation([np.array(part["value"].to_list()) for part in means_of(frame)])
    assert together.lag_1 == pytest.approx(pooled.lag_1)
    assert together.lag_1_bound == pytest.approx(pooled.bound, rel=1e-4)


def means_of(frame):
    means = frame.group_by("series", "subgroup", maintain_order=True).agg(pl.col("value").mean())
    return [means.filter(pl.col("series") == name) for name in ("a", "b", "c")]


def test_models_of_a_family():
    rng = np.random.default_rng(9)
    model = np.tile(["alto", "bass"], 20)
    nominal = np.where(model == "alto", 10.0, 100.0)
    x = nominal + rng.normal(size=40) + np.where(model == "bass", 3.0, 0.0)
    found = one({"value": x, "nominal": nominal, "model": model})
    deviations = x - nominal
    parts = [deviations[model == name] for name in ("alto", "bass")]
    assert found["anova"].figures["by"] == "model" and found["anova"].clear
    assert found["anova"].statistic == pytest.approx(stats.f_oneway(*parts)[0])
    assert found["brown_forsythe"].statistic == pytest.approx(stats.levene(*parts)[0])
    # each model's own level is taken out before the readings are judged as one family
    family = np.concatenate([part - part.mean() for part in parts])
    assert found["anderson_darling"].judged == "deviations of the family"
    assert found["grubbs"].statistic == pytest.approx(np.abs(family).max() / family.std(ddof=1))
    assert "no one target" in found["mean_change_from_target"].reason


def test_what_wears_is_judged_about_its_line():
    rng = np.random.default_rng(2)
    draws = np.tile(np.arange(0.0, 300.0, 10), 2)
    x = 14 + draws * 1e-3 + rng.normal(0, 0.01, 60)
    tool = np.repeat(["first", "second"], 30)
    frame = {"value": x, "against": draws, "tool": tool}
    found = one(frame, StudyQuestion("changepoint"))
    errors = np.concatenate(
        [recursive_residuals(draws[part], x[part]) for part in (slice(30), slice(30, 60))]
    )
    assert found["runs"].n == errors.size == 56
    assert found["runs"].statistic == runs_test(errors).statistic
    assert not found["mean_change"].clear and one({"value": x})["mean_change"].clear
    assert found["lag_1"].figures.get("limits") is None
    # an odd reading keeps its point number in the whole series
    x[44] += 0.2
    found = one(frame | {"value": x}, StudyQuestion("changepoint"))
    assert found["grubbs"].clear and found["grubbs"].figures["point"] == 45


def test_counts_have_only_checks_of_order():
    rng = np.random.default_rng(4)
    size = rng.integers(40, 60, 50)
    frame = {"value": rng.binomial(size, 0.1).astype(float), "size": size}
    found = one(frame, StudyQuestion("proportion"))
    rates = frame["value"] / size
    assert found["runs"].statistic == runs_test(rates).statistic
    assert found["lag_1"].figures.get("limits") is None
    made = {check.name for check in found.checks if check.reason is None}
    assert made == {"runs", "lag_1"}
    assert one(frame, StudyQuestion("changepoint", counts="pass-fail"))["anova"].reason


def test_gauge_step():
    coarse = [5.0, 6.0, 5.0, 5.0, 6.0, 7.0, 5.0, 6.0, 5.0, 6.0, 5.0, 5.0]
    seen = one({"value": coarse})["gauge_resolution"]
    assert seen.clear and seen.figures["step"] == 1.0 and not seen.figures["step_given"]
    assert "expect false signals" in seen.verdict
    given = one({"value": GEAR.ravel()}, StudyQuestion("individuals", setting=Setting(resolution=0.01)))
    assert given["gauge_resolution"].figures["step"] == 0.01 and given["gauge_resolution"].clear


def test_too_few_or_flat_readings_give_reasons():
    found = one({"value": [1.0, 2.0]})
    assert all(check.reason for check in found.checks if check.name not in ("gauge_resolution",))
    assert "normality: value has 2 readings: at least 8" in found["anderson_darling"].reason
    assert found.sentence == "No check with a p-value could be made."
    flat = one({"value": [3.0] * 20, "subgroup": np.repeat(np.arange(4), 5)})
    assert all(check.reason for check in flat.checks)
    text = json.dumps(flat.to_dict(), allow_nan=False)
    assert json.loads(text)["grubbs"]["statistic"] is None


def test_two_levels_without_scatter():
    found = one({"value": [1.0] * 8 + [2.0] * 8}, StudyQuestion("individuals", target=1.0))
    assert found["mean_change"].clear and found["mean_change"].figures["start"] == 9
    assert found["mean_change_from_target"].clear and found["mean_change_from_target"].figures["start"] == 9
    json.dumps(found.to_dict(), allow_nan=False)


def test_shift_and_scale_change_no_verdict_and_the_baseline_none():
    rng = np.random.default_rng(1)
    x = rng.normal(size=60)
    here = one({"value": x})
    there = one({"value": 25.0 - 4.0 * x})
    for name in ("anderson_darling", "grubbs", "runs", "mean_change"):
        assert there[name].p_value == pytest.approx(here[name].p_value, rel=1e-6)
    setting = Setting(baseline=Baseline(1, 20))
    assert one({"value": x}, StudyQuestion("individuals", setting=setting)) == here


def test_every_check_tells_its_figures_and_what_it_asks():
    found = one(
        {"value": GEAR.ravel(), "subgroup": np.repeat(np.arange(10), 10)},
        StudyQuestion("individuals", target=1.0),
    )
    plain = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert list(plain) == [*FIGURES, "several", "notes"]
    for name, figures in FIGURES.items():
        assert set(figures) <= set(plain[name]) and plain[name]["asks"].endswith("?")
        assert set(found[name].figures) <= set(figures)
        assert plain[name]["reason"] is None and plain[name]["verdict"]
    assert (
        plain["several"]["tests"] == 9 and plain["levene"]["rough"] and plain["levene"]["p_corrected"] is None
    )


def test_several_figures_are_refused():
    with pytest.raises(StatisticsUsageError, match="one figure at a time"):
        study_checks(pl.DataFrame({"value": [0.0], "value:a": [1.0]}), StudyQuestion("t2"))


def test_medians_of_small_groups_say_that_they_see_little():
    """Subgroups of three, one a millionth as wide: only Bartlett's test sees it, and the other says so."""
    rng = np.random.default_rng(6)
    spreads = np.repeat([1e-6, 1.0, 1.0, 1.0, 1.0], 3)
    frame = pl.DataFrame({"value": spreads * rng.standard_normal(15), "subgroup": np.repeat(np.arange(5), 3)})
    found = study_checks(frame, StudyQuestion("mean-range"))[""]
    assert found["bartlett"].clear and not found["brown_forsythe"].clear
    assert "groups under 10 hide even gross differences from it" in found["brown_forsythe"].verdict
