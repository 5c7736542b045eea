"""Levels of spread and check standards on the handbook's probe data."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from qc.stats.errors import StatisticsError
from qc.stats.gauges.levels import check_standard, nested_levels

PUBLISHED = Path(__file__).parents[2] / "published"
B6 = json.loads((PUBLISHED / "gauge_studies.json").read_text("utf-8"))["B6"]
B9 = json.loads((PUBLISHED / "capability_checks.json").read_text("utf-8"))["B9"]
RUN, WAFER, AVERAGE, SD = (np.array(c) for c in zip(*B6["data"]["rows"], strict=True))


def test_probe_levels():
    """B6: NIST 2.6.1, probe 2362, six days, five wafers, two runs, six repeats."""
    found = nested_levels(AVERAGE, SD, WAFER.tolist(), RUN.tolist(), repeats=6)
    for name, printed in (("repeat_sd", "s1"), ("day_sd", "s2"), ("run_sd", "s3")):
        digits = 4 if printed == "s3" else 5  # printed 0.0196
        assert getattr(found, name) == pytest.approx(B6["published"][printed], abs=0.51 * 10**-digits)
        assert getattr(found, name) == pytest.approx(B6["recomputed"][printed], rel=1e-9)
    assert (found.repeat_df, found.day_df, found.run_df) == tuple(
        B6["published"][k] for k in ("df1", "df2", "df3")
    )
    assert found.days_sd == pytest.approx(B6["recomputed"]["s_days"], rel=1e-9)
    assert found.runs_sd == pytest.approx(B6["recomputed"]["s_runs"], rel=1e-9)
    assert found.days_sd == pytest.approx(B6["published"]["s_days"], abs=2e-5)
    assert found.reading_sd == pytest.approx(
        math.sqrt(found.repeat_sd**2 + found.days_sd**2 + found.runs_sd**2)
    )
    assert found.warnings == ()


def test_probe_levels_of_each_run():
    for run in (1, 2):
        mine = RUN == run
        assert math.sqrt(np.mean(SD[mine] ** 2)) == pytest.approx(B6["published"][f"s1_run{run}"], abs=6e-6)


def test_levels_are_unbiased_in_simulation():
    rng = np.random.default_rng(6)
    rows = []
    for _ in range(400):
        run = 0.5 * rng.standard_normal((4, 3, 1, 1))
        day = 0.3 * rng.standard_normal((4, 3, 5, 1))
        y = run + day + rng.standard_normal((4, 3, 5, 6))
        things, runs, _ = np.indices((4, 3, 5))
        average, sd = y.mean(axis=3).ravel(), y.std(axis=3, ddof=1).ravel()
        found = nested_levels(average, sd, things.ravel().tolist(), runs.ravel().tolist(), repeats=6)
        rows.append((found.repeat_sd**2, found.day_sd**2, found.run_sd**2))
    mean, error = np.mean(rows, axis=0), np.std(rows, axis=0) / 20
    expected = [1.0, 0.09 + 1 / 6, 0.25 + (0.09 + 1 / 6) / 5]
    assert np.all(np.abs(mean - expected) < 4 * error)


def test_intervals_of_the_levels_cover():
    """The wanted share of 95 % intervals holds the truth, within four standard errors (modified: or more)."""
    rng = np.random.default_rng(7)
    truth = {"repeat_sd": 1.0, "day_sd": math.sqrt(0.36 + 1 / 4), "days_sd": 0.6, "runs_sd": 0.8}
    truth["run_sd"] = math.sqrt(0.64 + truth["day_sd"] ** 2 / 4)
    truth["reading_sd"] = math.sqrt(1.0 + 0.36 + 0.64)
    held, rounds = dict.fromkeys(truth, 0), 1000
    things, runs, _ = (index.ravel().tolist() for index in np.indices((2, 5, 4)))
    for _ in range(rounds):
        y = 0.8 * rng.standard_normal((2, 5, 1, 1)) + 0.6 * rng.standard_normal((2, 5, 4, 1))
        y = y + rng.standard_normal((2, 5, 4, 4))
        found = nested_levels(y.mean(axis=3).ravel(), y.std(axis=3, ddof=1).ravel(), things, runs, repeats=4)
        for name, (low, high) in found.intervals.items():
            held[name] += low <= truth[name] <= high
    error = math.sqrt(0.95 * 0.05 / rounds)
    for name, count in held.items():
        assert count / rounds > 0.95 - 4 * error, name
        if name in ("repeat_sd", "day_sd", "run_sd"):  # exact by chi-square
            assert count / rounds < 0.95 + 4 * error, name


def test_without_runs_the_day_is_the_last_level():
    mine = RUN == 1
    found = nested_levels(AVERAGE[mine], SD[mine], WAFER[mine].tolist(), repeats=6)
    assert found.day_sd == pytest.approx(B6["published"]["s2_run1"], abs=6e-6)
    assert (found.run_sd, found.run_df, found.runs_sd) == (None, None, None)
    assert found.reading_sd == pytest.approx(math.hypot(found.repeat_sd, found.days_sd))
    assert set(found.intervals) == {"repeat_sd", "day_sd", "days_sd", "reading_sd"}
    assert found.to_frame()["df"].to_list() == [150, 25, None, None]


def test_plain_values_are_plain():
    found = nested_levels(AVERAGE, SD, WAFER.tolist(), RUN.tolist(), repeats=6)
    assert json.loads(json.dumps(found.to_dict()))["intervals"]["run_sd"] == list(found.intervals["run_sd"])
    standard = check_standard(*zip(*B9["data"]["rows"], strict=True), repeat_df=5)
    assert json.loads(json.dumps(standard.to_dict()))["sd_signals"] == list(standard.sd_signals)


def test_few_sets_and_coarse_steps_are_said():
    found = nested_levels([1.0, 1.2, 1.1, 1.4], [0.1] * 4, ["a"] * 4, [1, 1, 2, 2], repeats=4)
    assert any("runs: 1 degree of freedom only" in w for w in found.warnings)
    assert any("days: 2 degrees of freedom only" in w for w in found.warnings)
    flat = check_standard([1.0, 1.0, 1.0], [0.0, 0.0, 0.1], repeat_df=3)
    assert "all averages are the same" in flat.warnings[0] and "in 2 of 3 sets" in flat.warnings[1]
    few = check_standard([1.0, 1.1, 1.2], [0.1] * 3, repeat_df=3)
    assert few.warnings == ("limits from 3 averages only: their sd is uncertain by about 50 %",)


def test_levels_below_nothing_are_floored_and_said():
    found = nested_levels([1.0, 1.0, 1.0, 1.01], [0.5] * 4, ["a"] * 4, [1, 1, 2, 2], repeats=4)
    assert found.days_sd == 0.0 and any("days" in w for w in found.warnings)


def test_check_standard_of_the_probe():
    """B9: NIST 2.6.2, MPC62; two-sigma limits of the averages, one-sided F limit of the sds."""
    average, sd = zip(*B9["data"]["rows"], strict=True)
    found = check_standard(average, sd, repeat_df=B9["data"]["df_each"])
    printed = B9["published"]
    assert found.repeat_sd == pytest.approx(printed["s1"], abs=6e-6)
    assert found.repeat_df == printed["df1"]
    assert found.average_sd == pytest.approx(printed["s2"], abs=6e-6)
    assert found.f_point == pytest.approx(printed["F95"], abs=6e-6)
    assert found.sd_limit == pytest.approx(printed["UCL_precision"], abs=6e-6)
    assert (found.center, found.upper, found.lower) == pytest.approx(
        (printed["center"], printed["UCL"], printed["LCL"]), abs=6e-6
    )
    assert list(found.sd_signals) == B9["recomputed"]["precision_signals"]
    assert list(found.average_signals) == B9["recomputed"]["bias_signals"]


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: nested_levels(AVERAGE, SD, WAFER.tolist(), RUN.tolist(), repeats=1), "repeats is 1"),
        (lambda: nested_levels([1.0] * 4, [-0.1] * 4, ["a"] * 4, [1, 1, 2, 2], repeats=4), "an sd is -0.1"),
        (lambda: nested_levels([1.0] * 4, [0.1] * 4, ["a"] * 4, [1] * 4, repeats=4), "1 runs"),
        (lambda: nested_levels([1.0] * 3, [0.1] * 4, ["a"] * 3, [1, 1, 2], repeats=4), "part a has"),
        (lambda: check_standard([1.0, 2.0], [0.1], repeat_df=5), "sd"),
        (lambda: check_standard([1.0, 2.0], [0.1, 0.1, 0.1], repeat_df=5), "2 averages and 3 sds"),
        (lambda: check_standard([1.0, 2.0], [0.1, 0.2], repeat_df=0), "degrees of freedom is 0"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()
