"""`qc gauge --day`: levels over days and runs, and limits of a check standard, end to end."""

import json
import math
from functools import partial
from pathlib import Path

import polars as pl
import pytest

import qc as face
from qc.jobs.questions.gauge_days import gauge_check_standard, gauge_over_days
from qc.stats import StatisticsError, StatisticsUsageError

PUBLISHED = Path(__file__).parents[2] / "published"
B6 = json.loads((PUBLISHED / "gauge_studies.json").read_text("utf-8"))["B6"]
B9 = json.loads((PUBLISHED / "capability_checks.json").read_text("utf-8"))["B9"]
REPEATS = 6  # of both sets of data


@pytest.fixture
def qc(command):
    return partial(command, "gauge")


def probe():
    """B6 as a table: the days of a wafer's run are numbered in the order of the file."""
    frame = pl.DataFrame(B6["data"]["rows"], schema=["run", "wafer", "ohm", "s"], orient="row")
    day = pl.int_range(1, pl.len() + 1).over("run", "wafer")
    return frame.with_columns(day.alias("day"), pl.col("run", "wafer").cast(pl.Int64))


def standard():
    """B9 as a table."""
    return pl.DataFrame(B9["data"]["rows"], schema=["ohm", "s"], orient="row").with_columns(
        day=pl.int_range(1, pl.len() + 1)
    )


def as_readings(frame):
    """Make six readings a day with the published average and sd: three above and three below alike."""
    signs = pl.DataFrame({"sign": [1.0, -1.0] * (REPEATS // 2)})
    step = pl.col("sign") * pl.col("s") * math.sqrt((REPEATS - 1) / REPEATS)
    return frame.join(signs, how="cross").with_columns(ohm=pl.col("ohm") + step).drop("s", "sign")


PROBE = ("--value", "ohm", "--part", "wafer", "--day", "day", "--run", "run")
STANDARD = ("--value", "ohm", "--day", "day", "--check-standard")
AVERAGES = ("--sd", "s", "--repeats", REPEATS)


def near_b6(found):
    for name, printed in (("repeat_sd", "s1"), ("day_sd", "s2"), ("run_sd", "s3")):
        assert found[name] == pytest.approx(B6["recomputed"][printed], rel=1e-9)
    assert found["repeat_sd"] == pytest.approx(B6["published"]["s1"], abs=6e-6)
    assert found["days_sd"] == pytest.approx(B6["published"]["s_days"], abs=2e-5)
    assert found["runs_sd"] == pytest.approx(B6["published"]["s_runs"], abs=2e-5)
    assert [found[name] for name in ("repeat_df", "day_df", "run_df")] == [300, 50, 5]


def near_b9(found):
    printed = B9["published"]
    names = {
        "repeat_sd": "s1",
        "repeat_df": "df1",
        "average_sd": "s2",
        "f_point": "F95",
        "sd_limit": "UCL_precision",
        "center": "center",
        "upper": "UCL",
        "lower": "LCL",
    }
    for ours, theirs in names.items():
        assert found[ours] == pytest.approx(printed[theirs], abs=6e-6)
    assert found["sd_signals"] == B9["recomputed"]["precision_signals"]
    assert found["average_signals"] == B9["recomputed"]["bias_signals"]


@pytest.mark.parametrize("name", ["a.csv", "a.parquet", "a.xlsx"])
def test_published_levels_from_readings_in_every_kind_of_file(table, name):
    """B6 through readings that have the published averages and sds."""
    found = gauge_over_days(table(as_readings(probe()), name), "ohm", "day", part="wafer", run="run")
    near_b6(found.to_dict())


@pytest.mark.parametrize("name", ["a.csv", "a.parquet", "a.xlsx"])
def test_published_limits_from_readings_in_every_kind_of_file(table, name):
    """B9 through readings that have the published averages and sds."""
    near_b9(gauge_check_standard(table(as_readings(standard()), name), "ohm", "day").to_dict())


def test_published_levels_by_the_command_from_averages(qc, table):
    answer = qc(table(probe()), *PROBE, *AVERAGES, "--lower", 90, "--upper", 105, "--json")
    assert answer.exit_code == 0 and answer.stderr == "" and answer.stdout.count("\n") == 1
    found = json.loads(answer.stdout, parse_constant=lambda word: pytest.fail(f"{word} is not strict JSON"))
    near_b6(found)
    assert (found["parts"], found["runs"], found["sets"], found["repeats"]) == (5, 2, 60, 6)
    u = 2 * found["reading_sd"]
    assert found["guard_band"]["accept"] == pytest.approx([90 + u, 105 - u])


def test_published_limits_by_the_command_from_averages(qc, table):
    answer = qc(table(standard()), *STANDARD, *AVERAGES, "--json")
    assert answer.exit_code == 0 and answer.stderr == "" and answer.stdout.count("\n") == 1
    found = json.loads(answer.stdout)
    near_b9(found)
    assert [row["day"] for row in found["days"] if row["sd_outside"]] == ["8", "20"]
    assert [row["day"] for row in found["days"] if row["average_outside"]] == ["6", "20"]


def test_text_of_levels_says_what_each_is(qc, table):
    text = qc(table(probe()), *PROBE, *AVERAGES, "--lower", 90).stdout
    assert text.startswith("One reading on any day of any run scatters by 0.07682 (sd; 95 % sure between")
    assert "the mean of several readings helps" in text.splitlines()[0]
    for words in (
        "5 parts x 2 runs x 6 days x 6 readings",
        "readings of one day about their average",
        "averages of whole runs",
        "90 % ▇",
        "guard band: one reading proves a piece good from 90.154",
    ):
        assert words in text
    assert "nan" not in text and "None" not in text


def test_text_of_a_standard_names_the_days_and_what_to_do(qc, table):
    text = qc(table(standard()), *STANDARD, *AVERAGES).stdout
    assert text.startswith("Outside the limits: day 6 (average); 8 (spread); 20 (average and spread).")
    assert "measure the standard again before the gauge is used" in text.splitlines()[0]
    assert "about 2.3 of 25 days lie outside" in text  # 25 (1 - 0.95 x 0.9545)
    row = next(line.split() for line in text.splitlines() if line.startswith("  20 "))
    assert row == ["20", "97.016", "0.116", "average", "and", "spread", "outside"]


def test_wider_limits_find_nothing_and_say_so(qc, table):
    answer = qc(table(standard()), *STANDARD, *AVERAGES, "--factor", 3, "--confidence", 0.9999)
    assert answer.stdout.startswith("All 25 days lie inside the limits")


def test_without_runs_there_are_two_levels(qc, table):
    rows = as_readings(probe().filter(pl.col("run") == 1))
    words = ("--value", "ohm", "--part", "wafer", "--day", "day")
    found = json.loads(qc(table(rows), *words, "--json").stdout)
    assert found["repeat_sd"] == pytest.approx(B6["published"]["s1_run1"], abs=6e-6)
    assert found["day_sd"] == pytest.approx(B6["published"]["s2_run1"], abs=6e-6)
    assert found["run_sd"] is found["runs_sd"] is found["run_df"] is found["runs"] is None
    text = qc(table(rows), *words).stdout
    assert text.startswith("One reading on any day scatters") and "run" not in text


def levels_of(within, between_days, between_runs):
    """Four runs of four days of two readings; each level alternates by so much."""
    rows = [
        (run, day, 10 + within * (-1) ** k + between_days * (-1) ** day + between_runs * (-1) ** run)
        for run in range(4)
        for day in range(4)
        for k in range(2)
    ]
    return pl.DataFrame(rows, schema=["run", "day", "ohm"], orient="row")


@pytest.mark.parametrize(
    "sizes, said",
    [
        ((1.0, 0.01, 0.01), "Most of it is there within a day"),
        ((0.01, 1.0, 0.01), "Most of it comes and goes with the day"),
        ((0.01, 0.01, 1.0), "Most of it comes with the run"),
        ((1.0, 1.5, 1.436), "No one level makes most of it"),
    ],
)
def test_the_remedy_follows_the_greatest_level(table, sizes, said):
    found = gauge_over_days(table(levels_of(*sizes)), "ohm", "day", run="run")
    assert said in found.to_text().splitlines()[0]


def test_a_step_that_hides_everything_is_told(qc, table):
    flat = table(levels_of(0.0, 0.0, 0.0))
    answer = qc(flat, "--value", "ohm", "--day", "day", "--run", "run")
    assert answer.exit_code == 0 and "in 16 of 16 sets all repeats read the same" in answer.stdout
    answer = qc(flat, *STANDARD)
    assert answer.exit_code == 0 and "all averages are the same" in answer.stdout
    assert "limits from" not in answer.stdout


def test_few_days_are_told(qc, table):
    answer = qc(table(standard().head(4)), *STANDARD, *AVERAGES)
    assert "limits from 4 averages only: their sd is uncertain by about 41 %" in answer.stdout


def test_many_days_are_cut_in_the_text_and_kept_in_the_json(qc, table):
    days = range(70)
    far = table({"day": days, "ohm": [10.0 + (d % 7 == 0) for d in days], "s": [0.1] * 70})
    text = qc(far, *STANDARD, *AVERAGES).stdout
    assert "and 4 more. Look for" in text.splitlines()[0] and "and 10 more days: --json holds all" in text
    assert len(json.loads(qc(far, *STANDARD, *AVERAGES, "--json").stdout)["days"]) == 70


def test_a_notebook_gets_frames(table):
    levels = face.gauge_over_days(table(as_readings(probe())), "ohm", "day", part="wafer", run="run")
    frame = levels.to_frame()
    assert frame["spread"].to_list()[:3] == ["repeat_sd", "day_sd", "run_sd"]
    assert frame["df"].to_list() == [300, 50, 5, None, None, None]
    assert all(low <= sd <= high for low, sd, high in frame.select("low", "sd", "high").rows())
    assert "One reading on any day" in levels._repr_html_()
    days = face.gauge_check_standard(table(standard()), "ohm", "day", sd="s", repeats=6).to_frame()
    assert days.height == 25 and days.filter("sd_outside")["day"].to_list() == ["8", "20"]


def cells(rows, names=("day", "ohm")):
    return dict(zip(names, map(list, zip(*rows, strict=True)), strict=True))


DATA_FAULTS = [
    pytest.param(
        cells([("mon", 1.0), ("mon", 2.0), ("tue", 1.0), ("tue", 2.0), ("wed", 1.0)]),
        {},
        "day wed has 1 reading where others have 2",
        id="a repeat too few",
    ),
    pytest.param(
        cells([("08:10", 1.0), ("08:20", 2.0), ("08:30", 1.0), ("08:40", 2.0)]),
        {},
        "two repeats or more on each day",
        id="times for days",
    ),
    pytest.param(
        cells([("mon", 1.0), ("mon", 2.0), ("mon", 1.0), ("mon", 2.0)]), {}, "one day only", id="one day"
    ),
    pytest.param(
        cells([(d, 1.0 + k, 1) for d in range(3) for k in range(2)], ("day", "ohm", "run")),
        {"run": "run"},
        "one run only; leave the column of runs out",
        id="one run",
    ),
    pytest.param(
        cells(
            [(d, 1.0 + k, r) for r, days in ((1, 3), (2, 2)) for d in range(days) for k in range(2)],
            ("day", "ohm", "run"),
        ),
        {"run": "run"},
        "run 2 has 2 days where others have 3",
        id="a day too few",
    ),
    pytest.param(
        cells(
            [
                (d, 1.0 + k, r, p)
                for r, p in ((1, "a"), (2, "a"), (1, "b"))
                for d in range(2)
                for k in range(2)
            ],
            ("day", "ohm", "run", "part"),
        ),
        {"run": "run", "part": "part"},
        "part b, run 2 has no days where others have 2",
        id="a run missing",
    ),
    pytest.param(cells([("mon", "1.0"), ("mon", "1,5")]), {}, "line 3: '1,5' in column 'ohm'", id="comma"),
    pytest.param(cells([("mon", 1.0), ("", 1.5)]), {}, "line 3: column 'day' has no label", id="no day"),
    pytest.param(cells([("mon", 1.0)], ("shift", "ohm")), {}, "there is no column 'day'", id="no column"),
    pytest.param(
        cells([("mon", 1.0, 0.1), ("mon", 1.1, 0.1)], ("day", "ohm", "s")),
        {"sd": "s", "repeats": 3},
        "day mon has two averages",
        id="a day twice",
    ),
    pytest.param(
        cells([("mon", 1.0, 0.1), ("tue", 1.1, -0.1)], ("day", "ohm", "s")),
        {"sd": "s", "repeats": 3},
        "an sd is -0.1",
        id="negative sd",
    ),
    pytest.param(
        cells([("mon", 1.0, 0.1), ("tue", 1.1, 0.1)], ("day", "ohm", "s")),
        {"sd": "s", "repeats": 1},
        "number of repeats is 1",
        id="one repeat",
    ),
]


@pytest.mark.parametrize("columns, options, said", DATA_FAULTS)
def test_faults_in_the_data_name_file_and_place(table, columns, options, said):
    with pytest.raises(StatisticsError, match=said) as caught:
        gauge_over_days(table(columns), "ohm", "day", **options)
    assert str(caught.value).startswith("t.csv") and "\n" not in str(caught.value)


WRONG = [
    pytest.param(("--value", "ohm", "--check-standard"), "--check-standard needs --day", id="no day"),
    pytest.param(("--value", "ohm", "--part", "wafer", "--run", "run"), "--run needs --day", id="run"),
    pytest.param(("--value", "ohm", "--factor", 3), "--factor needs --day", id="factor"),
    pytest.param(("--value", "ohm", "--reference", "ohm", "--sd", "s"), "--sd needs --day", id="sd"),
    pytest.param((*PROBE, "--factor", 3), "--factor does not go with --day without --check", id="levels"),
    pytest.param((*PROBE, "--person", "run"), "--person does not go with --day", id="person"),
    pytest.param((*PROBE, "--by-hand"), "--by-hand does not go with --day", id="by hand"),
    pytest.param((*PROBE, "--resolution", 0.1), "--resolution does not go with --day", id="resolution"),
    pytest.param((*PROBE, "--reference", "s"), "--reference does not go with --day", id="reference"),
    pytest.param((*STANDARD, "--agreement"), "--agreement does not go with --check-standard", id="eye"),
    pytest.param((*STANDARD, "--part", "wafer"), "--part does not go with --check", id="part"),
    pytest.param((*STANDARD, "--run", "run"), "--run does not go with --check", id="run of a standard"),
    pytest.param((*STANDARD, "--lower", 0), "--lower does not go with --check", id="limit 0"),
    pytest.param((*STANDARD, "--sd", "s"), "give --sd COLUMN and --repeats NUMBER", id="sd alone"),
    pytest.param((*STANDARD, "--repeats", 6), "give --sd COLUMN and --repeats NUMBER", id="repeats alone"),
    pytest.param((*STANDARD, "--confidence", 95), "must lie between 0 and 1", id="percent"),
]


@pytest.mark.parametrize("words, said", WRONG)
def test_wrong_usage_is_two_with_one_line(qc, table, words, said):
    answer = qc(table(probe()), *words, "--json")
    assert answer.exit_code == 2 and answer.stdout == ""
    assert said in answer.stderr and answer.stderr.count("\n") == 1


def test_a_missing_file_and_a_factor_of_nothing(table, tmp_path):
    with pytest.raises(StatisticsUsageError, match="there is no such file"):
        gauge_check_standard(tmp_path / "none.csv", "ohm", "day")
    with pytest.raises(StatisticsError, match=r"t.csv: check standard: factor is 0"):
        gauge_check_standard(table(standard()), "ohm", "day", sd="s", repeats=6, factor=0.0)
    with pytest.raises(StatisticsError, match="lower limit 2 is not below upper limit 1"):
        gauge_over_days(
            table(probe()), "ohm", "day", part="wafer", run="run", sd="s", repeats=6, lower=2.0, upper=1.0
        )
