"""Verdicts come back from what was kept, also by a version that kept no present pieces."""

import json
from datetime import date

import numpy as np
import pytest

from qc.watch import Decisions, FactorLevels, Points, Question, Span, judge, verdict_from

NOTHING = Decisions()
VALUES = 4.0 * np.random.default_rng(12).standard_normal(40)


def verdict_of(plan, points, values, decisions=NOTHING):
    stage, today = plan.stage("tuning"), date(2026, 6, 1)
    question = Question(plan, stage, stage.characteristics[0], "tenor", 0.004, today, decisions=decisions)
    return judge(question, Points(points(values), centered=False), FactorLevels())


def earlier(verdict):
    """The record as it was kept before: pieces counted but not named, and a mapping that nobody read."""
    record = json.loads(json.dumps(verdict.to_dict()))
    del record["present"], record["pieces_to_settle"]
    return {**record, "rests_on": verdict.rests_on, "capability": {"ppk": verdict.ppk}}


@pytest.mark.parametrize("count", [0, 1, 3, 9, 40])
def test_a_record_of_an_earlier_version_gives_what_would_be_judged_today(small_plan, points, count):
    verdict = verdict_of(small_plan, points, VALUES[:count])
    wanted = small_plan.workshop.wanted_ppk
    assert verdict_from(json.loads(json.dumps(verdict.to_dict())), wanted) == verdict
    assert verdict_from(earlier(verdict), wanted) == verdict


def test_present_pieces_of_a_frozen_and_changed_series_come_back(small_plan, points):
    values = VALUES.copy()
    values[28:] += 30.0
    for ends in ("S-003", "S-020"), ("S-030", "S-039"):
        verdict = verdict_of(small_plan, points, values, Decisions(Span(*ends), (Span("S-033", "S-034"),)))
        assert not {33, 34} & set(verdict.present)
        assert verdict_from(earlier(verdict), small_plan.workshop.wanted_ppk) == verdict


def test_an_open_answer_says_how_many_pieces_would_settle_it(small_plan, points):
    few = verdict_of(small_plan, points, VALUES[:9])
    assert few.capable == "unproven" and few.pieces_to_settle >= 11
    climbing = verdict_of(small_plan, points, VALUES / 4 + np.maximum(np.arange(40) - 20, 0))
    assert climbing.ppk_reason.startswith("It is still climbing") and climbing.pieces_to_settle is None
