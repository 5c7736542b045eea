"""The change-point chart of a study gives what the detectors give, in one shape."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from qc.stats import (
    Setting,
    StatisticsError,
    StatisticsUsageError,
    StudyQuestion,
    detect,
    detect_counts,
    detect_wear,
    study_frame,
)

COAL = json.loads((Path(__file__).parents[2] / "published/changepoint_coal.json").read_text("utf-8"))
SHAPE = {"false_alarm_rate", "shape", "judged", "stretches", "changes"}


def charted(columns, **options):
    return study_frame(pl.DataFrame(columns), StudyQuestion("changepoint", **options))[""].chart


def test_coal_mining_disasters():
    """Carlin, Gelfand & Smith 1992: the last year before the change is 1891 (from memory)."""
    chart = charted({"value": [float(count) for count in COAL["counts"]]}, counts="defects")
    first = chart.signals[0]
    assert first.rule == "count" and first.side == "below"
    assert abs(COAL["first_year"] + first.start - 2 - COAL["published"]["last_year_before"]) <= 1
    assert chart.extras["changes"] == [one.to_dict() for one in detect_counts(COAL["counts"]).signals]
    assert chart.center == pytest.approx(chart.extras["stretches"][-1]["mean"])


def test_counts_on_sizes_are_shown_as_rates():
    rng = np.random.default_rng(1)
    size = rng.integers(20, 40, 50)
    failed = rng.binomial(size, np.where(np.arange(50) < 35, 0.05, 0.4))
    chart = charted({"value": failed.astype(float), "size": size.astype(float)}, counts="pass-fail")
    np.testing.assert_allclose(chart.values, failed / size)
    found = detect_counts(failed, size, pass_fail=True)
    assert [signal.start for signal in chart.signals] == [signal.start for signal in found.signals]
    assert chart.extras["judged"] == "counts" and set(chart.extras) >= SHAPE


def test_wear_is_what_detect_wear_finds():
    rng = np.random.default_rng(2)
    draws = np.tile(np.arange(0.0, 40.0), 2)
    x = 5 + 0.01 * draws + rng.normal(0, 0.01, 80) + np.where(np.arange(80) >= 70, 0.08, 0)
    tool = ["a"] * 40 + ["b"] * 40
    chart = charted({"value": x, "against": draws, "tool": tool}, false_alarm_rate=0.002)
    found = detect_wear(draws, x, tool, false_alarm_rate=0.002)
    signals = [signal for one in found for signal in one.detection.signals]
    assert [signal.to_dict() for signal in signals] == chart.extras["changes"]
    assert any(abs(signal.start - 71) <= 2 for signal in chart.signals)
    assert chart.center is None and chart.extras["judged"] == "wear"
    assert [one["tool"] for one in chart.extras["tools"]] == ["a", "b"]
    # without the tools the second one's fresh start leaves the line
    x[40:] += 0.5
    assert charted({"value": x, "against": draws}).signals[0].point < 50
    assert charted({"value": x, "against": draws, "tool": tool}).signals[0].point > 70


def test_readings_are_what_detect_finds():
    rng = np.random.default_rng(3)
    x = np.concatenate([rng.normal(0, 1, 30), rng.normal(3, 1, 20)])
    setting = Setting(resolution=0.1)
    chart = charted({"value": x}, shape="any", setting=setting, false_alarm_rate=0.005)
    found = detect(x, false_alarm_rate=0.005, shape="any", resolution=0.1)
    assert chart.extras["changes"] == [signal.to_dict() for signal in found.signals]
    assert charted({"value": x}, rules=()).signals == ()
    subgroup = np.repeat(np.arange(10), 5)
    means = charted({"value": x, "subgroup": subgroup})
    np.testing.assert_allclose(means.values, x.reshape(10, 5).mean(axis=1))


@pytest.mark.parametrize(
    "columns, options, said",
    [
        ({"value": [1.0]}, {}, "begins at the 4th point"),
        ({"value": [1.0]}, {"counts": "defects"}, "begins at the 2nd point"),
        ({"value": [1.0, 2.0, 3.0], "against": [0.0, 1.0, 2.0]}, {}, "begins at the 6th point"),
    ],
)
def test_few_points_are_said(columns, options, said):
    assert any(said in warning for warning in charted(columns, **options).warnings)


def test_a_bad_series_among_good_ones_keeps_its_reason():
    frame = pl.DataFrame({"series": ["a", "a", "b", "b"], "value": [1.0, 2.0, 1.5, 2.0]})
    found = study_frame(frame, StudyQuestion("changepoint", counts="defects"))
    assert found["a"].chart is not None and "whole number" in found["b"].reason
    with pytest.raises(StatisticsError, match="whole number"):
        charted({"value": [0.5]}, counts="defects")


def test_counts_belong_to_this_chart():
    with pytest.raises(StatisticsUsageError, match="chart changepoint only"):
        study_frame(pl.DataFrame({"value": [1.0, 2.0]}), StudyQuestion("individuals", counts="defects"))
    with pytest.raises(StatisticsUsageError, match="counts 'many' are not known"):
        StudyQuestion("changepoint", counts="many")
