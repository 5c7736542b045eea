"""The checks of a study as they are printed, and as the command's JSON."""

import json
import re
import time
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import typer
from typer.testing import CliRunner

from qc.cli.study import add_study_command
from qc.jobs.questions.studies import study
from qc.stats import FIGURES

CHECKS = json.loads((Path(__file__).parents[2] / "published/capability_checks.json").read_text("utf-8"))
GEAR = np.array(CHECKS["B14"]["data"]["rows"])  # NIST GEAR, 10 batches of 10 gears
RUNNER = CliRunner()


@pytest.fixture
def gears(tmp_path):
    frame = pl.DataFrame({"diameter": GEAR.ravel(), "batch": np.repeat(np.arange(1, 11), 10)})
    frame.write_csv(tmp_path / "gears.csv")
    return tmp_path / "gears.csv"


@pytest.fixture
def app():
    made = typer.Typer()
    made.callback()(lambda: None)
    add_study_command(made)
    return made


def invoke(app, path, *words):
    result = RUNNER.invoke(app, ["study", str(path), "--value", "diameter", *words])
    assert result.exit_code == 0, result.output
    return result.stdout


def test_the_command_answers_with_the_published_figures(app, gears):
    """NIST 1.3.5.4 and 1.3.5.7: F 2.2969 with p 0.0227, Bartlett 20.7859."""
    found = json.loads(invoke(app, gears, "--subgroup", "batch", "--checks", "--json"))
    assert {"n", "points", "chart", "signals", "distribution", "warnings", "checks"} <= set(found)
    checks = found["checks"]
    assert set(checks) == {*FIGURES, "several", "notes"}
    assert checks["anova"]["statistic"] == pytest.approx(CHECKS["B14"]["recomputed"]["F"])
    assert checks["anova"]["p_value"] == pytest.approx(CHECKS["B14"]["published"]["p"], abs=5e-5)
    assert checks["bartlett"]["statistic"] == pytest.approx(CHECKS["B14"]["published"]["bartlett"], abs=1e-4)
    same = {
        "statistic": checks["anderson_darling"]["statistic"],
        "p_value": checks["anderson_darling"]["p_value"],
    }
    assert same == {name: found["distribution"][name] for name in same}
    assert checks["mean_change_from_target"]["statistic"] is None
    assert checks["mean_change_from_target"]["reason"].startswith("no target is given")


def test_without_the_flag_there_are_no_checks(app, gears):
    assert "checks" not in json.loads(invoke(app, gears, "--json"))
    assert "Checks" not in invoke(app, gears)


def test_text_says_what_several_checks_mean_before_the_table(app, gears):
    text = invoke(app, gears, "--subgroup", "batch", "--checks")
    lines = text[text.index("\nChecks\n") + 1 :].splitlines()
    assert lines[1].startswith(
        "Of 8 checks with a p-value 3 (anderson-darling, anova, bartlett) are clear on their own"
    )
    assert "once in twenty" in lines[1] and "34 of 100 settled series" in lines[1]
    table = lines[3:]
    assert table[0].split() == ["asks", "figure", "p", "answer"]
    level = next(line for line in table if "do the groups lie at one level?" in line)
    assert re.search(r"F 2\.297 +0\.0227 +subgroup levels differ", level)
    assert any("not made (mean-change-from-target): no target is given" in line for line in table)
    assert any(line.startswith("Note: readings of one subgroup hang together") for line in table)
    starts = {line.index(word) for line, word in ((level, "subgroup levels"), (table[0], "answer"))}
    assert len(starts) == 1, "columns stand under one another"


def test_limits_that_allow_for_like_neighbours_are_printed(tmp_path):
    x = np.sin(np.arange(60) / 3) + np.random.default_rng(1).normal(0, 0.2, 60)
    pl.DataFrame({"x": x.round(3)}).write_csv(tmp_path / "wave.csv")
    result = study(tmp_path / "wave.csv", "x", checks=True)
    lag = result.to_dict()["checks"]["lag_1"]
    low, high = lag["limits_allowing"]
    assert f"allowing for neighbours: −{-low:.6g} to {high:.6g}" in result.to_text()
    assert low < lag["limits"][0] < lag["limits"][1] < high


def test_many_series_are_held_against_chance(tmp_path):
    rng = np.random.default_rng(3)
    frame = pl.DataFrame(
        {"s": np.repeat([f"s{i}" for i in range(60)], 30), "x": rng.normal(size=1800).round(3)}
    )
    frame.write_csv(tmp_path / "many.csv")
    result = study(tmp_path / "many.csv", "x", series="s", checks=True)
    found = json.loads(json.dumps(result.to_dict(), allow_nan=False))
    assert set(found) == {"series", "checks"}
    assert all("several" in one["checks"] for one in found["series"].values())
    assert found["checks"]["series"] == 60 and found["checks"]["by_chance"]["runs"] == pytest.approx(3.0)
    text = result.to_text()
    assert "Checks of 60 series" in text and "by chance in" in text
    assert re.search(r"lag-1\): [+−]0\.\d+, (within|beyond) the 0\.046 that chance allows", text)
    assert ("within" in text) != found["checks"]["pooled_lag_1"]["clear"]


def test_many_grouped_series_take_seconds(tmp_path):
    rng = np.random.default_rng(4)
    frame = pl.DataFrame(
        {
            "s": np.repeat(np.arange(1000), 120),
            "g": np.tile(np.repeat(np.arange(24), 5), 1000),
            "x": rng.normal(10, 1, 120_000).round(3),
        }
    )
    frame.write_parquet(tmp_path / "many.parquet")
    started = time.process_time()
    result = study(tmp_path / "many.parquet", "x", series="s", subgroup="g", checks=True)
    assert len(result.checks) == 1000
    assert time.process_time() - started < 10  # a quarter of them takes about one second
