"""`qc run-length`: kinds, settings found for a wanted run length, words and refusals."""

import json
import math

import pytest

from qc.jobs.questions.run_length import OPTIONS, run_lengths
from qc.stats import (
    StatisticsError,
    StatisticsUsageError,
    cusum_run_length,
    estimated_limits,
    ewma_run_length,
    mewma_run_length,
    rule_run_length,
    shewhart_run_length,
)

KINDS = [
    pytest.param("limits", {"factor": 3.1, "n": 4}, shewhart_run_length(3.1, 0.5, n=4).mean, id="limits"),
    pytest.param("rules", {"rules": "same-side(7)"}, rule_run_length("same-side(7)", 0.5).mean, id="rules"),
    pytest.param("ewma", {"weight": 0.3, "width": 2.7}, ewma_run_length(0.3, 2.7, 0.5).mean, id="ewma"),
    pytest.param(
        "ewma",
        {"time_varying": True, "start": 0.2},
        ewma_run_length(0.2, 3.0, 0.5, time_varying=True, start=0.2).mean,
        id="ewma that opens up",
    ),
    pytest.param(
        "cusum",
        {"reference": 0.0, "decision": 8.0, "sides": 1},
        cusum_run_length(0.0, 8.0, 0.5, sides=1).mean,
        id="cusum of one side, reference 0",
    ),
    pytest.param(
        "cusum",
        {"fast_start": True, "spread": 1.2},
        cusum_run_length(0.5, 5.0, 0.5, head_start=2.5, sd_ratio=1.2).mean,
        id="cusum, fast start",
    ),
]


@pytest.mark.parametrize("kind, options, expected", KINDS)
def test_each_kind_is_the_statistic(kind, options, expected):
    found = run_lengths(kind, shifts=[0.5], **options)
    assert [shift for shift, _ in found.shifts] == [0.0, 0.5]
    assert found.to_dict()["shifts"][1]["mean"] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    "kind, options, name",
    [
        ("limits", {}, "factor"),
        ("ewma", {"weight": 0.1}, "width"),
        ("ewma", {"weight": 0.1, "time_varying": True}, "width"),
        ("cusum", {"reference": 0.25}, "decision"),
        ("cusum", {"fast_start": True}, "decision"),
        ("cusum", {"sides": 1}, "decision"),
        ("mewma", {"figures": 3}, "limit"),
    ],
)
def test_wanted_run_length_is_reached(kind, options, name):
    found = run_lengths(kind, shifts=[], wanted=250.0, **options)
    assert found.shifts[0][1].mean == pytest.approx(250.0, rel=1e-6)
    again = run_lengths(kind, shifts=[], **options, **{name: found.design[name]})
    assert again.shifts[0][1].mean == pytest.approx(250.0, rel=1e-6)
    assert again.wanted is None and found.wanted == 250.0


def test_mewma_has_its_usual_limit():
    found = run_lengths("mewma", shifts=[1.0], figures=2)
    assert found.shifts[0][1].mean == pytest.approx(200.0, rel=1e-6)
    assert found.design["limit"] == pytest.approx(8.6336, abs=1e-4)
    assert mewma_run_length(2, 0.1, found.design["limit"]) == pytest.approx(200.0, rel=1e-6)


def test_estimated_limits():
    found = run_lengths("estimated", shifts=[1.0], points=25, n=4, under=(50.0, 200.0))
    alone = estimated_limits(25, n=4, shift=2.0, estimator="range")
    answer = found.to_dict()
    assert answer["shifts"][1]["signal_rate"] == alone.signal_rate
    assert answer["shifts"][1]["average_run_length"] == alone.average_run_length
    assert answer["own_limits"]["chance_under"]["50"] == pytest.approx(alone.chance_under(50.0))
    assert set(answer["own_limits"]["quantiles"]) == {"0.05", "0.25", "0.5", "0.75", "0.95"}
    assert answer["degrees_of_freedom"] == pytest.approx(25 * 2.784, rel=0.02)  # 2.78 a subgroup of 4


def test_estimated_limits_that_are_guaranteed():
    found = run_lengths("estimated", shifts=[], points=20, wanted=370.4, confidence=0.95, estimator="sd")
    assert found.chances()[370.4] == pytest.approx(0.05, abs=1e-9)
    assert found.confidence == 0.95
    assert "370.4 points or more to a false signal in 95 % of all baselines" in found.to_text()


def test_averages_that_do_not_exist_are_said_not_to():
    found = run_lengths("estimated", points=10)
    assert found.to_dict()["shifts"][0]["average_run_length"] is None
    text = found.to_text()
    assert "lottery" in text and "the average does not exist" in text
    json.dumps(found.to_dict(), allow_nan=False)


def test_false_signals_in_what_is_judged():
    assert run_lengths("limits", judged=1800.0).false_signals == pytest.approx(1800 / 370.398347, rel=1e-6)
    found = run_lengths("estimated", points=30, judged=1000.0)
    assert found.false_signals == pytest.approx(1000 * found.shifts[0][1].signal_rate)
    assert "points judged: 7.63" in found.to_text()


def test_text_begins_with_a_plain_sentence():
    lines = run_lengths("limits").to_text().splitlines()
    assert lines[0] == (
        "While nothing changes, a signal comes after 370.4 points on average; one chart in twenty has its "
        "first within 19."
    )
    assert lines[1] == "A shift of 1 sigma signals after 43.9 points on average."
    table = [line.split() for line in lines if line.startswith("  ")]
    assert table[0][:3] == ["shift", "average", "sd"] and len({len(row) for row in table[1:]}) == 1
    spread = run_lengths("limits", spread=1.5, shifts=[2.0]).to_text()
    assert spread.startswith("Without a shift, at 1.5 times the spread, a signal comes after 22.0 points")
    assert "A shift of 2 sigma" in spread and "true spread 1.5 times" in spread


@pytest.mark.parametrize(
    "kind, options, error, said",
    [
        ("wide", {}, StatisticsUsageError, "kind 'wide' is not known: use one of limits"),
        ("limits", {"weight": 0.2}, StatisticsUsageError, "--weight does not go with limits"),
        ("rules", {"wanted": 100.0}, StatisticsUsageError, "--wanted does not go with rules"),
        ("cusum", {"time_varying": True}, StatisticsUsageError, "--time-varying does not go with cusum"),
        ("limits", {"wanted": 100.0, "factor": 3.0}, StatisticsUsageError, "give one of the two"),
        ("mewma", {}, StatisticsUsageError, "needs --figures"),
        ("estimated", {}, StatisticsUsageError, "needs --points"),
        ("estimated", {"points": 9, "confidence": 0.9}, StatisticsUsageError, "needs --wanted"),
        ("estimated", {"points": 9, "estimator": "guess"}, StatisticsUsageError, "'guess' is not known"),
        ("rules", {"rules": "nosuch"}, StatisticsUsageError, "nosuch"),
        ("limits", {"factor": 0.0}, StatisticsError, "limit factor 0.0"),
        ("limits", {"wanted": 0.5}, StatisticsError, "wanted run length is 0.5"),
        ("limits", {"judged": -1.0}, StatisticsError, "-1.0 points"),
        ("limits", {"spread": 0.0}, StatisticsError, "spread ratio 0.0"),
        ("ewma", {"weight": 0.0}, StatisticsError, "weight is 0.0"),
        ("cusum", {"sides": 3}, StatisticsError, "sides is 3"),
        ("estimated", {"points": 1}, StatisticsError, "1 points"),
        ("estimated", {"points": 9, "under": (1.0,)}, StatisticsError, "run length is 1.0"),
        ("estimated", {"points": 9, "judged": -2.0}, StatisticsError, "-2.0 points judged"),
    ],
)
def test_bad_questions_are_named(kind, options, error, said):
    with pytest.raises(error, match=said):
        found = run_lengths(kind, **options)
        found.to_dict()


def test_shift_that_is_no_number():
    with pytest.raises(StatisticsError, match="a shift is not a number"):
        run_lengths("limits", shifts=[math.inf])


@pytest.mark.parametrize("kind", OPTIONS)
def test_command_prints_one_object(command, kind):
    extra = {"mewma": ["--figures", "2"], "estimated": ["--points", "12"], "rules": ["--rules", "limit"]}
    words = ["run-length", kind, "--shifts", "1", *extra.get(kind, []), "--json"]
    result = command(*words)
    assert result.exit_code == 0
    answer = json.loads(result.output)
    assert answer["kind"] == kind and [row["shift"] for row in answer["shifts"]] == [0.0, 1.0]


def test_command_takes_every_option(command):
    """Each option of each kind reaches the job under its own name."""
    words = {
        "factor": "3",
        "n": "2",
        "spread": "1.1",
        "judged": "90",
        "rules": "limit",
        "weight": "0.3",
        "width": "2.9",
        "start": "0.1",
        "reference": "0.4",
        "decision": "4",
        "sides": "1",
        "figures": "2",
        "limit": "9",
        "points": "12",
        "estimator": "sd",
        "under": "50,60",
    }
    for kind, names in OPTIONS.items():
        given = [name for name in names if name not in ("wanted", "confidence")]
        options = []
        for name in given:
            options += ["--" + name.replace("_", "-"), *([words[name]] if name in words else [])]
        result = command("run-length", kind, "--shifts", "1", *options, "--json")
        assert result.exit_code == 0, result.output
        design = json.loads(result.output)["design"]
        for name in set(given) & set(design) & set(words):
            assert str(design[name]).rstrip("0").rstrip(".") == words[name].rstrip("0").rstrip(".")


@pytest.mark.parametrize(
    "words, said",
    [
        (["ewma", "--decision", "4"], "does not go with"),
        (["limits", "--shifts", "a,b"], "no list of numbers"),
    ],
)
def test_wrong_usage_is_two(command, words, said):
    result = command("run-length", *words)
    assert result.exit_code == 2 and said in result.output and "Traceback" not in result.output


def test_a_shift_at_which_a_rule_never_signals_is_told_as_that():
    """Points near the centre are rare two sigma off it: the whole answer was refused for that shift."""
    found = run_lengths("rules", rules="hugging-center")
    near = math.erf(1 / math.sqrt(2)) ** 15  # 15 points in a row within one sigma
    mean = (1 - near) / (near * (1 - math.erf(1 / math.sqrt(2))))  # Feller 1968, XIII.7 (from memory)
    assert found.shifts[0][1].mean == pytest.approx(mean, rel=1e-9)
    told = {one["shift"]: one["mean"] for one in found.to_dict()["shifts"]}
    assert told[0.0] == pytest.approx(mean, rel=1e-9) and told[2.0] is None and told[3.0] is None
    words = found.to_text()
    assert [line.split()[1] for line in words.splitlines() if line.startswith("  3 ")] == ["never"]
    assert "never: more than 1e+12 points" in words
    json.dumps(found.to_dict(), allow_nan=False)
    assert "never" not in run_lengths("rules", rules="hugging-center", shifts=[1.0]).to_text()
