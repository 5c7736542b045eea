"""What a study prints, draws and writes, and the command around it."""

import json
import re

import numpy as np
import polars as pl
import pytest

from qc.jobs.questions.studies import study
from qc.stats import StatisticsUsageError


@pytest.fixture
def path(tmp_path):
    rng = np.random.default_rng(1)
    frame = pl.DataFrame(
        {
            "bore": [*rng.normal(14, 0.01, 28).round(4), 14.2, 14.0],
            "leg": ["left", "right"] * 15,
            "piece": np.repeat(np.arange(10), 3),
            "draw": np.arange(30),
        }
    )
    frame.write_csv(tmp_path / "slides.csv")
    return tmp_path / "slides.csv"


def test_text_begins_with_a_plain_sentence(path):
    lines = study(path, "bore", lower=13.9, upper=14.1).to_text().splitlines()
    assert lines[0] == "1 point of 30 in bore in slides.csv signalled, the first at point 29."
    text = "\n".join(lines)
    assert re.search(r"upper limit +14\.\d+", text)
    assert "point 29: beyond-limit, above the centre, +0.19" in text
    assert "Capability withheld" in text
    marks = next(line for line in lines if line.strip() == "^")
    bars = lines[lines.index(marks) - 1]
    assert len(bars.strip()) == 30 and marks.index("^") == 2 + 28


def test_text_without_signals(path):
    text = study(path, "bore", rules="none").to_text()
    assert text.startswith("No signal in 30 points of bore in slides.csv")


def test_text_of_many_series(path):
    text = study(path, "bore", series="leg").to_text()
    assert text.startswith("2 series of bore in slides.csv on individuals charts: 1 series with signals")
    assert re.search(r"left +1 signal +point 15: beyond-limit", text)


def test_text_of_own_figures(path):
    assert "sd between pieces" in study(path, "bore", "three-way", subgroup="piece").to_text()
    assert "slope" in study(path, "bore", "trend", against="draw").to_text()
    assert "points 1 to" in study(path, "bore", "changepoint").to_text()
    assert "point 29 because of" in study(path, "bore,draw", "t2").to_text()
    assert "what went before" in study(path, "bore", "changepoint").to_text()


def test_long_series_fit_a_line(tmp_path):
    pl.DataFrame({"x": np.random.default_rng(2).normal(size=5000)}).write_csv(tmp_path / "long.csv")
    lines = study(tmp_path / "long.csv", "x", rules="all").to_text().splitlines()
    assert max(map(len, lines)) < 200 and any("more" in line for line in lines)


@pytest.mark.parametrize("name", ["chart.png", "chart.svg", "chart.html"])
@pytest.mark.parametrize("kind", ["individuals", "cusum", "changepoint"])
def test_drawing(path, tmp_path, name, kind):
    study(path, "bore", kind, plot=tmp_path / name)
    content = (tmp_path / name).read_bytes()
    assert len(content) > 2000
    assert content.startswith({"png": b"\x89PNG", "svg": b"<?xml", "html": b"<!doctype"}[name.split(".")[1]])
    if name.endswith("html"):
        page = content.decode("utf-8")
        assert "<script" not in page and "<svg" in page
        assert not re.search(r'(?:src|href)="(?:https?:)?//', page)


def test_drawing_is_the_same_every_time(path, tmp_path):
    for name in ("one.svg", "two.svg"):
        study(path, "bore", plot=tmp_path / name)
    assert (tmp_path / "one.svg").read_text() == (tmp_path / "two.svg").read_text()


def test_drawings_that_cannot_be_made(path, tmp_path):
    with pytest.raises(StatisticsUsageError, match="png, .svg or .html"):
        study(path, "bore", plot=tmp_path / "chart.bmp")
    with pytest.raises(StatisticsUsageError, match="no such folder"):
        study(path, "bore", plot=tmp_path / "nowhere" / "chart.png")
    many = pl.DataFrame({"s": np.repeat(np.arange(13), 3), "x": np.tile([1.0, 2.0, 4.0], 13)})
    many.write_csv(tmp_path / "many.csv")
    with pytest.raises(StatisticsUsageError, match="at most 12"):
        study(tmp_path / "many.csv", "x", series="s", plot=tmp_path / "chart.png")


def test_tables(path, tmp_path):
    study(path, "bore", series="leg", out=tmp_path / "found.parquet")
    points = pl.read_parquet(tmp_path / "found.parquet")
    signals = pl.read_parquet(tmp_path / "found-signals.parquet")
    assert points.height == 30 and points["series"].unique().sort().to_list() == ["left", "right"]
    assert points.filter("signal").select("series", "point").rows() == [("left", 15)]
    assert signals.select("series", "point", "rule").rows() == [("left", 15, "beyond-limit")]
    study(path, "bore", "cusum", out=tmp_path / "sums.parquet", rules="none")
    assert {"high", "low"} <= set(pl.read_parquet(tmp_path / "sums.parquet").columns)
    assert pl.read_parquet(tmp_path / "sums-signals.parquet").height == 0


def test_tables_that_cannot_be_written(path, tmp_path):
    with pytest.raises(StatisticsUsageError, match="parquet"):
        study(path, "bore", out=tmp_path / "found.csv")
    with pytest.raises(StatisticsUsageError, match="no such folder"):
        study(path, "bore", out=tmp_path / "nowhere" / "found.parquet")


def test_command_prints_one_json_object(command, path):
    result = command("study", str(path), "--value", "bore", "--rules", "all", "--json")
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    assert found["n"] == 30 and found["signals"][0]["point"] <= 29


def test_command_prints_text(command, path):
    result = command("study", str(path), "--value", "bore", "--lower", "13.9")
    assert result.exit_code == 0 and "signalled" in result.stdout


@pytest.mark.parametrize(
    "words, code",
    [
        (["--chart", "nosuch"], 2),
        (["--rules", "nosuch"], 2),
        (["--chart", "mean-sd"], 2),
        (["--lower", "tight"], 2),
        (["--nosuch"], 2),
    ],
)
def test_command_says_wrong_usage(command, path, words, code):
    result = command("study", str(path), "--value", "bore", *words)
    assert result.exit_code == code and result.stdout == "" and result.stderr


def test_command_wrong_usage_is_one_line(command, path):
    result = command("study", str(path), "--value", "bore", "--chart", "nosuch")
    assert result.stderr.count("\n") == 1 and result.stderr.startswith("qc: chart 'nosuch'")


def test_every_option_of_the_command_reaches_the_study(command, path, tmp_path):
    words = (
        "--series leg --order draw --baseline 10 --center 14 --sigma 0.01 --lower 13.9 --upper 14.1 "
        "--target 14 --resolution 0.0001 --rules all --limits guaranteed:0.95 --shape normal --wanted 1.33 "
        "--signals-only"
    ).split()
    result = command("study", str(path), "--value", "bore", *words, "--json")
    assert result.exit_code == 0, result.output
    left = json.loads(result.stdout)["series"]["left"]
    assert left["chart"]["center"] == 14.0 and left["chart"]["sigma"] == 0.01
    assert "values" not in left["chart"]
    words = "--chart cusum --reference 0.5 --decision 4 --fast-start".split()
    result = command("study", str(path), "--value", "bore", *words, "--json")
    assert json.loads(result.stdout)["chart"]["upper"] == 4.0
    words = "--chart changepoint --against draw --tool leg --checks --target 14".split()
    found = json.loads(command("study", str(path), "--value", "bore", *words, "--json").stdout)
    assert (
        found["chart"]["judged"] == "wear" and "line" in found["checks"]["mean_change_from_target"]["reason"]
    )
    words = "--chart changepoint --counts defects --size 2".split()
    found = json.loads(command("study", str(path), "--value", "draw", *words, "--json").stdout)
    assert found["chart"]["values"][3] == 1.5
    by = {}
    for within in ("range", "sd"):
        words = f"--chart three-way --subgroup piece --within {within}".split()
        result = command("study", str(path), "--value", "bore", *words, "--json")
        by[within] = json.loads(result.stdout)["chart"]["sd"]["within"]
    assert by["range"] != by["sd"]


@pytest.mark.parametrize("words", [["--sheet", "first"], ["--weight", "0.3"], ["--size", "draw"]])
def test_an_option_without_use_is_wrong_usage_in_one_line(command, path, words):
    result = command("study", str(path), "--value", "bore", *words)
    assert result.exit_code == 2 and result.stdout == ""
    assert result.stderr.startswith("qc: ") and result.stderr.count("\n") == 1 and words[0] in result.stderr
