"""`qc average`, `qc uncertainty` and `qc fit` as a person types them."""

import json
import math

import numpy as np
import pytest
from typer.testing import CliRunner

from qc.cli.main import app
from qc.jobs.questions import average, fit_of_limits, uncertainty
from qc.stats import StatisticsError, StatisticsUsageError, expanded_uncertainty, mean_and_sd

H1 = ("standard=25,,18", "comparison=9.7,,25.6", "expansion=2.9,,50", "temperature=16.6,,2")


@pytest.fixture
def ask():
    """Return what a command answers, as an object."""

    def run(*words):
        found = CliRunner().invoke(app, [*map(str, words), "--json"], catch_exceptions=False)
        assert found.exit_code == 0
        return json.loads(found.stdout, parse_constant=lambda word: pytest.fail(f"{word} is not strict JSON"))

    return run


@pytest.fixture
def bores(tmp_path):
    """Return a table of bores, four to a tube, in two series."""
    rng = np.random.default_rng(12)
    tubes = np.repeat(np.arange(10), 4)
    values = np.round(14.05 + rng.normal(0, 0.004, 10)[tubes] + rng.normal(0, 0.002, 40), 4)
    lines = [f"{v};T{t};{'inner' if t < 5 else 'outer'}" for v, t in zip(values, tubes, strict=True)]
    path = tmp_path / "bores.csv"
    path.write_text("\n".join(["bore;tube;leg", *lines]), "utf-8")
    return path, values, tubes


def test_an_average_of_a_file_is_that_of_its_readings(ask, bores):
    path, values, tubes = bores
    found = ask("average", path, "--value", "bore", "--lot", "tube", "--expected", 14.04)
    own = mean_and_sd(values, tubes, expected_mean=14.04)
    assert found == own.to_dict()
    assert found["n"] == 40 and found["lots"] == 10 and found["counts_as"] < 15
    alone = ask("average", path, "--value", "bore")
    assert alone["mean_interval"][1] - alone["mean_interval"][0] < (
        found["mean_interval"][1] - found["mean_interval"][0]
    )


def test_series_are_answered_one_by_one(ask, bores):
    path, values, _ = bores
    found = ask("average", path, "--value", "bore", "--series", "leg")["series"]
    assert list(found) == ["inner", "outer"]
    assert found["outer"]["mean"] == pytest.approx(values[20:].mean())
    assert average(path, "bore", series="leg").to_frame().height == 2


def test_an_average_says_what_it_rests_on_and_what_the_tests_say(bores):
    path, values, _ = bores
    said = average(path, "bore", lot="tube", expected=10.0, expected_sd=values.std()).to_text()
    assert said.startswith("the mean of bore is 14.0") and "The true mean is not 10 (t " in said
    assert "nothing here speaks against it" in said and "40 readings in 10 lots, as sure as" in said


def test_an_average_names_file_and_series_at_fault(bores, tmp_path):
    path = tmp_path / "one.csv"
    path.write_text("bore,leg\n1,a\n2,a\n3,b\n", "utf-8")
    with pytest.raises(StatisticsError, match=r"one\.csv: leg b: .*at least 2"):
        average(path, "bore", series="leg")
    with pytest.raises(StatisticsError, match="there is no column 'rod'"):
        average(path, "rod")


def test_the_guides_example_from_the_command(ask):
    """JCGM 100:2008, H.1: combined 32 nm, 16 degrees of freedom, 93 nm at 99 %."""
    found = ask("uncertainty", *(word for one in H1 for word in ("--cause", one)), "--confidence", 0.99)
    assert round(found["combined"]) == 32 and math.floor(found["df"]) == 16
    assert found["expanded"] == pytest.approx(93, abs=1)
    assert sum(one["share_of_variance"] for one in found["causes"]) == pytest.approx(1)


@pytest.mark.parametrize(
    "kind, standard",
    [
        ("standard", 3.0),
        ("expanded", 1.5),
        ("rectangular", 3 / math.sqrt(3)),
        ("triangular", 3 / math.sqrt(6)),
        ("u-shaped", 3 / math.sqrt(2)),
        ("step", 3 / math.sqrt(12)),
    ],
)
def test_a_value_of_a_kind_is_the_sd_of_its_shape(kind, standard):
    (cause,) = uncertainty(causes=[f"it=3,{kind}"]).causes
    assert cause.standard == pytest.approx(standard)
    shapes = {
        "rectangular": lambda u: 3 * (2 * u - 1),
        "triangular": lambda u: np.where(u < 0.5, 3 * (np.sqrt(2 * u) - 1), 3 * (1 - np.sqrt(2 - 2 * u))),
        "u-shaped": lambda u: 3 * np.sin(2 * np.pi * u),
        "step": lambda u: 3 * (u - 0.5),
    }
    if kind in shapes:  # an independent route: the shape itself, at a million even places
        assert shapes[kind]((np.arange(10**6) + 0.5) / 10**6).std() == pytest.approx(standard, rel=1e-5)


def test_causes_of_a_table_and_of_the_command_are_taken_together(ask, tmp_path):
    path = tmp_path / "causes.csv"
    path.write_text("cause;value;kind;df\nring;0,001;rectangular;\nrepeats;0,002;;9\n", "utf-8")
    found = ask("uncertainty", path, "--cause", "heat=2,rectangular,,-0.0003")
    parts = {"ring": 0.001 / 3**0.5, "repeats": (0.002, 9), "heat": 0.0006 / 3**0.5}
    assert found["expanded"] == pytest.approx(expanded_uncertainty(parts).expanded)
    assert [one["cause"] if "cause" in one else one["name"] for one in found["causes"]] == list(parts)
    assert found["causes"][0]["df"] is None
    said = uncertainty(path).to_text()
    assert "Most of it comes from repeats" in said and said.index("repeats  ") < said.index("ring  ")


@pytest.mark.parametrize(
    "causes, said",
    [
        ([], "no cause given"),
        (["ring"], "is no cause: write NAME=VALUE"),
        (["ring=x"], "'ring=x', value: 'x' is not a number"),
        (["ring="], "value: '' is not a number"),
        (["ring=-1"], "below 0"),
        (["ring=1,rectangle"], "did you mean rectangular"),
        (["ring=1,,0.5"], "0.5 degrees of freedom"),
        (["ring=1", "ring=2"], "named twice"),
        (["ring=0"], "every component is 0"),
    ],
)
def test_causes_that_are_none_are_refused_by_name(causes, said):
    with pytest.raises((StatisticsError, StatisticsUsageError), match=said):
        uncertainty(causes=causes)


def test_a_table_names_the_cell_at_fault(tmp_path):
    path = tmp_path / "causes.csv"
    path.write_text("cause,value,kind\nring,0.001,rectangular\nrepeats,many,\n", "utf-8")
    with pytest.raises(StatisticsError, match=r"causes\.csv, line 3.*'many' is not a number"):
        uncertainty(path)


def test_a_fit_from_the_limits_of_both(ask):
    """ISO 286: H7/g6 in the step 10 to 18 mm, hole 0 to +18, shaft -17 to -6: clearance 6 to 35 um."""
    found = ask("fit", "--hole", "0,18", "--shaft", "-6,-17")
    assert (found["kind"], found["least_um"], found["greatest_um"]) == ("clearance", 6, 35)
    assert "Least clearance 6 µm, greatest 35 µm" in fit_of_limits((18, 0), (-17, -6)).to_text()
    tight = fit_of_limits((0, 18), (23, 34)).to_text()
    assert tight.startswith("Interference fit") and "−34 µm (interference)" in tight


def test_a_fit_of_one_limit_is_refused():
    said = CliRunner().invoke(app, ["fit", "--hole", "18", "--shaft", "-17,-6"])
    assert said.exit_code != 0 and "write two numbers such as -17,-6" in str(said.exception)
