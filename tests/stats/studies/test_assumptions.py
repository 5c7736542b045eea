"""Checks beside the charts of a study: all series in one pass, each as if it were alone."""

import numpy as np
import polars as pl
import pytest

from qc.stats.charts.table import arrange
from qc.stats.numbers.setting import Setting
from qc.stats.samples.dependence import lag_1_autocorrelation
from qc.stats.samples.distribution import anderson_darling
from qc.stats.studies.assumptions import distributions, doubts
from qc.stats.studies.kinds import KINDS
from qc.stats.studies.question import StudyQuestion
from qc.stats.studies.series import study_frame


def charted(parts, **options):
    """Names, readings, outcomes and the question of some series of readings."""
    frame = pl.DataFrame(
        {
            "series": np.repeat(list(parts), [part.size for part in parts.values()]),
            "value": np.concatenate(list(parts.values())),
        }
    )
    question = StudyQuestion("individuals", **options)
    return list(parts), list(parts.values()), KINDS["individuals"].build(arrange(frame), question), question


def test_every_series_is_tested_or_says_why_not():
    rng = np.random.default_rng(3)
    readings = [rng.standard_normal(30), rng.standard_normal(7), np.full(20, 4.0), rng.exponential(size=90)]
    found = distributions(readings, measured=True, several=False)
    for row in (0, 3):
        alone = anderson_darling(readings[row])
        assert found[row]["statistic"] == pytest.approx(alone.statistic, rel=1e-12)
        assert found[row]["p_value"] == pytest.approx(alone.p_value, rel=1e-9)
    assert "7 readings are too few" in found[1]["reason"] and found[1]["p_value"] is None
    assert found[2]["reason"] == "all readings are equal"
    assert [one["n"] for one in found] == [30, 7, 20, 90]


def test_counts_and_several_figures_are_not_tested():
    part = [np.arange(30.0)]
    assert "counts" in distributions(part, measured=False, several=False)[0]["reason"]
    assert "several figures" in distributions(part, measured=True, several=True)[0]["reason"]


def test_points_that_hang_together_are_said_as_for_one_series():
    rng = np.random.default_rng(4)
    parts = {f"s{i}": rng.standard_normal(40) for i in range(60)} | {
        "walk": np.cumsum(rng.standard_normal(40))
    }
    parts["nine"] = np.arange(9.0)
    names, readings, outcomes, question = charted(parts)
    said = doubts(names, readings, outcomes, question)
    expected = {name for name, part in parts.items() if part.size >= 10 and lag_1_autocorrelation(part).clear}
    assert set(said) == expected and "walk" in expected and len(expected) < 12
    assert f"{lag_1_autocorrelation(parts['walk']).lag_1:.2f}" in said["walk"][0]


def test_a_coarse_gauge_is_said_where_a_step_is_known():
    rng = np.random.default_rng(5)
    parts = {"fine": rng.standard_normal(40), "coarse": np.round(0.4 * rng.standard_normal(40))}
    question = {"setting": Setting(resolution=1.0)}
    names, readings, outcomes, asked = charted(parts, **question)
    said = doubts(names, readings, outcomes, asked)
    assert any("the gauge is coarse" in one for one in said["coarse"])
    assert doubts(names, readings, outcomes, StudyQuestion("individuals")).get("coarse") is None


def test_warnings_reach_the_answer_in_order():
    walk = np.round(np.cumsum(np.random.default_rng(6).standard_normal(40)))
    answer = study_frame(pl.DataFrame({"value": walk}), StudyQuestion("individuals"))[""]
    assert any("hang together" in one for one in answer.warnings)
