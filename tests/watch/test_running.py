"""Pass or fail, and rare faults, as a running rate with its usual limit."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from qc.plan import Characteristic
from qc.watch import FactorLevels, Points, Question, as_running_rate, judge, runs_as_rate
from qc.watch.running import BEYOND, most_usual


@pytest.fixture
def verdict_of(small_plan, points):
    def make(values, kind="pass-fail"):
        stage = small_plan.stage("tuning")
        figure = Characteristic(id="note", name="Leaky joints", unit="fault", kind=kind, pool="all")
        question = Question(small_plan, stage, figure, "all", 0.003, points([0])[0].day)
        return judge(question, Points(points(values), centered=False), FactorLevels())

    return make


@pytest.mark.parametrize("share", [True, False], ids=["binomial", "poisson"])
@pytest.mark.parametrize("rate", [0.0, 0.004, 0.1, 0.5, 0.97, 1.0])
@pytest.mark.parametrize("pieces", [20, 50])
def test_the_usual_limit_is_the_quantile_of_a_general_library(rate, pieces, share):
    law = stats.binom(pieces, rate) if share else stats.poisson(pieces * rate)
    assert most_usual(rate, pieces, share=share) == max(int(law.isf(BEYOND)), 0)


def test_each_point_is_the_rate_of_the_pieces_up_to_it(verdict_of):
    values = [1.0 if n % 5 == 0 else 0.0 for n in range(60)]
    shown = as_running_rate(verdict_of(values))
    assert shown.unit == "in 100" and shown.name == "Leaky joints, of the newest 20 pieces"
    for n, point in enumerate(shown.points):
        own = values[max(0, n - 19) :][:20]
        assert point.value == pytest.approx(100 * sum(own) / 20)
    assert shown.stretches[-1].mean == pytest.approx(20.0)
    assert shown.natural_upper == pytest.approx(100 * stats.binom(20, 0.2).isf(BEYOND) / 20)


def test_pieces_left_out_are_in_no_rate(verdict_of):
    verdict = verdict_of([0.0] * 10 + [1.0] * 10)
    left = tuple(replace(p, left_out=p.value > 0) for p in verdict.points)
    assert {p.value for p in as_running_rate(replace(verdict, points=left)).points} == {0.0}


def test_rare_faults_run_over_more_pieces_and_frequent_ones_stay_as_counted(verdict_of):
    rare = as_running_rate(verdict_of([0.0] * 59 + [1.0], kind="count"))
    assert rare.unit == "a piece" and "newest 50 pieces" in rare.name
    assert rare.points[-1].value == pytest.approx(1 / 50)
    often = verdict_of(list(np.arange(60.0) % 4), kind="count")
    assert not runs_as_rate(often) and as_running_rate(often) is often


def test_a_limit_of_one_piece_is_no_limit_of_a_rate(verdict_of):
    verdict = verdict_of([0.0, 1.0] * 20)
    assert as_running_rate(replace(verdict, upper=0.05)).upper == pytest.approx(5.0)
    assert as_running_rate(replace(verdict, upper=1.0)).upper is None


def test_few_pieces_have_a_rate_and_no_usual_limit(verdict_of):
    shown = as_running_rate(verdict_of([0.0, 1.0, 0.0]))
    assert shown.natural_upper is None and "newest 3 pieces" in shown.name
    assert [p.value for p in shown.points] == [pytest.approx(100 / 3)] * 3
