from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from qc.plan import Characteristic
from qc.stats import capability
from qc.watch import FactorLevels, Points, Question, judge
from qc.watch.words import (
    LEAST_FOR_INDEX,
    because_sentence,
    is_few,
    limits_words,
    rate_words,
    signal_sentence,
)

DAY = date(2026, 10, 9)
WRAP = Characteristic(
    id="wrap", name="F wrap", unit="mm", words={"noun": "F wrap", "above": "long", "below": "short"}
)
PLAIN = Characteristic(id="x", name="Mass loss", unit="g")


@pytest.mark.parametrize(
    ("kind", "side", "said"),
    [
        ("shift", "above", "F wrap has come out 23 mm long since S-1 (9 Oct)."),
        ("shift", "below", "F wrap has come out 23 mm short since S-1 (9 Oct)."),
        ("trend", "above", "F wrap has crept 23 mm long since S-1 (9 Oct)."),
        ("spread", "above", "F wrap has scattered more since S-1 (9 Oct)."),
        ("spread", "below", "F wrap has scattered less since S-1 (9 Oct)."),
        ("single", "above", "F wrap: S-1 (9 Oct) stands apart from the rest, 23 mm long."),
        ("count", "above", "F wrap has come more often since S-1 (9 Oct)."),
    ],
)
def test_a_signal_in_one_sentence(kind, side, said):
    assert signal_sentence(WRAP, "all", kind, side, 22.9, "S-1", DAY) == said


def test_a_change_of_the_spread_has_no_side_and_is_told_by_its_size():
    wider = signal_sentence(WRAP, "all", "spread", "both", 1.2, "S-1", DAY)
    narrower = signal_sentence(WRAP, "all", "spread", "both", -0.4, "S-1", DAY)
    assert "scattered more since" in wider and "scattered less since" in narrower


def test_family_is_named_and_plain_words_stand_in():
    said = signal_sentence(PLAIN, "alto", "shift", "below", 2.0, "S-1", DAY)
    assert said == "Mass loss (alto family) has come out 2.0 g lower since S-1 (9 Oct)."


def test_plural_nouns_take_a_plural_verb():
    many = WRAP.model_copy(update={"words": {"noun": "joints", "above": "open"}})
    assert "Joints have come out" in signal_sentence(many, "all", "shift", "above", 1.0, "S", DAY)


def test_because_says_what_was_checked():
    assert (
        because_sentence([], ["person"], 1)
        == "Nothing recorded explains it. 1 piece since; person did not change."
    )
    said = because_sentence(["die D-2, fitted 1 Apr", "x"], ["person", "gauge", "batch"], 5)
    assert (
        said
        == "Coincides with die D-2, fitted 1 Apr. 5 pieces since; person, gauge and batch did not change."
    )


def test_no_sentence_claims_a_cause():
    said = because_sentence(["die D-2"], [], 5)
    assert "cause" not in said.lower()


def test_a_rate_is_said_in_pieces():
    assert rate_words(0.00381) == "once in 260 pieces" and rate_words(1 / 14251) == "once in 14 000 pieces"
    assert rate_words(0.0) == "never"


def test_too_few_pieces_are_not_called_limits_that_cannot_be_told(small_plan, points):
    stage = small_plan.stage("tuning")
    question = Question(small_plan, stage, stage.characteristics[0], "tenor", 0.004, DAY)
    values = [0.5, -1.0, 2.0, 0.0, -0.5, 1.5, -2.0, 0.3, 1.0]
    few = judge(question, Points(points(values), centered=False), FactorLevels())
    assert few.capable == "unproven" and is_few(few) and limits_words(few) == "too few pieces"
    assert limits_words(replace(few, present=tuple(range(25)))) == "limits unproven"
    assert limits_words(replace(few, ppk=1.1)) == "limits unproven"
    assert limits_words(replace(few, capable="no")) == "limits not kept"
    assert limits_words(replace(few, capable="", ppk=None)) == "too early to say"
    assert limits_words(replace(few, capable="", kind="count")) == "limits not judged"
    assert limits_words(replace(few, capable="", lower=None, upper=None)) == "no limits set"


def test_an_index_is_withheld_below_as_many_pieces_as_the_words_take_for_few():
    values = np.random.default_rng(3).normal(10.0, 1.0, LEAST_FOR_INDEX)
    assert capability(values[1:], lower=5.0, upper=15.0).ppk is None
    assert capability(values, lower=5.0, upper=15.0).ppk is not None
