from datetime import date

import numpy as np
import pytest
from scipy import stats

from qc.plan import DatedLimits
from qc.watch import FactorLevels, Points, Question, judge

TODAY = date(2026, 6, 1)
RATE = 0.004
RARE = 1e-5  # no false alarm in the way of what is looked at


def ask(plan, values, points, *, stage="tuning", place=0, family="tenor", settled=(), rate=RARE, **columns):
    where = plan.stage(stage)
    question = Question(plan, where, where.characteristics[place], family, rate, TODAY, settled)
    return judge(question, Points(points(values, **columns), centered=False), FactorLevels())


def noise(n, seed=1, sd=2.0):
    return sd * np.random.default_rng(seed).standard_normal(n)


@pytest.mark.parametrize("n", [0, 1, 3])
def test_learning_up_to_the_fourth_piece(small_plan, points, n):
    verdict = ask(small_plan, noise(n), points)
    assert verdict.behaviour == "learning"
    assert verdict.pieces == n
    assert verdict.capable == "unproven"
    assert verdict.ppk is None and verdict.ppk_reason == f"{n} of 4 pieces."


def test_a_steady_and_capable_series_is_proven(small_plan, points):
    verdict = ask(small_plan, noise(60), points)
    assert (verdict.behaviour, verdict.capable) == ("steady", "proven")
    values = noise(60)
    assert verdict.ppk == pytest.approx(
        min(12 - values.mean(), values.mean() + 12) / (3 * values.std(ddof=1))
    )
    assert verdict.ppk_low < verdict.ppk < verdict.ppk_high
    assert verdict.worst == 0.0


def test_steady_says_nothing_of_capable(small_plan, points):
    verdict = ask(small_plan, noise(60, sd=9.0), points)
    assert (verdict.behaviour, verdict.capable) == ("steady", "no")


def test_a_drifting_series_is_judged_on_its_present_state(small_plan, points):
    values = noise(60)
    values[50:] += 22
    verdict = ask(small_plan, values, points)
    assert verdict.behaviour == "drifting"
    assert verdict.rests_on == 10
    assert verdict.capable == "no" and verdict.ppk_reason == ""
    # a "no" is told from few pieces, with its figures
    assert verdict.ppk_low < verdict.ppk < verdict.ppk_high < 1.0, (
        "ten pieces 22 mm long against a limit of 12 need no twenty"
    )
    assert verdict.outside_share > 0.95
    assert [s.changed for s in verdict.stretches] == [False, True]
    assert verdict.current.next_step == "lay the mandrel against its master."


def test_a_climb_has_no_capability_while_it_lasts(small_plan, points):
    values = noise(60, sd=0.5)
    values[30:] += 0.25 * np.arange(1, 31)
    verdict = ask(small_plan, values, points)
    assert verdict.current.kind == "trend"
    assert (verdict.ppk, verdict.capable, verdict.outside_share) == (None, "unproven", None)
    assert "still climbing" in verdict.ppk_reason


def test_few_pieces_never_prove(small_plan, points):
    verdict = ask(small_plan, noise(12, sd=0.5), points)
    assert verdict.capable == "unproven"


def test_a_closed_signal_makes_the_new_level_the_settled_state(small_plan, points):
    values = noise(60)
    values[40:] += 6
    drifting = ask(small_plan, values, points)
    start = drifting.current.start_serial
    settled = ask(small_plan, values, points, settled=(start,))
    assert (drifting.behaviour, settled.behaviour) == ("drifting", "steady")


def test_ended_excursions_do_not_count_for_the_present(small_plan, points):
    values = noise(80, 30)
    values[30:45] += 15
    verdict = ask(small_plan, values, points)
    assert verdict.behaviour == "steady"
    assert verdict.rests_on == 80 - (verdict.signals[0].ended - verdict.signals[0].start)


@pytest.mark.slow
def test_settled_limits_hold_the_rate_with_their_confidence(small_plan, points, rng):
    """From 15 pieces the limits must catch at most the rate in nine workshops of ten (400 draws)."""
    kept = []
    for _ in range(400):
        verdict = ask(small_plan, rng.standard_normal(15), points, rate=RATE)
        if verdict.natural_lower is not None and verdict.rests_on == 15:
            outside = stats.norm.cdf(verdict.natural_lower) + stats.norm.sf(verdict.natural_upper)
            kept.append(outside <= RATE)
    assert len(kept) > 360, "a false signal sets some aside"
    # 400 draws at 0.9 have a standard error of 0.015
    assert np.mean(kept) == pytest.approx(0.90, abs=3 * 0.0155)


def test_limits_that_differ_between_models_are_said(small_plan, points):
    stage = small_plan.stage("slide")
    force = stage.characteristics[1].model_copy(
        update={
            "pool": "all",
            "limits": (DatedLimits(models=("tenor",), upper=9), DatedLimits(models=("alto",), upper=7)),
        }
    )
    question = Question(small_plan, stage, force, "all", RARE, TODAY)
    series = points(5 + noise(30, sd=0.3), model=["tenor", "alto"] * 15)
    verdict = judge(question, Points(series, centered=False), FactorLevels())
    assert verdict.upper == 7
    assert any("different limits" in note for note in verdict.notes)


def test_no_limits_no_verdict_on_them(small_plan, points):
    verdict = ask(small_plan, 5 + noise(30, sd=0.3), points, stage="slide", place=1)
    assert verdict.capable == "" and "no limits" in verdict.ppk_reason


def test_drifting_comes_before_merely_incapable(small_plan, points):
    moved = noise(60)
    moved[50:] += 22
    hopeless = noise(60, sd=9.0)
    assert ask(small_plan, moved, points).worst > ask(small_plan, hopeless, points).worst > 0


def test_a_worn_tool_is_named_before_coincidences(small_plan, points):
    counts = list(range(0, 400, 8))
    values = 14.60 + 2e-5 * np.array(counts) + noise(50, 4, 2e-4)
    values[35:] += 1.5e-3
    verdict = ask(
        small_plan,
        values,
        points,
        stage="draw",
        family="all",
        tool=["D-1"] * 50,
        tool_count=counts,
    )
    assert verdict.current.suspects[0].name == "D-1"
    assert "off the line" in verdict.current.because
    assert verdict.stretches[0].line_to > verdict.stretches[0].line_from


def test_a_constant_series_is_steady_and_withholds(small_plan, points):
    verdict = ask(small_plan, [1.0] * 30, points)
    assert verdict.behaviour == "steady"
    assert verdict.ppk is None and verdict.ppk_reason
    assert verdict.natural_lower is None
