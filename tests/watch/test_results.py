import json
from datetime import date

import pytest

from qc.watch import SeriesKey, SeriesVerdict


@pytest.fixture
def verdict(small_plan, points):
    from qc.watch import FactorLevels, Points, Question, judge

    stage = small_plan.stage("tuning")
    question = Question(small_plan, stage, stage.characteristics[0], "tenor", 0.004, date(2026, 6, 1))
    values = [0.5, -1.0, 2.0, 0.0, -0.5, 1.5, -2.0, 0.3, 1.0, -0.8, 0.1, 22.0, 24.0, 21.5, 23.0]
    return judge(question, Points(points(values), centered=False), FactorLevels())


def test_key_goes_to_text_and_back():
    key = SeriesKey("tuning", "wrap", "tenor")
    assert SeriesKey.parse(str(key)) == key


def test_verdict_survives_json(verdict):
    text = json.dumps(verdict.to_dict(), allow_nan=False)
    assert SeriesVerdict.from_dict(json.loads(text)) == verdict


def test_current_is_the_lasting_change(verdict):
    assert verdict.current is not None
    assert verdict.current.start == 12
    assert verdict.title == "Tuning: F wrap, tenor"
    assert verdict.span == pytest.approx(24.0)
