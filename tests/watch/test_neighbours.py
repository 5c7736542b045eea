from datetime import date

import numpy as np
import pytest

from qc.watch import FactorLevels, Points, Question, dependence_note, judge


def series(plan, points, values, place=1):
    stage = plan.stage("slide")
    question = Question(plan, stage, stage.characteristics[place], "tenor", 1e-5, date(2026, 6, 1))
    return judge(question, Points(points(values), centered=False), FactorLevels())


def chained(rng, n, share):
    """A chain whose neighbours have the correlation asked for."""
    steps = rng.standard_normal(n) * (1 - share**2) ** 0.5
    values = [rng.standard_normal()]
    for step in steps[1:]:
        values.append(share * values[-1] + step)
    return 20 + np.array(values)


def test_alike_neighbours_are_told_with_what_they_cost(small_plan, points):
    rng = np.random.default_rng(5)
    verdicts = [series(small_plan, points, chained(rng, 80, 0.4)) for _ in range(5)]
    said = dependence_note(verdicts)
    assert said.startswith("Slide: neighbouring pieces are alike (lag-1 correlation 0.")
    assert "5 series" in said and said.endswith("small changes are told later than elsewhere.")


@pytest.mark.slow
def test_hardly_anything_is_said_of_independent_pieces(small_plan, points):
    """Three standard errors: 0.3 stages of a hundred; it is looked for every day, in every stage."""
    rng = np.random.default_rng(6)
    told = [
        dependence_note([series(small_plan, points, 20 + rng.standard_normal(60)) for _ in range(3)])
        for _ in range(60)
    ]
    assert sum(map(bool, told)) <= 1


@pytest.mark.slow
def test_a_change_of_level_is_no_dependence(small_plan, points, rng):
    told = 0
    for _ in range(40):
        values = 20 + rng.standard_normal(100)
        values[50:] += 12
        moved = series(small_plan, points, values)
        assert moved.current is not None
        told += bool(dependence_note([moved]))
    assert told <= 1


def test_turns_are_told_apart(small_plan, points):
    values = 20 + np.tile([1.0, -1.0], 40) + 0.3 * np.random.default_rng(8).standard_normal(80)
    assert "take turns" in dependence_note([series(small_plan, points, values)])


@pytest.mark.parametrize("n", [0, 3])
def test_too_few_pieces_say_nothing(small_plan, points, n):
    assert dependence_note([series(small_plan, points, 20 + np.arange(n))]) == ""
    assert dependence_note([]) == ""
