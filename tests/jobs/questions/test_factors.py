"""`qc factors`: printed constants, the handbook's tolerance factors, limits of T2, words and refusals."""

import json
import math
from pathlib import Path

import pytest

from qc.jobs.questions.factors import chart_factors, limit_factors, t2_limits
from qc.stats import LimitRule, StatisticsError, StatisticsUsageError

PUBLISHED = Path(__file__).parents[2] / "published"
NIST = json.loads((PUBLISHED / "capability_tolerance_factors.json").read_text("utf-8"))["B11"]["published"]


def test_constants_of_the_printed_tables():
    """Samples of 5: the usual tables print 2.326, 0.864, 0.9400, 0.577, 2.114, 2.089, 1.290."""
    (row,) = chart_factors([5]).to_dict()["factors"]
    printed = {"d2": 2.326, "d3": 0.864, "c4": 0.940, "A2": 0.577, "D4": 2.114, "B4": 2.089, "E2": 1.290}
    assert {name: round(row[name], 3) for name in printed} == pytest.approx(printed, abs=5e-4 + 1e-9)


def test_table_of_constants():
    lines = chart_factors([2, 25]).to_text().splitlines()
    assert (
        lines[0] == "In samples of 2 the range is 1.1284 sigma on average (d2) and the sd 0.7979 sigma (c4)."
    )
    assert lines[2].split() == ["n", "=", "2", "n", "=", "25"]
    rows = {line.split()[0]: line.split()[1:] for line in lines[3:]}
    assert rows["d2"] == ["1.12838", "3.93063"] and len({len(line) for line in lines[3:]}) == 1


def test_tolerance_factors_of_the_handbook():
    """NIST/SEMATECH e-Handbook 7.2.6.3: 43 pieces, content 0.90, confidence 0.99."""
    asked = {"content": 0.90, "confidence": 0.99}
    (two,), (one,) = limit_factors([43], **asked).rows, limit_factors([43], **asked, sides=1).rows
    assert one.tolerance == pytest.approx(NIST["k1_noncentral_t"], abs=2e-6)
    assert one.approximate == pytest.approx(NIST["k1_Natrella"], abs=2e-6)
    assert two.approximate == pytest.approx(NIST["k2_Howe"], abs=2e-6)
    assert two.tolerance == pytest.approx(2.222825, abs=1e-6)


def test_guaranteed_factor_has_its_own_rate():
    (row,) = limit_factors([20], rate=0.01).rows
    assert row.guaranteed == pytest.approx(LimitRule("guaranteed", 0.9, 0.01).factor(20, 19))
    assert row.guaranteed < row.tolerance
    assert "guaranteed" in limit_factors([20], rate=0.01).to_text().splitlines()[2]
    plain = limit_factors([20])
    assert plain.rows[0].guaranteed == pytest.approx(plain.rows[0].tolerance, abs=1e-12)
    assert "guaranteed" not in plain.to_text()


def test_confidence_of_three_sd():
    (row,) = limit_factors([20]).rows
    assert row.confidence_of == pytest.approx(0.407, abs=1e-3)
    assert "3 sd holds with" in limit_factors([20]).to_text()


@pytest.mark.parametrize("known, center, sigma", [("center", math.inf, 19), ("sigma", 20, math.inf)])
def test_what_is_known(known, center, sigma):
    (row,) = limit_factors([20], known=known).rows
    assert row.tolerance == pytest.approx(LimitRule("guaranteed").factor(center, sigma))
    assert row.prediction == pytest.approx(LimitRule("prediction").factor(center, sigma))
    assert row.confidence_of is None and "Howe" not in limit_factors([20], known=known).to_text()


def test_further_pieces_and_degrees_of_freedom():
    (row,) = limit_factors([10], future=4, df=40).rows
    assert row.prediction == pytest.approx(
        3.2 * math.sqrt(1 / 4 + 1 / 10), rel=5e-3
    )  # t(40) at 0.135 % is 3.2
    assert "the mean of the next 4 with chance" in limit_factors([10], future=4).to_text()


def test_too_few_for_the_printed_approximation():
    found = limit_factors([3], content=0.9, confidence=0.99, sides=1)
    assert found.rows[0].approximate is None
    assert found.to_text().splitlines()[-1].split()[-1] == "none"


def test_limits_of_t2():
    """Tracy, Young & Mason 1992: three figures, 30 points, rate 0.005."""
    found = t2_limits([30, 60], 3, 0.005)
    assert found.rows[0][2] == pytest.approx(17.851, abs=1e-3)
    assert found.rows[1][2] < found.rows[0][2] and found.rows[1][1] > found.rows[0][1]
    assert found.to_text().startswith("T2 of 3 figures from 30 points: up to ")
    assert found.to_dict()["limits"][0]["points"] == 30


@pytest.mark.parametrize(
    "call, error, said",
    [
        (lambda: chart_factors([1]), StatisticsError, "sample size is 1"),
        (lambda: limit_factors([1]), StatisticsError, "1 readings given"),
        (lambda: limit_factors([9], content=1.0), StatisticsError, "content is 1.0"),
        (lambda: limit_factors([9], confidence=90.0), StatisticsError, "confidence is 90.0"),
        (lambda: limit_factors([9], rate=2.0), StatisticsError, "false-alarm rate is 2.0"),
        (lambda: limit_factors([9], k=0.0), StatisticsError, "factor k is 0.0"),
        (lambda: limit_factors([9], future=0), StatisticsError, "0 further readings"),
        (lambda: limit_factors([9], df=-1.0), StatisticsError, "degrees of freedom -1"),
        (lambda: limit_factors([9], known="all"), StatisticsUsageError, "use center or sigma"),
        (lambda: limit_factors([9], known="sigma", sides=1), StatisticsUsageError, "two limits"),
        (lambda: limit_factors([9], known="sigma", df=4), StatisticsUsageError, "leave --df out"),
        (lambda: t2_limits([3], 5), StatisticsError, "3 points"),
        (lambda: t2_limits([30], 2, 0.0), StatisticsUsageError, "false-alarm rate is 0.0"),
    ],
)
def test_bad_questions_are_named(call, error, said):
    with pytest.raises(error, match=said):
        call()


@pytest.mark.parametrize(
    "words, kind",
    [
        (["5", "10"], "chart"),
        (["10", "--tolerance", "--confidence", "0.95", "--k", "4", "--df", "30", "--future", "2"], "limits"),
        (["10", "--tolerance", "--one-sided", "--content", "0.95"], "limits"),
        (["10", "--tolerance", "--known", "center", "--false-alarm-rate", "0.01"], "limits"),
        (["40", "--figures", "3", "--false-alarm-rate", "0.005"], "t2"),
    ],
)
def test_command_prints_one_object(command, words, kind):
    result = command("factors", *words, "--json")
    assert result.exit_code == 0 and json.loads(result.output)["kind"] == kind
    assert command("factors", *words).output.count("\n") > 2


@pytest.mark.parametrize(
    "words, said",
    [
        (["5", "--content", "0.9"], "--content goes with --tolerance only"),
        (["5", "--one-sided"], "--one-sided goes with --tolerance only"),
        (["5", "--false-alarm-rate", "0.1"], "goes with --tolerance or --figures only"),
        (["5", "--tolerance", "--figures", "2"], "two questions"),
        (["x"], "Error"),
    ],
)
def test_wrong_usage_is_two(command, words, said):
    result = command("factors", *words)
    assert result.exit_code == 2 and said in result.output and "Traceback" not in result.output
